"""What was planned against what was done, in the sheet and on the page."""

from __future__ import annotations

import dataclasses
import io

import pytest
from rich.console import Console

from api.sheet import words
from api.sheet.done import class_sentence, done_rows, effort_text, figure_text, rounds_text
from api.sheet.page import class_page
from api.sheet.rows import UNKNOWN_SD_S, BlockTable, class_sheet, placement_sd
from api.sheet.terminal import print_sheet
from reconcile.compliance import Figure, RoundEffort, block_compliance
from tests.sheet.example import RECORD, RESULT, unknown, work


def table() -> BlockTable:
    return class_sheet(RECORD, RESULT).tables[0]


def printed(width: int) -> str:
    stream = io.StringIO()
    print_sheet(Console(file=stream, width=width, highlight=False), class_sheet(RECORD, RESULT))
    return stream.getvalue()


def test_everybody_of_whom_anything_is_known_has_a_row_and_the_class_comes_last() -> None:
    rows = done_rows(table())
    assert [row.who for row in rows] == ["a01", "a02", "a04", "a05", "the class"]


def test_the_figures_of_one_athlete_by_hand() -> None:
    # Each round: begun 1.5 s after the bell (by heart rate), machine work to 128 of 130 s.
    row = done_rows(table())[0]
    assert row.rounds == "3/3"
    assert row.effort == "181 181 181 W"
    assert row.early.startswith("2 (")
    assert row.late.startswith("2 (0–")
    assert row.work.startswith("98 (")
    assert row.rest == "–"


def test_a_figure_shows_its_range_only_where_that_is_wider() -> None:
    assert figure_text(None) == "–"
    assert figure_text(Figure(2.0, 2.0, 2.0)) == "2"
    assert figure_text(Figure(0.931, 0.902, 0.96), 100.0) == "93 (90–96)"


def test_rounds_of_which_nothing_tells_are_a_range() -> None:
    assert rounds_text(block_compliance([work(1), work(2), unknown(3)])) == "2–3/3"


@pytest.mark.parametrize(
    ("powers", "beats", "text"),
    [
        ((210.4, None, 190.0), (150.0, 150.0, 150.0), "210 – 190 W"),
        ((None, None, None), (150.4, None, 161.0), "150 – 161 beats"),
        ((None, None, None), (None, None, None), "–"),
    ],
)
def test_effort_is_power_where_a_machine_tells_and_else_heart_rate(
    powers: tuple[float | None, ...], beats: tuple[float | None, ...], text: str
) -> None:
    rounds = [RoundEffort(n, w, b) for n, (w, b) in enumerate(zip(powers, beats, strict=True), 1)]
    assert effort_text(rounds) == text


def test_the_place_of_the_bells_is_as_sure_as_the_surest_recording() -> None:
    # 95 % range of a01's rower: 459.0 to 461.25.
    assert placement_sd(RESULT, "a01", "orchard") == pytest.approx(2.25 / 3.92)
    assert placement_sd(RESULT, "a01", "warm-up") == UNKNOWN_SD_S


@pytest.mark.parametrize("width", [40, 60, 80, 100, 140])
def test_it_is_in_the_sheet_at_any_width(width: int) -> None:
    text = printed(width)
    assert "planned and done" in " ".join(text.split())
    assert all(len(line) <= width for line in text.splitlines())
    told = " ".join(text.split())
    assert told.count(" ".join(words.DONE_KEY.split())) == 1


def test_it_is_on_the_page() -> None:
    page = class_page(RECORD, RESULT)
    assert class_sentence(table()) in page
    assert "Planned and done, one by one" in page


def test_of_nobody_known_nothing_is_said() -> None:
    nobody = dataclasses.replace(
        RESULT,
        athletes=tuple(
            dataclasses.replace(athlete, intervals=(unknown(1), unknown(2), unknown(3)))
            for athlete in RESULT.athletes
        ),
    )
    empty = class_sheet(RECORD, nobody).tables[0]
    assert done_rows(empty) == ()
    assert class_sentence(empty) == ""
    assert "Planned and done" not in class_page(RECORD, nobody)
