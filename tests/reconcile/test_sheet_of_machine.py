"""A line on the sheet and the machine that it was read off, or was not.

The machine is a flywheel worked out by hand; the lines are read off its own display.
"""

from __future__ import annotations

import numpy as np
import pytest

from reconcile.align.sheet_of_machine import (
    LARGEST_ROUNDS,
    LARGEST_SCORE,
    Count,
    count_of,
    sheet_evidence,
)
from reconcile.machine import machine_track
from reconcile.plan_text import read_plan
from reconcile.score.scored import Scored, scored_steps
from reconcile.timeline import unfold_block
from tests.reconcile.classroom import rowed
from tests.reconcile.flywheel import Wheel, spun

PLAN = """title: Tar barrels
blocks:
  - name: main
    rounds: 5
    steps:
      - {work: 80s, tasks: [{movement: machine, most: MEASURE}]}
      - {rest: 70s}
    score: {measure: MEASURE, take: total}
"""
FIXED = PLAN.replace("most: MEASURE", "metres: 250").replace("MEASURE", "seconds")
WATTS = {"this": 182.0, "weaker": 140.0, "stronger": 231.0}
FADES = {
    "this": (0.0, 0.03, 0.06, 0.05, -0.06),
    "weaker": (0.0, 0.08, 0.14, 0.2, 0.12),
    "stronger": (0.05, 0.0, -0.05, -0.02, 0.1),
}


def wheel_of(who: str, *, skips: tuple[int, ...] = (), until_s: float = 760.0) -> Wheel:
    pulls = [
        (150.0 * n + 1.5, 150.0 * n + 80.5, WATTS[who] * (1 - fade))
        for n, fade in enumerate(FADES[who])
        if n not in skips and 150.0 * n + 80.5 < until_s
    ]
    return spun(pulls, -30.0, until_s)


def scored_by(measure: str) -> Scored:
    (block,) = read_plan(
        FIXED if measure == "seconds" else PLAN.replace("MEASURE", measure)
    ).timed_blocks
    return scored_steps(block, unfold_block(block))


def counted(wheel: Wheel, measure: str = "calories") -> Count:
    track = machine_track(rowed(wheel), "rower", "file")
    assert track is not None
    count = count_of(track.shifted(-30.0), scored_by(measure))
    assert count is not None
    return count


def read_off(wheel: Wheel, late_s: float = 1.0, measure: str = "calories") -> list[float]:
    """What the display grew by from each bell to some seconds after the work."""
    column = wheel.calories if measure == "calories" else wheel.metres
    return [
        float(np.floor(wheel.grown(column, 150.0 * n, 150.0 * n + 80 + late_s))) for n in range(5)
    ]


def usual(measure: str = "calories") -> np.ndarray:
    return np.asarray(np.mean([counted(wheel_of(who), measure).usual for who in WATTS], axis=0))


def said(rounds: list[float] | None, score: float | None, count: Count, **of: str) -> float:
    return sheet_evidence(score, rounds, count, usual(**of))


@pytest.mark.parametrize("measure", ["calories", "metres"])
@pytest.mark.parametrize("late_s", [0.0, 2.5, 10.0])
def test_a_line_read_off_a_machine_speaks_for_it_and_against_others(
    measure: str, late_s: float
) -> None:
    rounds = read_off(wheel_of("this"), late_s, measure)
    assert said(rounds, sum(rounds), counted(wheel_of("this"), measure), measure=measure) > 2.5
    for other in ("weaker", "stronger"):
        assert said(rounds, sum(rounds), counted(wheel_of(other), measure), measure=measure) < -1.5


def test_a_total_alone_says_less_than_its_rounds() -> None:
    rounds = read_off(wheel_of("this"))
    count = counted(wheel_of("this"))
    alone = said(None, sum(rounds), count)
    assert 0.5 < alone < said(rounds, sum(rounds), count)
    assert said(None, sum(rounds), counted(wheel_of("stronger"))) < 0


@pytest.mark.parametrize("take_out", [0, 2, 4])
def test_a_total_that_lacks_a_round_still_tells_something(take_out: int) -> None:
    rounds = read_off(wheel_of("this"))
    without = sum(rounds) - rounds[take_out]
    assert said(None, without, counted(wheel_of("this"))) > said(
        None, without, counted(wheel_of("stronger"))
    )


