"""A class made by hand: who heard which bell, when they worked, and what their devices wrote down.

Class time 0 is the true start of the first timed block, `BELL`; what the coach states may differ.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np

from ingest.recording import Floats, Recording
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin, Source, Upload
from reconcile.engine import reconcile_class
from reconcile.plan import Plan
from reconcile.plan_text import read_plan
from reconcile.result import AthleteResult, BlockPlacement, ClassResult, Interval, RecordingResult
from reconcile.timeline import PlannedStep, unfold_block
from tests.reconcile.flywheel import (
    BELL,
    EVERYTHING,
    Channel,
    Machine,
    Wheel,
    dated_at,
    sampled,
    spun,
)

Work = tuple[float, float, float]
"""Start, end (class time) and how hard, 1 being all that the athlete has."""


@dataclass(frozen=True)
class Habits:
    """How somebody works: so late after the bell, so long past it, at so many watts.

    skips: (block, round) left out. first_task_share: of a step, before the machine comes.
    """

    late_s: float = 1.5
    over_s: float = 0.6
    watts: float = 210.0
    skips: frozenset[tuple[str, int]] = frozenset()
    first_task_share: float = 0.55
    fade: float = 0.03


@dataclass(frozen=True, eq=False)
class Session:
    """A plan and when its timed blocks began, class time."""

    plan: Plan
    bells_s: Mapping[str, float]

    def steps(
        self, habits: Habits, *, delay_s: float = 0.0, station: int | None = None
    ) -> list[tuple[float, PlannedStep]]:
        """Every work step that was done, with the class time at which it began."""
        return [
            (self.bells_s[block.name] + delay_s + step.start_s, step)
            for block in self.plan.timed_blocks
            for step in unfold_block(block, None, station)
            if step.kind == "work" and (block.name, step.round) not in habits.skips
        ]

    def work(self, habits: Habits, *, delay_s: float = 0.0) -> list[Work]:
        """What the heart has to answer."""
        hard = {"easy": 0.45, "steady": 0.7}
        return [
            (
                at + habits.late_s,
                at + step.duration_s + habits.over_s,
                max(hard.get(task.effort or "hard", 1.0) for task in step.tasks),
            )
            for at, step in self.steps(habits, delay_s=delay_s)
        ]

    def pulls(
        self, habits: Habits, *, delay_s: float = 0.0, station: int | None = None
    ) -> list[tuple[float, float, float]]:
        """What the machine was pulled: after the first task where there is one before it."""
        out = []
        for at, step in self.steps(habits, delay_s=delay_s, station=station):
            if not any(task.on_machine for task in step.tasks):
                continue
            first = 0.0 if step.tasks[0].on_machine else habits.first_task_share * step.duration_s
            easy = any(task.effort == "easy" for task in step.tasks)
            watts = habits.watts * (0.45 if easy else 1 - habits.fade * (step.round - 1))
            out.append((at + first + habits.late_s, at + step.duration_s + habits.over_s, watts))
        return out

    def wheel(
        self,
        habits: Habits,
        first_s: float,
        last_s: float,
        machine: Machine = "rower",
        *,
        delay_s: float = 0.0,
        station: int | None = None,
    ) -> Wheel:
        """The machine that somebody pulled."""
        pulls = self.pulls(habits, delay_s=delay_s, station=station)
        return spun([pull for pull in pulls if pull[1] > first_s], first_s, last_s, machine)


def session(text: str, **bells_s: float) -> Session:
    """A session from a plan's text; bells by block name (`_` for `-` and blank)."""
    plan = read_plan(text)
    by_name = {
        block.name: bells_s[block.name.replace("-", "_").replace(" ", "_")]
        for block in plan.timed_blocks
    }
    return Session(plan, by_name)


def rowed(
    wheel: Wheel,
    channels: Sequence[Channel] = EVERYTHING,
    *,
    seed: int = 0,
    clock_s: float = 0.0,
    dated: bool = True,
) -> Recording:
    """A machine's recording with the power going up and down a little from stroke to stroke."""
    recording = sampled(wheel, channels, clock_s=clock_s, dated=dated)
    if recording.power_w is None:
        return recording
    stroke = 1 + np.random.default_rng(seed).normal(0, 0.05, len(recording.time_s))
    return replace(recording, power_w=np.round(recording.power_w * stroke))


