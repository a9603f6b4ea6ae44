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
from tests.reconcile.classroom import (
    Habits,
    Work,
    beating,
    class_of,
    rowed,
    session,
    work_of,
)
from tests.reconcile.flywheel import spun

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


STATIONS = session(
    """title: Four corners
blocks:
  - name: main
    rounds: 2
    rotate: true
    steps:
      - {work: 75s, tasks: [{movement: rower, most: calories}]}
      - {rest: 45s}
      - {work: 75s, tasks: [{movement: sandbag carry, metres: 60}]}
      - {rest: 45s}
      - {work: 75s, tasks: [{movement: step-up, reps: 25}]}
      - {rest: 45s}
      - {work: 75s, tasks: [{movement: walking lunge, reps: 30}]}
      - {rest: 45s}
    score: {measure: calories, take: total}
""",
    main=0.0,
)
LAST_STATION_S = 2 * 480.0 + 90


def stations(done: set[tuple[int, int]], *, seed: int = 0) -> list[bool | None]:
    """Whether each of two rounds' four stations was done, by a rower's file and a watch.

    Somebody else did all of them, which tells where the rounds lie.
    """
    files = {}
    for name, did in (("b01", done), ("b02", EVERYTHING)):
        work = [
            (at + 2.0, at + 75.5, step.tasks[0].movement)
            for at, step in STATIONS.steps(Habits())
            if (step.round, step.step) in did
        ]
        pulls = [(start, end, 200.0) for start, end, movement in work if movement == "rower"]
        hard = [(start, end, 1.0) for start, end, _ in work]
        files[f"{name}.rower.fit"] = rowed(spun(pulls, -60.0, LAST_STATION_S))
        files[f"{name}.watch.fit"] = beating(hard, -90, LAST_STATION_S, seed=seed + len(files))
    result = class_of(STATIONS, files).reconciled()
    return [step.attempted for step in work_of(result, "b01", "main")]


EVERYTHING = {(number, place) for number in (1, 2) for place in (1, 3, 5, 7)}


@pytest.mark.parametrize("seed", range(3))
def test_who_left_out_one_station_and_rested_left_out_the_round(seed: int) -> None:
    told = stations({(n, place) for n, place in EVERYTHING if n != 2}, seed=seed)
    assert told[4:] == [False] * 4
    assert False not in told[:4]


@pytest.mark.parametrize("seed", range(3))
def test_one_station_that_was_left_out_is_not_the_round(seed: int) -> None:
    told = stations(EVERYTHING - {(2, 1)}, seed=seed)
    assert told[4] is False
    assert False not in told[:4] + told[5:]
