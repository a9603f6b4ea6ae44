"""Drawings are true to the numbers: columns keep every peak, marks lie where work was."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.sheet.columns import Columns, area_path, hold, line_path, reduce_to_columns
from api.sheet.picture import athlete_picture, bell_text, round_strips
from reconcile.result import Interval
from tests.sheet.example import LEFT_OUT, MAIN, PLAN, RESULT, rest, track, unknown, work


@given(
    st.lists(st.floats(30, 220) | st.just(float("nan")), min_size=1, max_size=300),
    st.integers(1, 40),
)
def test_no_extreme_is_lost_to_the_columns(values: list[float], count: int) -> None:
    samples = np.array(values)
    time_s = np.arange(float(samples.size))
    columns = reduce_to_columns(time_s, samples, 0.0, float(samples.size), count)
    assert columns.filled == bool(np.isfinite(samples).any())
    if columns.filled:
        assert np.nanmin(columns.low) == np.nanmin(samples)
        assert np.nanmax(columns.high) == np.nanmax(samples)


@given(st.lists(st.floats(0, 500), min_size=5, max_size=200), st.integers(1, 30))
def test_each_column_holds_its_own_samples_only(values: list[float], count: int) -> None:
    samples = np.array(values)
    time_s = np.arange(float(samples.size))
    columns = reduce_to_columns(time_s, samples, 0.0, float(samples.size), count)
    place = np.minimum((time_s / samples.size * count).astype(int), count - 1)
    for column in range(count):
        inside = samples[place == column]
        if inside.size:
            assert (columns.low[column], columns.high[column]) == (inside.min(), inside.max())
        else:
            assert np.isnan(columns.low[column])
            assert np.isnan(columns.high[column])


def test_samples_outside_the_drawing_are_not_drawn() -> None:
    columns = reduce_to_columns(np.array([-5.0, 2.0, 50.0]), np.array([9.0, 1.0, 9.0]), 0, 10, 5)
    assert np.nanmax(columns.high) == 1.0


def test_a_hole_is_filled_from_another_recording() -> None:
    gap = Columns(np.array([1.0, np.nan]), np.array([2.0, np.nan]))
    other = Columns(np.array([7.0, 8.0]), np.array([7.0, 9.0]))
    whole = gap.completed_by(other)
    assert whole.low.tolist() == [1.0, 8.0]
    assert whole.high.tolist() == [2.0, 9.0]


def test_a_value_is_held_over_short_holes_only() -> None:
    row = np.array([np.nan, 5.0, np.nan, np.nan, np.nan, 6.0])
    held = hold(Columns(row, row), longest=2).high
    assert np.isnan(held[[0, 4]]).all()
    assert held[[1, 2, 3, 5]].tolist() == [5.0, 5.0, 5.0, 6.0]


def flat(values: list[float]) -> Columns:
    row = np.array(values)
    return Columns(row, row)


def test_a_line_bridges_short_gaps_and_breaks_at_long_ones() -> None:
    values = [100.0, np.nan, 110.0, np.nan, np.nan, np.nan, 120.0]
    assert line_path(flat(values), 100.0, 120.0, 20, longest=1) == "M2 20l8 -10M26 0"


def test_a_line_goes_through_both_extremes_of_a_column() -> None:
    columns = Columns(np.array([100.0, 105.0]), np.array([100.0, 115.0]))
    assert line_path(columns, 100.0, 120.0, 20, longest=1) == "M2 20l3 -5l2 -10"


def test_an_area_steps_over_zero_and_is_closed() -> None:
    assert area_path(flat([0.0, 50.0, 0.0]), 100.0, 10) == "M0 10h2v-5h2v5h2V10z"


def test_values_beyond_the_scale_stay_in_the_drawing() -> None:
    assert area_path(flat([900.0]), 100.0, 10) == "M0 10v-10h2V10z"


def test_strips_have_one_clock_so_that_rounds_can_be_compared() -> None:
    first, second, third = round_strips(
        MAIN, (work(1), rest(1), work(2, machine_start_s=90.0), rest(2), unknown(3)), "a01"
    )
    assert first.bands == second.bands == third.bands
    assert [band.kind for band in first.bands] == ["work", "rest"]
    last = first.bands[1]
    assert first.bells == pytest.approx((first.bands[0].x, last.x, last.x + last.width), abs=0.002)
    assert second.machine[0].x > first.machine[0].x
    assert (first.state, third.state) == ("done", "unknown")


def test_a_machine_bar_lies_where_the_machine_worked() -> None:
    (strip, *_) = round_strips(MAIN, (work(1),), "a01")
    work_band, _ = strip.bands
    per_second = work_band.width / 130.0
    (bar,) = strip.machine
    assert bar.x == pytest.approx(work_band.x + 78.0 * per_second, abs=0.01)
    assert bar.width == pytest.approx(50.0 * per_second, abs=0.01)


def test_work_over_the_bell_reaches_over_its_line() -> None:
    (strip, *_) = round_strips(MAIN, (work(1, effort_end_s=140.0, machine_end_s=140.0),), "a01")
    assert strip.machine[0].x + strip.machine[0].width > strip.bells[1]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        (work(1, effort_end_s=126.2), "−4 s"),
        (work(1, effort_end_s=132.0), "+2 s"),
        (work(1, effort_end_s=130.3), "±0 s"),
        (unknown(1), ""),
        (LEFT_OUT, ""),
    ],
)
def test_the_end_of_the_effort_is_told_from_the_bell(step: Interval, expected: object) -> None:
    assert bell_text((step,)) == expected


def test_a_picture_shows_the_plan_of_the_athletes_own_clock() -> None:
    athlete = RESULT.athletes[0]
    picture = athlete_picture(PLAN, athlete)
    assert picture is not None
    assert [label.text for label in picture.blocks] == ["warm-up", "orchard"]
    assert [label.text for label in picture.rounds] == ["1", "2", "1", "2", "3"]
    assert len(picture.bands) == 2 * 2 + 3 * 2
    later = dataclasses.replace(athlete, block_start_s={"warm-up": 60.0, "orchard": 700.0})
    moved = athlete_picture(PLAN, later)
    assert moved is not None
    assert moved.blocks[1].at != picture.blocks[1].at


def test_machine_work_is_marked_inside_the_work_bands() -> None:
    picture = athlete_picture(PLAN, RESULT.athletes[0])
    assert picture is not None
    work_bands = [band for band in picture.bands if band.kind == "work"][2:]
    for bar, band in zip(picture.machine, work_bands, strict=True):
        assert band.x < bar.x
        assert bar.x + bar.width < band.x + band.width + 0.1


def test_a_picture_without_power_has_no_scale_for_it() -> None:
    athlete = dataclasses.replace(RESULT.athletes[0], tracks=(track(1, power=False),))
    picture = athlete_picture(PLAN, athlete)
    assert picture is not None
    assert (picture.power, picture.power_ticks) == ("", ())
    assert picture.heart_rate
    assert "No power." in picture.description


def test_a_picture_without_heart_rate_has_no_line() -> None:
    only_power = dataclasses.replace(track(1), heart_rate_bpm=None)
    athlete = dataclasses.replace(RESULT.athletes[0], tracks=(only_power,))
    picture = athlete_picture(PLAN, athlete)
    assert picture is not None
    assert (picture.heart_rate, picture.heart_rate_ticks) == ("", ())
    assert picture.power


def test_a_gap_in_the_heart_rate_stays_a_gap() -> None:
    picture = athlete_picture(PLAN, RESULT.athletes[0])
    assert picture is not None
    assert picture.heart_rate.count("M") == 2


def test_without_recordings_or_places_there_is_no_picture() -> None:
    assert athlete_picture(PLAN, dataclasses.replace(RESULT.athletes[0], tracks=())) is None
    assert athlete_picture(PLAN, dataclasses.replace(RESULT.athletes[0], block_start_s={})) is None
