"""Plots of plain characters, by hand."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from api.sheet.columns import Columns
from api.sheet.text_plots import (
    area_rows,
    laid_over,
    line_rows,
    marks_row,
    time_row,
    with_scale,
)


def columns(*values: float) -> Columns:
    array = np.array(values)
    return Columns(array, array)


def test_a_line_rises_from_the_lowest_row_to_the_highest() -> None:
    assert line_rows(columns(0.0, 5.0, 9.9), 0.0, 10.0, 3, "x") == ["  x", " x ", "x  "]


def test_a_column_with_two_values_is_drawn_from_one_to_the_other() -> None:
    both = Columns(np.array([0.0]), np.array([10.0]))
    assert line_rows(both, 0.0, 10.0, 3, "x") == ["x", "x", "x"]


def test_a_column_without_values_stays_empty() -> None:
    assert line_rows(columns(np.nan, 10.0), 0.0, 10.0, 2, "x") == [" x", "  "]
    assert area_rows(columns(np.nan, 10.0), 0.0, 10.0, 2, "#") == [" #", " #"]


def test_an_area_stands_on_its_bottom() -> None:
    assert area_rows(columns(0.0, 5.0, 10.0), 0.0, 10.0, 2, "#") == ["  #", " ##"]


def test_laying_over_marks_where_both_are() -> None:
    assert laid_over(["ab ", "  c"], [" - ", "- -"], "=") == ["a= ", "- ="]


def test_a_scale_shows_its_ends() -> None:
    assert with_scale(["x", "y", "z"], 60.0, 180.0, 4) == [" 180 x", "     y", "  60 z"]


def test_marks_outside_are_not_shown_and_the_last_of_two_wins() -> None:
    assert marks_row([(0.0, "c"), (5.0, "2"), (5.1, "1"), (99.0, "3")], 0.0, 10.0, 5) == "c 1  "


@given(st.floats(-5000, 5000), st.floats(1, 20000), st.integers(20, 300))
def test_times_never_run_into_each_other_or_over_the_edge(
    start: float, span: float, width: int
) -> None:
    row = time_row(start, start + span, width)
    assert len(row) == width
    for text in row.split():
        minutes, seconds = text.removeprefix("−").split(":")
        assert minutes.isdigit()
        assert len(seconds) == 2
