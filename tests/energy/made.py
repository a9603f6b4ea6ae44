"""Steps, hearts and athletes for the tests of energy, made in memory."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from ingest.recording import Floats
from reconcile.classes import Athlete
from reconcile.energy.evidence import HeartRate, HeartSource, LoggedStep, Machine, StepEvidence
from reconcile.plan import Task
from reconcile.timeline import PlannedStep

ON = date(2026, 3, 9)
ATHLETE = Athlete("a01", "f", 1992, 64.0, resting_hr=58, max_hr=188, vo2max=44.0)
MOST = Task("machine", measure="calories", most=True)
START_S = 120.0


def rounds(
    count: int,
    work_s: float,
    rest_s: float,
    tasks: tuple[Task, ...] = (MOST,),
    *,
    pulls: tuple[tuple[float, float, float], ...] = (),
    machine: Machine | None = None,
    recorded: bool = False,
    attempted: bool | None = True,
    logged: LoggedStep | None = None,
    start_s: float = START_S,
) -> list[StepEvidence]:
    """Rounds of one work step and one rest, the same evidence in each."""
    steps = []
    for number in range(count):
        at = number * (work_s + rest_s)
        steps.append(
            StepEvidence(
                PlannedStep("main", number + 1, 1, "work", at, at + work_s, tasks),
                start_s,
                attempted=attempted,
                machine=machine,
                pulls=pulls,
                machine_recorded=recorded,
                logged=logged,
            )
        )
        steps.append(
            StepEvidence(
                PlannedStep("main", number + 1, 2, "rest", at + work_s, at + work_s + rest_s, ()),
                start_s,
                machine=machine,
                machine_recorded=recorded,
            )
        )
    return steps


def heart_of(
    steps: Sequence[StepEvidence], work_bpm: float, rest_bpm: float, source: HeartSource = "strap"
) -> HeartRate:
    """A heart that would settle at `work_bpm` in work and `rest_bpm` else, late as hearts are."""
    clock = np.arange(0.0, max(step.end_s for step in steps) + 60)
    aim: Floats = np.full(len(clock), rest_bpm)
    for step in steps:
        if step.planned.kind == "work":
            aim[(clock >= step.start_s + 8) & (clock < step.end_s + 8)] = work_bpm
    level, bpm = rest_bpm, np.empty(len(clock))
    for second, goal in enumerate(aim):
        level += (goal - level) / (30.0 if goal > level else 50.0)
        bpm[second] = level
    return HeartRate(clock, np.round(bpm), np.ones(len(clock)), source)
