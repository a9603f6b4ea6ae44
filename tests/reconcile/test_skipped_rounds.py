"""A round that was skipped, as heart rate tells it; and that no round is called skipped lightly."""

from __future__ import annotations

import numpy as np
import pytest

from ingest.recording import Floats
from reconcile.align.heart import heart_grid
from reconcile.effort import heart_answers
from reconcile.intervals import interval
from reconcile.plan import Step, Task, TimedBlock
from reconcile.timeline import unfold_block
from tests.reconcile.classroom import Work, beating

LIFT = Task("sandbag carry", "metres", 20)
WORK_S, REST_S, ROUNDS = 90.0, 75.0, 6
STEPS = unfold_block(
    TimedBlock("main", ROUNDS, (Step("work", WORK_S, (LIFT,)), Step("rest", REST_S)))
)
ROUND_S = WORK_S + REST_S
FIRST_S = -120.0


def worked(*left_out: int, easy: tuple[int, ...] = ()) -> list[Work]:
    return [
        (ROUND_S * n + 2, ROUND_S * n + WORK_S, 0.7 if n + 1 in easy else 1.0)
        for n in range(ROUNDS)
        if n + 1 not in left_out
    ]


def attempted(work: list[Work], *, seed: int = 0, noise_bpm: float = 1.2) -> list[bool | None]:
    """Whether each round was done, told by heart rate and nothing else."""
    recording = beating(
        work, FIRST_S, ROUNDS * ROUND_S + 120, seed=seed, noise_bpm=noise_bpm, reach_bpm=75
    )
    assert recording.heart_rate_bpm is not None
    return told(recording.time_s, recording.heart_rate_bpm)


def told(time_s: Floats, bpm: Floats) -> list[bool | None]:
    answers = heart_answers(heart_grid(time_s, bpm), -FIRST_S, STEPS)
    on_clock = (time_s + FIRST_S, bpm)
    return [
        interval(STEPS, index, [], on_clock, answers, 0.0).attempted
        for index, step in enumerate(STEPS)
        if step.kind == "work"
    ]


@pytest.mark.parametrize("left_out", [(1,), (2,), (4,), (6,), (2, 5), (5, 6)])
@pytest.mark.parametrize("seed", range(3))
def test_skipped_rounds_are_found_and_no_others(left_out: tuple[int, ...], seed: int) -> None:
    expected = [number not in left_out for number in range(1, ROUNDS + 1)]
    assert attempted(worked(*left_out), seed=seed) == expected


@pytest.mark.parametrize("seed", range(8))
def test_a_round_that_was_done_is_never_called_skipped(seed: int) -> None:
    assert False not in attempted(worked(), seed=seed, noise_bpm=2.5)


def test_a_round_taken_easier_is_not_skipped() -> None:
    assert False not in attempted(worked(easy=(3, 5)))


def test_light_work_done_once_is_not_called_skipped_beside_hard_work() -> None:
    jacks, circles = Task("jumping jack", effort="easy"), Task("arm circles", effort="easy")
    warm_up = TimedBlock(
        "warm-up",
        2,
        (
            Step("work", WORK_S, (jacks,)),
            Step("rest", REST_S),
            Step("work", WORK_S, (circles,)),
            Step("rest", REST_S),
        ),
    )
    steps = unfold_block(warm_up)
    done = [(step.start_s + 2, step.end_s, 0.8) for step in steps if step.tasks == (jacks,)]
    recording = beating(done, FIRST_S, 4 * ROUND_S + 120, reach_bpm=75)
    assert recording.heart_rate_bpm is not None
    grid = heart_grid(recording.time_s, recording.heart_rate_bpm)
    answers = heart_answers(grid, -FIRST_S, steps)
    on_clock = (recording.time_s + FIRST_S, recording.heart_rate_bpm)
    found = {
        step.step: interval(steps, index, [], on_clock, answers, 0.0).attempted
        for index, step in enumerate(steps)
    }
    assert found[1] is True
    assert found[3] is not False


def test_a_heart_that_answers_nothing_at_all_proves_nothing() -> None:
    # A sensor on the table, or a stranger's: no round is called skipped on its word.
    time_s = np.arange(0.0, 1200.0)
    noise = np.random.default_rng(3).normal(0, 0.7, len(time_s))
    assert told(time_s, np.round(72 + noise)) == [None] * ROUNDS


def test_without_heart_rate_nothing_is_known() -> None:
    answers = heart_answers(np.full(600, np.nan), -FIRST_S, STEPS)
    assert answers == {}
    assert interval(STEPS, 0, [], None, answers, 0.0).attempted is None


def test_rounds_in_which_the_sensor_dropped_out_are_not_judged() -> None:
    recording = beating(worked(), FIRST_S, ROUNDS * ROUND_S + 120, reach_bpm=75)
    assert recording.heart_rate_bpm is not None
    bpm = recording.heart_rate_bpm.copy()
    third = (recording.time_s + FIRST_S > 2 * ROUND_S) & (recording.time_s + FIRST_S < 3 * ROUND_S)
    bpm[third] = np.nan
    done = told(recording.time_s, bpm)
    assert done[2] is None
    assert False not in done
