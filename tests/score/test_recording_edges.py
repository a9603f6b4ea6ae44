"""What lies before a machine's recording and after it, and how surely it was nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reconcile.classes import LoggedScore
from reconcile.counts import IDLE_AFTER_CUT, IDLE_AFTER_REST, PlacedCount
from reconcile.machine import MachineTrack, Pull
from reconcile.score.judge import judge
from reconcile.score.question import ScoreQuestion
from tests.score.test_worked_examples import count, question

STEP = (0.0, 150.0)


def track(
    first_s: float,
    last_s: float,
    counted_from: float = 0.0,
    pulls: tuple[tuple[float, float], ...] = ((90.0, 150.0), (390.0, 450.0)),
) -> MachineTrack:
    """A machine that counts 0.25 a second in its pulls, 200 W after a start of three seconds."""
    time_s = np.arange(first_s, last_s + 0.5)
    pulling = np.zeros(len(time_s), dtype=bool)
    power = np.zeros(len(time_s))
    for start, end in pulls:
        inside = (time_s >= start) & (time_s < end)
        pulling |= inside
        power[inside] = 200 * np.clip((time_s[inside] - start + 1) / 4, 0, 1)
    calories = counted_from + np.concatenate([[0.0], np.cumsum(0.25 * pulling[1:])])
    return MachineTrack(
        "rower",
        "a01.rower.fit",
        time_s,
        pulling,
        power,
        calories,
        calories * 18,
        tuple(
            Pull(max(start, first_s), min(end, last_s), 195.0)
            for start, end in pulls
            if start < last_s and end > first_s
        ),
        counted=True,
    )


@pytest.mark.parametrize(
    ("first_s", "counted_from", "covered"),
    [
        (-30.0, 0.0, 1.0),
        (60.0, 0.0, 1.0),
        (89.0, 0.0, 1.0),
        (90.0, 0.0, 1.0),
        (110.0, 5.0, 41 / 150),
    ],
    ids=[
        "before the bell",
        "at rest in the opening task",
        "at rest as the first pull begins",
        "at the first pull",
        "in mid-pull",
    ],
)
def test_a_file_that_begins_at_rest_with_nothing_counted_has_lost_nothing(
    first_s: float, counted_from: float, covered: float
) -> None:
    held = PlacedCount(track(first_s, 600, counted_from))
    assert held.covered(*STEP) == pytest.approx(covered)


def test_what_lies_before_a_file_that_begins_in_mid_pull_was_lost() -> None:
    assert PlacedCount(track(110, 600, 5.0)).idle_outside(*STEP) == 0.0


def test_a_file_at_rest_tells_nothing_of_the_rounds_before_it_unless_it_begins_with_work() -> None:
    assert PlacedCount(track(160, 600)).covered(*STEP) == 0.0
    assert PlacedCount(track(390, 600)).covered(*STEP) == 1.0


@pytest.mark.parametrize(
    ("last_s", "cut_off", "idle"),
    [
        (500.0, False, IDLE_AFTER_REST),
        (500.0, True, IDLE_AFTER_CUT),
        (420.0, False, IDLE_AFTER_CUT),
    ],
    ids=["ends at rest", "broke off at rest", "ends in mid-pull"],
)
def test_a_file_that_ends_at_rest_ended_because_the_work_did(
    last_s: float, cut_off: bool, idle: float
) -> None:
    assert PlacedCount(track(-30, last_s), cut_off).idle_outside(480.0, 630.0) == idle


def ending_before_the_last_round(idle: float) -> ScoreQuestion:
    """Rounds of 14.3, 13.6 and 12.8 counted; the file ends at 330 s, before the bell at 360 s."""
    whole = count()
    stood_still = np.minimum(whole.calories, 14.3 + 13.6 + 12.8 + 9.0)
    held = replace(whole, calories=stood_still, known=(-60.0, 330.0), idle=idle)
    return replace(question(39.0, (14.0, 13.0, 12.0)), counts=(held,))


def test_a_round_after_the_end_is_nothing_where_that_is_likelier_and_the_range_holds_both() -> None:
    result = judge(ending_before_the_last_round(idle=0.9))
    assert result.recorded == pytest.approx(40.7, abs=0.3)
    assert result.high is not None
    assert result.high > 40.7 + 10
    assert not result.flag


def test_a_round_after_a_file_that_broke_off_is_as_usual() -> None:
    result = judge(ending_before_the_last_round(idle=0.06))
    assert result.recorded == pytest.approx(40.7 * 4 / 3, abs=0.5)
    assert result.low is not None
    assert result.high is not None
    assert result.low < 50 < result.high


@pytest.mark.parametrize(
    ("stated", "ownership", "flagged"),
    [(True, 0.76, True), (False, 0.76, False), (True, 0.6, False)],
    ids=["named for them", "found to be theirs", "named for them and doubted"],
)
def test_a_number_that_makes_a_named_file_doubtful_is_asked_about_either_way(
    stated: bool, ownership: float, flagged: bool
) -> None:
    asked = question(84.0, (20.0, 22.0, 19.0, 23.0))
    asked = replace(asked, owner_stated=stated, ownership_probability=ownership)
    result = judge(asked)
    assert result.flag is flagged
    assert sum(each.probability for each in result.explanations) <= 1
    if flagged:
        assert str(result.explanations[0].text).endswith("Or is that recording somebody else's?")


@pytest.mark.parametrize(("stated", "flagged"), [(True, True), (False, False)])
def test_a_recording_that_nobody_named_for_them_has_to_be_surer_to_speak_against_a_score(
    stated: bool, flagged: bool
) -> None:
    asked = question(40.0, (14.0, 12.0, 14.0))
    asked = replace(asked, owner_stated=stated, ownership_probability=0.7, has_heart_rate=True)
    assert judge(asked).flag is flagged


def test_a_recording_likelier_out_of_place_speaks_against_nobody() -> None:
    asked = replace(
        question(84.0), ownership_probability=0.9, placement_probability=0.3, has_heart_rate=True
    )
    assert judge(asked).verdict == "plausible"
    assert asked.logged == LoggedScore("a01", "pier", score=84.0, equipment="rower")
