"""A made class of which everything is known: one block, three watches and a rower."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from ingest.recording import Floats, Recording
from reconcile.classes import Athlete, ClassRecord, Source, Upload
from reconcile.plan import Plan, Step, Task, TimedBlock
from reconcile.timeline import unfold_block

ROUND_S, WORK_S, ROUNDS = 170.0, 100.0, 5
MACHINE = Task("machine", "calories", most=True)
BLOCK = TimedBlock("main", ROUNDS, (Step("work", WORK_S, (MACHINE,)), Step("rest", 70.0)))
STEPS = unfold_block(BLOCK)
STATED = datetime(2026, 4, 18, 7, 30, tzinfo=UTC)
# The class began so much after the stated start; the heart answers so late after the bell.
BELL_S = 45.0
LATE_S = 12.0
AHEAD_S = 40.0


def working(clock_s: Floats) -> Floats:
    """1 where the plan has work, by the class clock, 0 elsewhere."""
    into = clock_s - BELL_S
    inside = (into >= 0) & (into < ROUNDS * ROUND_S)
    return np.where(inside & (np.mod(into, ROUND_S) < WORK_S), 1.0, 0.0)


def heart_of(clock_s: Floats, seed: int) -> Floats:
    """A first-order answer, 30 s up and 55 s down, of somebody's own height."""
    rest, most = 75.0 + 9.0 * seed, 150.0 + 8.0 * seed
    level, beats = rest, np.empty(clock_s.size)
    for index, work in enumerate(working(clock_s - LATE_S)):
        aim = most if work else rest
        level += (aim - level) / (30.0 if aim > level else 55.0)
        beats[index] = level
    return beats + np.random.default_rng(seed).normal(0.0, 1.0, clock_s.size)


def upload(file: str, source: Source, first_s: float, clock_ahead_s: float = 0.0) -> Upload:
    """A recording from `first_s` on the class clock to two minutes after the last round."""
    time_s = np.arange(0.0, BELL_S + ROUNDS * ROUND_S + 120.0 - first_s)
    clock_s = first_s + time_s
    power = 190.0 * working(clock_s) * working(clock_s - 2.0)
    recording = Recording(
        "csv",
        "unknown",
        STATED + timedelta(seconds=first_s + clock_ahead_s),
        time_s.size,
        time_s,
        heart_rate_bpm=heart_of(clock_s, int(file[1:3])) if source == "watch" else None,
        power_w=power if source != "watch" else None,
    )
    return Upload(file, (file.split(".", maxsplit=1)[0],), source, recording)


def class_of(*uploads: Upload) -> ClassRecord:
    names = dict.fromkeys(name for each in uploads for name in each.athletes)
    return ClassRecord(
        Plan("Willow bend", (BLOCK,), ()),
        STATED,
        600.0,
        tuple(Athlete(name) for name in names),
        (),
        uploads,
    )


RECORD = class_of(
    upload("a01.watch.csv", "watch", -200.0),
    upload("a01.rower.csv", "rower", -90.0),
    upload("a02.watch.csv", "watch", -310.0, AHEAD_S),
    upload("a03.watch.csv", "watch", -120.0),
)
