"""What one class adds to the history: only what is sure enough to be built on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from reconcile.classes import Athlete, ClassRecord
from reconcile.history import MARK, EntryError, History, history_of, line_of
from reconcile.learnt import (
    AthleteHistory,
    LearntDrop,
    LearntLine,
    LearntPower,
    SeenDevice,
    tidy,
)
from reconcile.machine import Machine, machine_of
from reconcile.result import AthleteResult, ClassResult, Interval, RecordingResult
from reconcile.score.expected import usual_machine_s
from reconcile.score.scored import scored_steps
from reconcile.sheet import equipment_of, option_of
from reconcile.timeline import unfold_block

# A file teaches only where it is this probable that it is theirs: a name that nothing speaks
# against is enough, one that anything speaks against is not. Judgement.
SURELY_OWNED = 0.85
# Shorter pulls in a step tell little of somebody's power, and longer ones in a rest are no rest.
LEAST_PULLING_S = 10.0
GOOD = ("confirmed", "plausible")


def learn(history: History, record: ClassRecord, result: ClassResult) -> History:
    """The history with what this class taught; a class that it knows already is learnt anew.

    Taught is only by recordings that are aligned and surely owned. An athlete with any other file
    in the class, or with a flagged score, teaches nothing but whose devices those are; power comes
    from blocks whose score is confirmed or plausible, and what rests on heart rate from a heart
    rate that nobody doubts.
    """
    start = record.start.astimezone(UTC)
    files = [entry for athlete in result.athletes for entry in athlete.recordings]
    files += result.unassigned
    known = {a: h.chosen(lambda at: at != start) for a, h in history.athletes.items()}
    people = {athlete.athlete: athlete for athlete in record.athletes}
    for athlete in result.athletes:
        theirs = [entry for entry in files if athlete.athlete in owners_of(entry)]
        taught = tidy(devices=_devices(record, theirs, start))
        if _sound(athlete, theirs):
            person = people[athlete.athlete]
            taught = taught.joined(_taught(record, person, athlete, theirs, start))
        known[athlete.athlete] = known.get(athlete.athlete, AthleteHistory()).joined(taught)
    return history_of(known)


def owners_of(entry: RecordingResult) -> tuple[str, ...]:
    """Whose a file is; nobody's: ()."""
    owner = entry.belongs_to
    if owner is None:
        return ()
    return owner if isinstance(owner, tuple) else (owner,)


def _sure(entry: RecordingResult) -> bool:
    return entry.status == "aligned" and entry.probability >= SURELY_OWNED


def _sound(athlete: AthleteResult, theirs: Sequence[RecordingResult]) -> bool:
    """Whether all that was measured of an athlete rests on sure files, and no score is in doubt."""
    used = [entry for entry in theirs if entry.status in ("aligned", "ambiguous")]
    flagged = any(score.flag for score in athlete.scores)
    return bool(used) and all(map(_sure, used)) and not flagged


def _devices(
    record: ClassRecord, theirs: Sequence[RecordingResult], start: datetime
) -> list[SeenDevice]:
    recordings = {upload.file: upload.recording for upload in record.uploads}
    sure = [recordings.get(entry.file) for entry in theirs if _sure(entry)]
    marks = [recording.device_mark for recording in sure if recording is not None]
    return [SeenDevice(mark, (start,)) for mark in marks if mark and MARK.fullmatch(mark)]


def _taught(
    record: ClassRecord,
    person: Athlete,
    athlete: AthleteResult,
    theirs: Sequence[RecordingResult],
    start: datetime,
) -> AthleteHistory:
    powers = _powers(record, person, athlete, _machines(record, person, theirs), start)
    if any(advice.code == "check_sensor" for advice in athlete.advice):
        return tidy(powers=powers)
    return tidy(_lines(athlete, start), powers, _drops(athlete.intervals, start))


def _lines(athlete: AthleteResult, start: datetime) -> list[LearntLine]:
    if not athlete.own_line:
        return []
    try:
        return [line_of(start, athlete.own_line)]
    except EntryError:  # a line beyond what bodies do, as a broken sensor makes it, is not kept
        return []


def _machines(
    record: ClassRecord, person: Athlete, theirs: Sequence[RecordingResult]
) -> set[Machine]:
    """The kinds of machine in an athlete's files."""
    names = {entry.file for entry in theirs}
    logged = equipment_of(record, person.athlete)
    found = [
        machine_of(upload.recording, upload.source, logged)
        for upload in record.uploads
        if upload.file in names and upload.recording is not None
    ]
    return {machine for machine in found if machine is not None}


def _powers(
    record: ClassRecord,
    person: Athlete,
    athlete: AthleteResult,
    machines: set[Machine],
    start: datetime,
) -> list[LearntPower]:
    """Power of the scored steps of each good block; nothing where two machines were used."""
    if len(machines) != 1:
        return []
    (machine,) = machines
    good = {score.block for score in athlete.scores if score.verdict in GOOD}
    powers = []
    for block in record.plan.timed_blocks:
        if block.name not in good:
            continue
        option = option_of(record, person.athlete, block.name)
        scored = scored_steps(block, unfold_block(block, option, person.station))
        planned_s = usual_machine_s(scored)
        places = {(step.planned.round, step.planned.step) for step in scored.steps}
        watts = [
            done.mean_power_w
            for done in athlete.intervals
            if done.block == block.name
            and (done.round, done.step) in places
            and done.mean_power_w is not None
            and (done.machine_active_s or 0.0) >= LEAST_PULLING_S
        ]
        if watts and planned_s is not None:
            mean_w, best_w = round(float(np.mean(watts)), 1), round(max(watts), 1)
            powers.append(
                LearntPower(start, machine, round(planned_s, 1), len(watts), mean_w, best_w)
            )
    return powers


def _drops(intervals: Sequence[Interval], start: datetime) -> list[LearntDrop]:
    """The mean drop over rests that were rests, after work that was done."""
    found = [
        (work.peak_hr, rest.hr_drop_60s)
        for work, rest in pairwise(intervals)
        if work.block == rest.block
        and work.kind == "work"
        and work.attempted is not False
        and work.peak_hr is not None
        and rest.hr_drop_60s is not None
        and (rest.machine_active_s or 0.0) < LEAST_PULLING_S
    ]
    if not found:
        return []
    peak_bpm, drop_bpm = (round(float(mean), 1) for mean in np.mean(found, axis=0))
    return [LearntDrop(start, len(found), peak_bpm, drop_bpm)]
