"""When the work of a step began and ended, as heart rate tells it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.recording import Floats
from reconcile.align.heart import HEART_STEP_S
from reconcile.effort import UNSURE_S, USUAL_START_S, USUAL_STOP_S, heart_answers
from reconcile.intervals import interval
from reconcile.machine import MachineTrack, Pull
from reconcile.plan import Step, Task, TimedBlock
from reconcile.timeline import PlannedStep, unfold_block

SQUATS = Task("squat", "reps", most=True)
FIXED = Task("squat", "reps", 20)
MACHINE = Task("machine", "calories", most=True)
WORK_S, REST_S = 100.0, 80.0
BLOCK_STARTS_S = 300.0


def steps(rounds: int, *tasks: Task) -> tuple[PlannedStep, ...]:
    block = TimedBlock("main", rounds, (Step("work", WORK_S, tasks), Step("rest", REST_S)))
    return unfold_block(block)


def heart(
    rounds: int,
    late_s: dict[int, float] | None = None,
    early_s: dict[int, float] | None = None,
    noise_bpm: float = 0.5,
) -> Floats:
    """A heart that answers 9 s late with a time constant of 28 s up and 60 s down, every 2 s.

    late_s: how much later than the habit work began, by round; early_s: how much sooner it ended.
    """
    clock = np.arange(0.0, BLOCK_STARTS_S + rounds * (WORK_S + REST_S) + 200.0)
    goal = np.full(clock.size, 85.0)
    for number in range(rounds):
        at = BLOCK_STARTS_S + number * (WORK_S + REST_S) + 9.0
        begin = at + USUAL_START_S + (late_s or {}).get(number + 1, 0.0)
        end = at + WORK_S + USUAL_STOP_S - (early_s or {}).get(number + 1, 0.0)
        goal[(clock >= begin) & (clock < end)] = 165.0
    level, beats = 85.0, np.empty(clock.size)
    for second, aim in enumerate(goal):
        level += (aim - level) / (28.0 if aim > level else 60.0)
        beats[second] = level
    rng = np.random.default_rng(7)
    return (beats + rng.normal(0.0, noise_bpm, clock.size))[:: int(HEART_STEP_S)]


def starts(answered: Floats, planned: tuple[PlannedStep, ...]) -> list[float | None]:
    answers = heart_answers(answered, BLOCK_STARTS_S, planned)
    found = [answers[step.round, 1].start for step in planned if step.kind == "work"]
    return [None if edge is None else edge.at_s for edge in found]


def test_a_round_begun_late_is_told_from_the_others() -> None:
    found = starts(heart(5, late_s={3: 15.0}), steps(5, SQUATS))
    assert all(at is not None for at in found)
    known = [at for at in found if at is not None]
    others = [at for number, at in enumerate(known, 1) if number != 3]
    # One round weighs against the habit of beginning at the bell, so a part of it stays untold.
    assert 8.0 < known[2] - np.mean(others) < 16.0
    assert all(abs(at - USUAL_START_S) < 4.0 for at in others)


def test_a_round_ended_early_is_told_from_the_others() -> None:
    answers = heart_answers(heart(5, early_s={4: 18.0}), BLOCK_STARTS_S, steps(5, SQUATS))
    ends = [answers[number, 1].end for number in range(1, 6)]
    known = [edge.at_s for edge in ends if edge is not None]
    assert len(known) == 5
    assert 7.0 < np.mean(known[:3]) - known[3] < 19.0


def test_every_edge_carries_its_standard_deviation_and_holds_the_truth() -> None:
    answers = heart_answers(heart(5, late_s={2: 9.0}), BLOCK_STARTS_S, steps(5, SQUATS))
    for number in range(1, 6):
        edge = answers[number, 1].start
        assert edge is not None
        truth = USUAL_START_S + (9.0 if number == 2 else 0.0)
        assert abs(edge.at_s - truth) < 2 * edge.sd_s


def test_a_round_begun_later_is_never_told_as_begun_sooner() -> None:
    found = [starts(heart(4, late_s={2: late}), steps(4, SQUATS))[1] for late in (0.0, 6.0, 12.0)]
    known = [at for at in found if at is not None]
    assert len(known) == 3
    assert known == sorted(known)


def test_a_restless_sensor_tells_no_edges() -> None:
    answers = heart_answers(heart(4, noise_bpm=25.0), BLOCK_STARTS_S, steps(4, SQUATS))
    assert all(answer.start is None and answer.end is None for answer in answers.values())


def test_two_rounds_are_too_few_to_compare() -> None:
    assert heart_answers(heart(2), BLOCK_STARTS_S, steps(2, SQUATS)) == {}


def test_the_end_of_a_fixed_amount_is_not_told() -> None:
    answers = heart_answers(heart(5), BLOCK_STARTS_S, steps(5, FIXED))
    assert all(answer.end is None for answer in answers.values())
    assert any(answer.start is not None for answer in answers.values())


@given(st.integers(0, 200))
def test_where_a_recording_begins_changes_nothing(samples: int) -> None:
    whole, planned = heart(4, late_s={3: 10.0}), steps(4, SQUATS)
    padded = np.concatenate([np.full(samples, whole[0]), whole])
    moved = heart_answers(padded, BLOCK_STARTS_S + samples * HEART_STEP_S, planned)
    for place, answer in heart_answers(whole, BLOCK_STARTS_S, planned).items():
        assert moved[place].share == pytest.approx(answer.share, abs=1e-6)
        assert answer.start is not None
        there = moved[place].start
        assert there is not None
        assert there.at_s == pytest.approx(answer.start.at_s, abs=1e-6)
        assert there.sd_s < UNSURE_S


def machine_track(pulls: tuple[tuple[float, float], ...], end_s: float) -> MachineTrack:
    time_s = np.arange(0.0, end_s)
    pulling = np.zeros(time_s.size, dtype=bool)
    for start, end in pulls:
        pulling |= (time_s >= start) & (time_s < end)
    return MachineTrack(
        machine="rower",
        file="a01.rower.csv",
        time_s=time_s,
        pulled_power_w=np.where(pulling, 200.0, 0.0),
        pulling=pulling,
        pulls=tuple(Pull(start, end, 200.0) for start, end in pulls),
        calories=None,
        metres=None,
        counted=False,
    )


def test_the_machine_tells_its_own_edge_and_the_heart_the_other() -> None:
    planned = steps(4, SQUATS, MACHINE)
    round_s = WORK_S + REST_S
    pulls = tuple((n * round_s + 60.0, n * round_s + 99.0) for n in range(4))
    answers = heart_answers(heart(4), BLOCK_STARTS_S, planned)
    track = machine_track(pulls, 4 * round_s)
    done = interval(planned, 0, [track], None, answers, 39.0)
    start = answers[1, 1].start
    assert start is not None
    assert done.effort_start_s == start.at_s
    assert done.effort_end_s == 99.0


def test_without_heart_rate_only_the_machines_edge_is_known() -> None:
    planned = steps(4, SQUATS, MACHINE)
    done = interval(planned, 0, [machine_track(((60.0, 99.0),), 400.0)], None, {}, 39.0)
    assert (done.effort_start_s, done.effort_end_s) == (None, 99.0)
