"""Tables as CSV: what they hold, for whom, and safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any
from unicodedata import normalize

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.folder.sheets import quoted, read_number, unquoted
from api.results.class_tables import TABLES, table_text
from api.results.reading import class_result
from api.results.tables import FORMULA
from api.settings import Settings
from reconcile.document import class_document
from tests.pages.big_class import made_class, made_result
from tests.service.gym import API, GymUnderTest, open_gym
from tests.sheet import example


@pytest.fixture(scope="module")
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    settings = Settings(data=tmp_path_factory.mktemp("tables"), workers=0)
    with open_gym(settings) as found:
        yield found


@pytest.fixture(scope="module")
def class_id(gym: GymUnderTest) -> str:
    found = made_class(gym, 6)
    formula = {"score": 60, "option": "prescribed", "notes": '=HYPERLINK("x")'}
    path = f"{API}/classes/{found}/scores/x01"
    assert gym.client("coach").put(path, json=formula).is_success
    return found


def table(gym: GymUnderTest, who: str, class_id: str, name: str) -> list[dict[str, str]]:
    answer = gym.client(who).get(f"{API}/classes/{class_id}/tables/{name}.csv")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].endswith(f'-{name}.csv"')
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


@pytest.mark.parametrize(
    ("name", "rows"), [("sheet", 6), ("scores", 6), ("done", 6), ("energy", 36), ("files", 6)]
)
def test_a_coach_takes_every_table_and_an_athlete_their_own_rows(
    gym: GymUnderTest, class_id: str, name: str, rows: int
) -> None:
    assert len(table(gym, "coach", class_id, name)) == rows
    own = table(gym, "x02", class_id, name)
    assert len(own) == rows / 6
    assert {row.get("athlete", "x02") for row in own} == {"x02"}


def test_numbers_are_plain_with_a_dot_and_what_is_not_known_is_blank(
    gym: GymUnderTest, class_id: str
) -> None:
    (row,) = (r for r in table(gym, "coach", class_id, "sheet") if r["athlete"] == "x03")
    assert (row["recorded"], row["recorded_low"], row["recorded_high"]) == ("57", "56.4", "57.8")
    assert (row["verdict"], row["ask"]) == ("confirmed", "no")
    assert row["machine_time_s"] == "50.0"
    assert row["time_for_machine"] == ""


def test_energy_of_rounds_has_its_range(gym: GymUnderTest, class_id: str) -> None:
    row = table(gym, "coach", class_id, "energy")[0]
    kcal, low, high = (float(row[f"energy_{name}"]) for name in ("kcal", "low", "high"))
    assert (kcal, low, high) == (30.0, 24.0, 37.0)  # work and rest of a round, low with low


def test_words_that_a_spreadsheet_would_run_are_quoted_away(
    gym: GymUnderTest, class_id: str
) -> None:
    row = table(gym, "coach", class_id, "scores")[0]
    assert row["notes"] == '\'=HYPERLINK("x")'


def test_there_is_no_other_table(gym: GymUnderTest, class_id: str) -> None:
    answer = gym.client("coach").get(f"{API}/classes/{class_id}/tables/people.csv")
    assert answer.status_code == 422
    assert set(TABLES) == {"sheet", "scores", "done", "energy", "files"}


def test_a_visitor_by_the_code_on_the_wall_reads_no_score(gym: GymUnderTest, class_id: str) -> None:
    client = gym.client("x02", visit=class_id)
    for name in TABLES:
        answer = client.get(f"{API}/classes/{class_id}/tables/{name}.csv")
        assert answer.status_code == 200
        assert "61" not in answer.text.replace("61.", "")  # x02 logged 61


cells = st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=12))


@given(st.lists(st.dictionaries(st.sampled_from("abcd"), cells), min_size=1, max_size=5))
def test_no_cell_of_text_begins_as_a_formula_does(rows: list[dict[str, Any]]) -> None:
    text = table_text(rows)
    _, *read = csv.reader(io.StringIO(text, newline=""))
    columns = list(dict.fromkeys(name for row in rows for name in row))
    for row, line in zip(rows, read if columns else [], strict=False):
        for name, cell in zip(columns, line, strict=True):
            if isinstance(row.get(name), str):
                assert not cell.startswith(FORMULA)
                assert cell.removeprefix("'") == row[name].removeprefix("'")


@given(st.text(max_size=12).map(str.strip))
def test_a_sheet_of_the_class_folder_is_as_safe_and_reads_back_as_it_was(text: str) -> None:
    written = quoted(text)
    assert not written.startswith(FORMULA) or read_number(text) is not None
    assert unquoted(written) == normalize("NFC", text)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("=1+1", "'=1+1"), ("-hard", "'-hard"), ("'=odd", "''=odd"), ("-12.5", "-12.5"),
        ("'twas fine", "'twas fine"), ("@home", "'@home"), ("", ""), ("plain", "plain"),
    ],
)  # fmt: skip
def test_only_what_would_run_is_written_with_an_apostrophe(text: str, written: str) -> None:
    assert quoted(text) == written
    assert unquoted(written) == text


@pytest.mark.parametrize("result", [example.RESULT, made_result(["x01", "x02", "x05"])])
def test_a_document_is_read_back_as_it_was_written(result: Any) -> None:
    written = class_document(result)
    assert class_document(class_result(json.loads(json.dumps(written)))) == written
