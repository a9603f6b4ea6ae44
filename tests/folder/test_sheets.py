"""Sheets are read as spreadsheets save them, and every slip is told by line and cell."""

from __future__ import annotations

import csv
import io
from unicodedata import normalize

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.folder.files import decode
from api.folder.sheets import read_number, read_seconds, read_sheet

KNOWN = ("athlete", "score", "rounds", "notes")


def rows(text: str) -> list[dict[str, str]]:
    sheet = read_sheet(text, file="s.csv", known=KNOWN, several="rounds")
    assert not sheet.mistakes
    return [row.cells for row in sheet.rows]


ONE = [{"athlete": "ana", "score": "5,5", "rounds": "1;2", "notes": 'said "no"'}]


LOOSE = '\n"Athlete", Score,ROUNDS,notes\n\n ana ,"5,5",1;2,said "no"\n,,,\n'


@pytest.mark.parametrize(
    "text",
    [
        pytest.param('athlete,score,rounds,notes\nana,"5,5",1;2,"said ""no"""\n', id="commas"),
        pytest.param('athlete;score;rounds;notes\nana;5,5;"1;2";"said ""no"""\n', id="semicolons"),
        pytest.param('athlete;score;rounds;notes\nana;5,5;1;2;"said ""no"""\n', id="bare rounds"),
        pytest.param('athlete;score;rounds;notes\nana;5,5;1;2;"said ""no""";;\n', id="long"),
        pytest.param('athlete\tscore\trounds\tnotes\nana\t5,5\t1;2\tsaid "no"\n', id="tabs"),
        pytest.param('athlete,score,rounds,notes\r\nana,"5,5",1;2,"said ""no"""\r\n', id="CRLF"),
        pytest.param('athlete,score,rounds,notes\rana,"5,5",1;2,"said ""no"""', id="CR"),
        pytest.param(LOOSE, id="spaces, capitals and blank lines"),
        pytest.param('notes,rounds,score,athlete\n"said ""no""",1;2,"5,5",ana\n', id="other order"),
    ],
)  # fmt: skip
def test_the_same_sheet_in_many_spellings_is_one(text: str) -> None:
    # RFC 4180, sections 2.5 to 2.7, for quotes; the rest is common practice, no source.
    assert rows(text) == ONE


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
def test_letters_survive_the_encodings_that_spreadsheets_write(encoding: str) -> None:
    text = "athlete,notes\nzoë,naïve\n"
    mark = b"\xff\xfe" if encoding == "utf-16-le" else b""
    assert rows(decode(mark + text.encode(encoding))) == [{"athlete": "zoë", "notes": "naïve"}]


def test_accents_written_as_two_characters_are_the_same_name() -> None:
    assert rows("athlete\nzoe\u0308\n") == [{"athlete": "zoë"}]


def test_a_note_may_have_several_lines_and_later_rows_keep_their_line_numbers() -> None:
    sheet = read_sheet('athlete,notes\nana,"a\nb"\nben,c\n', file="s.csv", known=KNOWN)
    assert [(row.line, row.cells["athlete"]) for row in sheet.rows] == [(2, "ana"), (4, "ben")]


def test_a_short_row_is_blank_where_it_ends() -> None:
    assert rows("athlete,score,rounds,notes\nana,5\n") == [
        {"athlete": "ana", "score": "5", "rounds": "", "notes": ""}
    ]


@pytest.mark.parametrize(
    ("text", "code", "line", "column"),
    [
        ("", "empty", 1, 1),
        ("\n \n,,\n", "empty", 1, 1),
        ("athlete,scor\nana,5\n", "unknown_heading", 1, 2),
        ("athlete,score,score\nana,5,6\n", "heading_twice", 1, 3),
        ("athlete,score\nana,5,6\n", "extra_cells", 2, 3),
        ('athlete,notes\nana,"open\nben,x\n', "bad_quotes", 2, 1),
        ('athlete,notes\nana,"a"b\n', "bad_quotes", 2, 1),
    ],
)
def test_a_slip_in_a_sheet_is_told_at_its_place(
    text: str, code: str, line: int, column: int
) -> None:
    sheet = read_sheet(text, file="s.csv", known=KNOWN)
    assert [(m.code, m.line, m.column) for m in sheet.mistakes] == [(code, line, column)]


def test_a_quote_that_never_closes_swallows_no_other_row() -> None:
    sheet = read_sheet('athlete,notes\nana,"open\nben,x\n', file="s.csv", known=KNOWN)
    assert [row.cells["athlete"] for row in sheet.rows] == ["ana", "ben"]


def test_headings_of_somebodys_own_are_left_alone() -> None:
    assert rows("athlete,shoe colour\nana,green\n") == [{"athlete": "ana", "shoe_colour": "green"}]


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", 5), ("5.5", 5.5), ("5,5", 5.5), ("-3", -3), ("+3", 3), (",5", 0.5), ("5.", 5),
     ("5o", None), ("", None), ("1e5", None), ("nan", None), ("inf", None), ("1,000.5", None),
     ("٣", None), ("9" * 12, None)],
)  # fmt: skip
def test_a_number_has_a_decimal_point_or_comma(text: str, value: float | None) -> None:
    assert read_number(text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [("75", 75), ("1:15", 75), ("1:15.5", 75.5), ("1:02:03", 3723), ("75,5", 75.5), ("1m15s", 75),
     ("1:5", None), ("fast", None), ("", None)],
)  # fmt: skip
def test_a_time_taken_is_seconds_or_a_clock_reading_or_a_duration(
    text: str, value: float | None
) -> None:
    assert read_seconds(text) == value


cells = st.text(st.characters(categories=["L", "N", "P", "Zs"]), max_size=8).map(str.strip)


@given(st.lists(st.tuples(cells, cells), min_size=1, max_size=5), st.sampled_from(",;\t"))
def test_what_the_standard_writer_writes_is_read_back(
    table: list[tuple[str, str]], delimiter: str
) -> None:
    # Reference: the csv writer of Python's standard library.
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter, quoting=csv.QUOTE_ALL)
    writer.writerow(["athlete", "notes"])
    writer.writerows(table)
    sheet = read_sheet(decode(stream.getvalue().encode("utf-16")), file="s.csv", known=KNOWN)
    expected = [tuple(normalize("NFC", cell) for cell in row) for row in table if any(row)]
    assert [(row.cells["athlete"], row.cells["notes"]) for row in sheet.rows] == expected


@settings(max_examples=300)
@given(
    st.binary(max_size=80)
    | st.text(st.sampled_from('a,;\t"\r\n\x00é'), max_size=60).map(str.encode)
)
def test_any_bytes_give_a_sheet(data: bytes) -> None:
    sheet = read_sheet(decode(data), file="s.csv", known=KNOWN, several="rounds")
    assert all(set(row.cells) <= set(sheet.headings) for row in sheet.rows)