def test_rounds_that_are_all_too_high_by_one_factor_keep_their_pattern() -> None:
    rounds = [float(round(1.2 * value)) for value in read_off(wheel_of("this"), 1.0, "metres")]
    assert said(rounds, sum(rounds), counted(wheel_of("this"), "metres"), measure="metres") > 0


@pytest.mark.parametrize("which", [0, 2, 4])
def test_rounds_of_which_one_is_missing_or_twice_still_tell_the_machine(which: int) -> None:
    rounds = read_off(wheel_of("this"), 1.0, "metres")
    missing = [value for n, value in enumerate(rounds) if n != which]
    twice = [*rounds[: which + 1], *rounds[which:]]
    for written in (missing, twice):
        assert said(written, None, counted(wheel_of("this"), "metres"), measure="metres") > 2
        for other in ("weaker", "stronger"):
            count = counted(wheel_of(other), "metres")
            assert said(written, None, count, measure="metres") < 0


@pytest.mark.parametrize("by_rounds", [True, False])
def test_metres_in_the_place_of_calories_still_tell_the_machine(by_rounds: bool) -> None:
    metres = read_off(wheel_of("this"), 1.0, "metres")
    rounds = metres if by_rounds else None
    values = {
        who: sheet_evidence(sum(metres), rounds, counted(wheel_of(who)), usual(), usual("metres"))
        for who in WATTS
    }
    assert values["this"] > 1.5
    assert max(values["weaker"], values["stronger"]) < 0


def test_a_total_with_two_digits_swapped_speaks_for_its_machine() -> None:
    total = sum(read_off(wheel_of("this"), 1.0, "metres"))
    text = str(round(total))
    swapped = float(text[:1] + text[2] + text[1] + text[3:])
    assert abs(swapped - total) > 50
    this, other = (counted(wheel_of(who), "metres") for who in ("this", "weaker"))
    assert said(None, swapped, this, measure="metres") > said(
        None, swapped, other, measure="metres"
    )


def test_a_skipped_round_may_be_written_as_nothing_or_left_out() -> None:
    wheel = wheel_of("this", skips=(2,))
    rounds = read_off(wheel)
    left_out = [value for value in rounds if value > 0]
    assert len(left_out) == 4
    for written in (rounds, left_out):
        assert said(written, sum(rounds), counted(wheel)) > 2


def test_rounds_after_the_end_of_a_file_do_not_speak_against_it() -> None:
    count = counted(wheel_of("this", until_s=400.0))
    assert np.isfinite(count.usual).tolist() == [True, True, True, False, False]
    rounds = read_off(wheel_of("this"))
    assert said(rounds, sum(rounds), count) > 2
    assert said(None, sum(rounds), count) == 0


def test_a_fixed_distance_tells_by_its_seconds() -> None:
    wheel = wheel_of("this")
    metres = [float(np.interp(150.0 * n, wheel.time_s, wheel.metres)) for n in range(5)]
    seconds = [
        float(np.ceil(np.interp(m + 250.0, wheel.metres, wheel.time_s) - 150.0 * n))
        for n, m in enumerate(metres)
    ]
    assert said(seconds, sum(seconds), counted(wheel, "seconds"), measure="seconds") > 2
    assert (
        said(seconds, sum(seconds), counted(wheel_of("weaker"), "seconds"), measure="seconds") < 0
    )


@pytest.mark.parametrize("rounds", [None, [0.0] * 5, [1e6] * 5, [3.0], [90.0, 4.0, 7.0, 1.0, 2.0]])
@pytest.mark.parametrize("score", [None, 0.0, 17.0, 1e6])
def test_no_line_outweighs_all_other_evidence(
    rounds: list[float] | None, score: float | None
) -> None:
    value = said(rounds, score, counted(wheel_of("this")))
    assert np.isfinite(value)
    assert -3.5 < value <= max(LARGEST_ROUNDS, LARGEST_SCORE)


def test_repetitions_are_counted_by_no_machine() -> None:
    text = PLAN.replace("machine, most: MEASURE", "rope jump, most: reps").replace(
        "MEASURE", "reps"
    )
    (block,) = read_plan(text).timed_blocks
    track = machine_track(rowed(wheel_of("this")), "rower", "file")
    assert track is not None
    assert count_of(track, scored_steps(block, unfold_block(block))) is None
