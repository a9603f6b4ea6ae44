"""A small group that comes every week: invented people, the demo's bodies and machines."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np

from api.demo.flywheel import run_wheel
from api.demo.folder import machine_recording, watch_recording
from api.demo.performance import block_starts, perform, round_counts
from api.demo.session import STATED_START, Person
from ingest.recording import Recording
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Upload
from reconcile.plan_text import read_plan
from reconcile.timeline import unfold_block

PLAN = read_plan("""\
title: Ferry landing
options: [prescribed]
blocks:
  - name: loosen
    rounds: 3
    steps:
      - {work: 45s, tasks: [{movement: machine, effort: easy}]}
      - {rest: 15s}
  - name: fetch the sacks
    free: 3m..6m
  - name: ferry
    rounds: 6
    steps:
      - {work: 75s, tasks: [{movement: machine, most: calories}]}
      - {rest: 75s}
    score: {measure: calories, take: total}
""")


def someone(athlete: str, resting: float, highest: float, watts: float, late_s: float) -> Person:
    """One of the group; on the machine in the main block at 1.45 times `watts`, so late."""
    return Person(
        athlete, "f", 1990, 66, resting, highest, "prescribed", "rower", watts, 60, 0, (),
        late_s=late_s,
    )  # fmt: skip


GROUP = (
    someone("b01", 55, 188, 110, 1.0),
    someone("b02", 61, 186, 126, 9.0),
    someone("b03", 58, 190, 62, 17.0),
    someone("b04", 63, 184, 140, 25.0),
    someone("b05", 57, 192, 118, 33.0),
)
# Marks as a reader gives them: hexadecimal digits, one a watch.
MARKS = {person.athlete: f"{number:032x}" for number, person in enumerate(GROUP, start=0xA1)}


def made_class(
    week: int = 0,
    *,
    without_machine: Collection[str] = (),
    without_watch: Collection[str] = (),
    nameless_watch: Collection[str] = (),
    marks: Mapping[str, str] = MARKS,
    logged: Mapping[str, float] | None = None,
    history: Mapping[str, Any] | None = None,
) -> ClassRecord:
    """The class of one week, everybody with a rower's and a watch's file where not said otherwise.

    logged: scores that differ from what was done. marks: of the watches, by who wears them.
    """
    later = timedelta(weeks=week)
    uploads: list[Upload] = []
    scores: list[LoggedScore] = []
    ferry = PLAN.timed_blocks[-1]
    for place, person in enumerate(GROUP):
        rng = np.random.default_rng([20260517, week, place])
        done = perform(PLAN, person, rng)
        assert person.machine is not None
        wheel = run_wheel(done.pulls, person.machine, done.length_s, rng)
        rounds = round_counts(
            wheel, "calories", unfold_block(ferry), block_starts(PLAN)[ferry.name], 1.0
        )
        name = person.athlete
        told = (logged or {}).get(name)
        scores.append(
            LoggedScore(
                name,
                ferry.name,
                equipment="rower",
                score=float(sum(rounds)) if told is None else told,
                rounds=tuple(map(float, rounds)) if told is None else None,
            )
        )
        machine = moved(machine_recording(person, "machine", done, wheel), later)
        watch = replace(
            moved(watch_recording(person, done, rng), later), device_mark=marks.get(name)
        )
        if name not in without_machine:
            uploads.append(Upload(f"{name}.rower.csv", (name,), "rower", machine))
        if name in nameless_watch:
            uploads.append(Upload(f"unassigned.watch.{place}.fit", (), "watch", watch))
        elif name not in without_watch:
            uploads.append(Upload(f"{name}.watch.fit", (name,), "watch", watch))
    return ClassRecord(
        plan=PLAN,
        start=STATED_START + later,
        start_tolerance_s=600.0,
        athletes=tuple(Athlete(p.athlete, "f", 1990, 66.0, max_hr=p.highest_bpm) for p in GROUP),
        scores=tuple(scores),
        uploads=tuple(uploads),
        history=history or {},
    )


def moved(recording: Recording, later: timedelta) -> Recording:
    """The same recording on another day."""
    assert recording.start is not None
    return replace(recording, start=recording.start + later)