def beating(
    work: Sequence[Work],
    first_s: float,
    last_s: float,
    *,
    seed: int = 0,
    rest_bpm: float = 80.0,
    reach_bpm: float = 90.0,
    delay_s: float = 8.0,
    up_s: float = 28.0,
    down_s: float = 55.0,
    noise_bpm: float = 1.0,
    every_s: float = 1.0,
    clock_s: float = 0.0,
    dated: bool = True,
) -> Recording:
    """A watch: a heart that answers work late and by a first-order law, and a sensor's noise."""
    clock = np.arange(first_s - 300, last_s + 1.0)
    asked = np.zeros(len(clock))
    for start_s, end_s, hard in work:
        asked[(clock >= start_s + delay_s) & (clock < end_s + delay_s)] = hard
    state, level = np.zeros(len(clock)), 0.0
    for index, want in enumerate(asked):
        level += (want - level) / (up_s if want > level else down_s)
        state[index] = level
    rng = np.random.default_rng([20260309, seed])
    slow, noise = 0.0, np.zeros(len(clock))
    for index, step in enumerate(rng.normal(0, 1, len(clock))):
        slow = 0.95 * slow + noise_bpm * 0.31 * float(step)
        noise[index] = slow
    at: Floats = np.arange(first_s, last_s + 1e-9, every_s)
    bpm = np.round(np.interp(at, clock, rest_bpm + reach_bpm * state + noise))
    recording = Recording("fit", "watch", None, len(at), at - first_s, heart_rate_bpm=bpm)
    return dated_at(recording, first_s + clock_s) if dated else recording


@dataclass(frozen=True, eq=False)
class Class:
    """A class as the engine is given it, and questions to its answer."""

    session: Session
    uploads: tuple[Upload, ...]
    athletes: tuple[Athlete, ...]
    stated_s: float = -20.0
    scores: tuple[LoggedScore, ...] = ()
    pins: tuple[Pin, ...] = ()
    starts_s: Mapping[str, float] = field(default_factory=dict)

    def record(self) -> ClassRecord:
        """The plain values that the engine takes."""
        return ClassRecord(
            plan=self.session.plan,
            start=BELL + timedelta(seconds=self.stated_s),
            start_tolerance_s=600.0,
            athletes=self.athletes,
            scores=self.scores,
            uploads=self.uploads,
            starts={name: BELL + timedelta(seconds=at) for name, at in self.starts_s.items()},
            pins=self.pins,
        )

    def reconciled(self) -> ClassResult:
        """What the engine says of it."""
        return reconcile_class(self.record())


def upload(file: str, recording: Recording | None) -> Upload:
    """An upload under the name that its file says."""
    who, source = file.split(".")[:2]
    athletes = () if who == "unassigned" else tuple(who.split("+"))
    sources: dict[str, Source] = {
        "watch": "watch", "rower": "rower", "ski": "ski", "bike": "bike"
    }  # fmt: skip
    return Upload(file, athletes, sources.get(source, "unknown"), recording)


def class_of(
    held: Session,
    recordings: Mapping[str, Recording],
    *,
    athletes: Sequence[Athlete] | None = None,
    stated_s: float = -20.0,
    scores: Sequence[LoggedScore] = (),
    pins: Sequence[Pin] = (),
    starts_s: Mapping[str, float] | None = None,
) -> Class:
    """A class of these recordings; its athletes are those of the files' names if not given."""
    uploads = tuple(upload(file, recording) for file, recording in recordings.items())
    names = sorted({name for one in uploads for name in one.athletes})
    return Class(
        held,
        uploads,
        tuple(athletes) if athletes is not None else tuple(Athlete(name) for name in names),
        stated_s,
        tuple(scores),
        tuple(pins),
        starts_s or {},
    )


def of_file(result: ClassResult, file: str) -> RecordingResult:
    """A file's entry."""
    entries = [one for athlete in result.athletes for one in athlete.recordings]
    (found,) = [one for one in (*entries, *result.unassigned) if one.file == file]
    return found


def of_athlete(result: ClassResult, name: str) -> AthleteResult:
    """An athlete's part."""
    (found,) = [athlete for athlete in result.athletes if athlete.athlete == name]
    return found


def places(result: ClassResult, file: str, block: str) -> list[BlockPlacement]:
    """Where a block lies on a file, likeliest first."""
    return [placed for placed in of_file(result, file).blocks if placed.block == block]


def start_on(result: ClassResult, file: str, block: str) -> float:
    """The likeliest start of a block on a file, seconds from its first sample."""
    return places(result, file, block)[0].start_s


def work_of(result: ClassResult, name: str, block: str) -> list[Interval]:
    """An athlete's work steps of a block."""
    return [
        one
        for one in of_athlete(result, name).intervals
        if one.block == block and one.kind == "work"
    ]
