"""A round as a strip: where it is drawn, and what stands under it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.round_strip import WIDTH, Edge, across, plan_bands, round_strip, round_strips
from reconcile.plan import ScoreRule
from reconcile.result import Interval
from tests.sheet.example import LEFT_OUT, MAIN, rest, unknown, work


def test_the_bands_are_the_plan_on_the_rounds_own_clock() -> None:
    bands = plan_bands(MAIN)
    assert bands.bells == tuple(across(second, MAIN) for second in (0.0, 130.0, 210.0))
    assert bands.rests == ((bands.bells[1], bands.bells[2] - bands.bells[1]),)


def test_an_end_before_the_bell_is_drawn_before_it_and_one_after_it_after() -> None:
    bell = plan_bands(MAIN).bells[1]
    early, late = (
        round_strip(MAIN, 1, [work(1, effort_end_s=end, machine_end_s=end), rest(1)])
        for end in (125.0, 134.0)
    )
    ends = [int(re.findall(r"H(\d+)", strip.pulls)[0]) for strip in (early, late)]
    assert ends[0] < bell < ends[1]
    assert [strip.ended for strip in (early, late)] == [Edge(-5, False), Edge(4, False)]


@pytest.mark.parametrize(
    ("steps", "state"),
    [
        ([work(2), rest(2)], "done"),
        ([LEFT_OUT, rest(2)], "left out"),
        ([unknown(2), rest(2)], "not known"),
        ([], "not known"),
    ],
)
def test_a_round_is_done_left_out_or_not_known(steps: list[Interval], state: str) -> None:
    strip = round_strip(MAIN, 2, steps)
    assert strip.state == state
    assert bool(strip.efforts) == (state == "done")


def test_an_edge_that_only_the_heart_tells_is_marked_so() -> None:
    strip = round_strip(MAIN, 1, [work(1), rest(1)])
    assert strip.began == Edge(2, by_heart=True)  # the machine began at 78 s
    assert strip.ended == Edge(-2, by_heart=True)  # the machine ended a quarter of a second before
    alone = replace(work(1), effort_end_s=128.0)
    assert round_strip(MAIN, 1, [alone]).ended == Edge(-2, by_heart=False)


def test_the_amount_is_in_the_blocks_own_measure_and_missing_where_nothing_counted() -> None:
    metres = replace(MAIN, score=ScoreRule("metres", "total"))
    assert round_strip(MAIN, 1, [work(1)]).amount == pytest.approx(12.345)
    assert round_strip(metres, 1, [work(1)]).amount == pytest.approx(198.5)
    assert round_strip(MAIN, 1, [work(1, machine_calories=None)]).amount is None


@given(start=st.floats(-500.0, 500.0), length=st.floats(0.0, 500.0))
def test_nothing_is_drawn_outside_the_strip(start: float, length: float) -> None:
    strip = round_strip(MAIN, 1, [work(1, effort_start_s=start, effort_end_s=start + length)])
    drawn = [int(x) for x in re.findall(r"[MH](\d+)", strip.efforts)]
    assert drawn
    assert all(0 <= x <= WIDTH for x in drawn)


def test_there_is_a_strip_for_each_round_of_the_plan() -> None:
    strips = round_strips(MAIN, [work(1), rest(1), work(3), rest(3)])
    assert [(strip.round, strip.state) for strip in strips] == [
        (1, "done"), (2, "not known"), (3, "done"),
    ]  # fmt: skip
