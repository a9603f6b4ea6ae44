"""A whole class placed: every recording under its bell, and every file with its owner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ingest.recording import Floats
from reconcile.align.joint import JointEstimate
from reconcile.align.owners import (
    MOST_EVIDENCE,
    NOBODYS,
    OTHER_EQUIPMENT,
    SAME_EQUIPMENT,
    ClassSignal,
    Ownership,
    heart_explained_by,
    heart_signal,
    plan_signal,
    power_signal,
    same_heart_evidence,
    score_evidence,
    solve,
)
from reconcile.align.place import Assignment, Placement, place, support_under
from reconcile.align.priors import class_prior
from reconcile.align.signals import Signals
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin
from reconcile.plan import TimedBlock
from reconcile.timeline import PlannedStep, unfold_block

Steps = Mapping[str, tuple[PlannedStep, ...]]


@dataclass(frozen=True, eq=False)
class Placed:
    """A recording with a place in the class, and whose it is (nobody's: no owners)."""

    signals: Signals
    owners: tuple[str, ...]
    ownership: float
    placement: Placement

    def start_of(self, block: str) -> float | None:
        """The block's start on the recording's clock; None where the recording has no part of it."""
        return next((b.start_s for b in self.placement.blocks if b.block == block), None)


def option_of(record: ClassRecord, athlete: str, block: str) -> str | None:
    """The option an athlete did: as logged for the block, else as logged for any other."""
    own = [row for row in record.scores if row.athlete == athlete and row.option]
    named = next((row.option for row in own if row.block == block), None)
    return named or next((row.option for row in own), None)


def equipment_of(record: ClassRecord, athlete: str) -> str | None:
    """The machine that an athlete logged, if any."""
    return next((r.equipment for r in record.scores if r.athlete == athlete and r.equipment), None)


def row_of(record: ClassRecord, athlete: str, block: str) -> LoggedScore | None:
    """An athlete's row for a block: the row that names it, or the one that names none."""
    own = [row for row in record.scores if row.athlete == athlete]
    named = next((row for row in own if row.block == block), None)
    return named or next((row for row in own if row.block is None), None)


def athlete_steps(record: ClassRecord, athlete: Athlete) -> Steps:
    """An athlete's own timeline of every timed block: option and station applied."""
    return {
        block.name: unfold_block(
            block, option_of(record, athlete.athlete, block.name), athlete.station
        )
        for block in record.plan.timed_blocks
    }


def place_class(record: ClassRecord, signals: Sequence[Signals]) -> dict[str, Placed]:
    """Every readable recording placed: the class under its one bell, those alone each by itself."""
    athletes = {a.athlete: a for a in record.athletes}
    timelines = {name: athlete_steps(record, a) for name, a in athletes.items()}
    pinned_owners = {
        pin.file: tuple(pin.owner.split("+")) for pin in record.pins if pin.owner is not None
    }
    alone: dict[datetime, list[Assignment]] = {}
    together: list[Assignment] = []
    for item in signals:
        owners = pinned_owners.get(item.upload.file, item.upload.athletes)
        assignment = assign(record, item, owners, timelines)
        known = [athletes[name] for name in owners if name in athletes]
        if len(known) == 1 and known[0].start is not None:
            alone.setdefault(known[0].start, []).append(assignment)
        else:
            together.append(assignment)
    placed: dict[str, Placed] = {}
    for start, assignments in alone.items():
        _, placements = _place_group(record, start, assignments, alone=True)
        moved = (start - record.start).total_seconds()
        for assignment, placement in zip(assignments, placements, strict=True):
            placed[placement.file] = Placed(
                assignment.signals, assignment.owners, 1 - NOBODYS, placement.moved(moved)
            )
    joint, placements = _place_group(record, record.start, together, alone=False)
    owned = _owners(record, timelines, together, placements, joint, pinned_owners)
    changed = False
    for number, (assignment, ownership) in enumerate(zip(together, owned, strict=True)):
        owner = () if ownership.owner is None else (ownership.owner,)
        if len(assignment.owners) < 2 and owner and owner != assignment.owners:
            moved_to = assign(record, assignment.signals, owner, timelines)
            changed = changed or not _same_timeline(assignment, moved_to)
            together[number] = moved_to
    if changed:
        joint, placements = _place_group(record, record.start, together, alone=False)
    for assignment, ownership, placement in zip(together, owned, placements, strict=True):
        owners = assignment.owners
        if len(owners) < 2:
            owners = () if ownership.owner is None else (ownership.owner,)
        placed[placement.file] = Placed(
            assignment.signals, owners, ownership.probability, placement
        )
    return placed


def assign(
    record: ClassRecord,
    item: Signals,
    owners: tuple[str, ...],
    timelines: Mapping[str, Steps],
) -> Assignment:
    """A recording compared with the timeline of its owners, or with the plan as written."""
    known = [a for name in owners for a in record.athletes if a.athlete == name]
    generic = {block.name: unfold_block(block) for block in record.plan.timed_blocks}
    return Assignment(
        item,
        owners,
        known[0].delay_s if known else 0.0,
        timelines[known[0].athlete] if known else generic,
        tuple((a.delay_s, timelines[a.athlete]) for a in known) or ((0.0, generic),),
    )


def _same_timeline(first: Assignment, second: Assignment) -> bool:
    return first.delay_s == second.delay_s and first.steps == second.steps


def _place_group(
    record: ClassRecord, start: datetime, assignments: Sequence[Assignment], *, alone: bool
) -> tuple[JointEstimate, tuple[Placement, ...]]:
    pins: dict[str, dict[str, Pin]] = {}
    for pin in record.pins:
        if pin.block is not None and pin.start_s is not None:
            pins.setdefault(pin.file, {})[pin.block] = pin
    starts_s = (
        {} if alone else {name: (at - start).total_seconds() for name, at in record.starts.items()}
    )
    prior = class_prior(record.plan, record.start_tolerance_s, starts_s, alone=alone)
    return place(record.plan, prior, start, assignments, pins)


def _owners(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    together: Sequence[Assignment],
    placements: Sequence[Placement],
    joint: JointEstimate,
    pinned: Mapping[str, tuple[str, ...]],
) -> list[Ownership]:
    """An owner for every recording of the class, machines first, then heart rates."""
    people = [a for a in record.athletes if a.start is None]
    names = [a.athlete for a in people]
    out = {
        p.file: Ownership(
            p.file, a.owners[0] if a.owners else None, 1 - NOBODYS if a.owners else 1 - NOBODYS
        )
        for a, p in zip(together, placements, strict=True)
    }
    plans = {
        a.athlete: plan_signal(
            [start * 0.5 + a.delay_s for start in joint.starts],
            [timelines[a.athlete][block.name] for block in record.plan.timed_blocks],
        )
        for a in people
    }
    matched = [
        n
        for n, p in enumerate(placements)
        if p.status in ("aligned", "ambiguous") and len(together[n].owners) < 2
    ]
    for machines in (True, False):
        rows = [n for n in matched if (together[n].signals.track is not None) is machines]
        rows = [n for n in rows if together[n].signals.upload.file not in pinned]
        if not rows or not names:
            continue
        if not machines:
            rows = [n for n in rows if not together[n].owners]
            if not rows:
                continue
        evidence = np.zeros((len(rows), len(names)))
        for i, n in enumerate(rows):
            if machines:
                evidence[i] = _machine_evidence(
                    record, timelines, together, placements, joint, plans, people, n
                )
            else:
                evidence[i] = _heart_owner_evidence(together, placements, plans, people, n, out)
        solved = solve(
            [placements[n].file for n in rows],
            [together[n].owners for n in rows],
            names,
            evidence,
            _overlaps([(placements[n].start_s, together[n].signals.length_s) for n in rows]),
        )
        out.update({item.file: item for item in solved})
    return [out[p.file] for p in placements]


def _overlaps(spans: Sequence[tuple[float, float]]) -> list[list[bool]]:
    """Which recordings ran at the same time for longer than a minute."""
    return [[min(a + n, b + m) - max(a, b) > 60.0 for b, m in spans] for a, n in spans]


def _machine_evidence(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    together: Sequence[Assignment],
    placements: Sequence[Placement],
    joint: JointEstimate,
    plans: Mapping[str, ClassSignal],
    people: Sequence[Athlete],
    n: int,
) -> Floats:
    """Log evidence that each athlete made a machine's recording, against nobody of the class."""
    signals, x_s = together[n].signals, placements[n].start_s
    assert signals.track is not None
    power = power_signal(signals.track, x_s)
    own_heart = heart_signal(signals, x_s) if len(signals.heart) else None
    supports: dict[tuple[object, ...], float] = {}
    out = np.zeros(len(people))
    for column, athlete in enumerate(people):
        name = athlete.athlete
        key = (
            athlete.delay_s,
            athlete.station,
            *(option_of(record, name, block.name) for block in record.plan.timed_blocks),
        )
        if key not in supports:
            supports[key] = support_under(
                record.plan, assign(record, signals, (name,), timelines), joint, record.start
            )
        out[column] = supports[key]
        equipment = equipment_of(record, name)
        if equipment is not None:
            out[column] += SAME_EQUIPMENT if equipment == signals.machine else OTHER_EQUIPMENT
        out[column] += _hearts(together, placements, plans[name], name, n, power, own_heart)
        out[column] += _scores(record, athlete, together[n], placements[n], timelines[name])
    return out - max(supports.values())


def _hearts(
    together: Sequence[Assignment],
    placements: Sequence[Placement],
    plan: ClassSignal,
    name: str,
    n: int,
    power: ClassSignal,
    own_heart: ClassSignal | None,
) -> float:
    """How much better an athlete's heart is explained with this machine's work than without."""
    best = 0.0
    for other, (assignment, placement) in enumerate(zip(together, placements, strict=True)):
        if other == n or assignment.owners != (name,) or not len(assignment.signals.heart):
            continue
        if placement.status not in ("aligned", "ambiguous") or assignment.signals.track is not None:
            continue
        heart = heart_signal(assignment.signals, placement.start_s)
        gain = heart_explained_by(heart, [plan, power]) - heart_explained_by(heart, [plan])
        if own_heart is not None:
            gain += same_heart_evidence(own_heart, heart)
        best = max(best, gain)
    return float(np.clip(best, -MOST_EVIDENCE, MOST_EVIDENCE))


def _heart_owner_evidence(
    together: Sequence[Assignment],
    placements: Sequence[Placement],
    plans: Mapping[str, ClassSignal],
    people: Sequence[Athlete],
    n: int,
    owners: Mapping[str, Ownership],
) -> Floats:
    """Log evidence that each athlete wore the sensor of an unassigned heart rate."""
    heart = heart_signal(together[n].signals, placements[n].start_s)
    out = np.zeros(len(people))
    for column, athlete in enumerate(people):
        plain = heart_explained_by(heart, [plans[athlete.athlete]])
        for assignment, placement in zip(together, placements, strict=True):
            if (
                owners[placement.file].owner != athlete.athlete
                or placement.file == together[n].signals.upload.file
            ):
                continue
            if placement.status not in ("aligned", "ambiguous"):
                continue
            if assignment.signals.track is not None:
                power = power_signal(assignment.signals.track, placement.start_s)
                out[column] += heart_explained_by(heart, [plans[athlete.athlete], power]) - plain
                if len(assignment.signals.heart):
                    out[column] += same_heart_evidence(
                        heart_signal(assignment.signals, placement.start_s), heart
                    )
            else:
                # Few people wear two sensors.
                out[column] -= 3.0
    return np.clip(out, -MOST_EVIDENCE, MOST_EVIDENCE)


def _scores(
    record: ClassRecord,
    athlete: Athlete,
    assignment: Assignment,
    placement: Placement,
    steps: Steps,
) -> float:
    """How well the athlete's logged scores fit the machine's count over the block."""
    total = 0.0
    track = assignment.signals.track
    assert track is not None
    for block in record.plan.timed_blocks:
        start = next((b.start_s for b in placement.blocks if b.block == block.name), None)
        logged = row_of(record, athlete.athlete, block.name)
        if block.score is None or start is None or logged is None:
            continue
        recorded = _count(
            track.calories_at if block.score.measure == "calories" else track.metres_at,
            block,
            steps[block.name],
            start,
        )
        if block.score.take == "total" and block.score.measure in ("calories", "metres"):
            total += score_evidence(logged.score, recorded)
    return total


def _count(
    counter, block: TimedBlock, steps: Sequence[PlannedStep], start_s: float
) -> float | None:  # type: ignore[no-untyped-def]
    del block
    edges = np.array([(s.start_s, s.end_s) for s in steps if s.kind == "work"])
    values = counter((edges + start_s).ravel()).reshape(-1, 2)
    grown = np.diff(values, axis=1).sum()
    return float(grown) if np.isfinite(grown) else None
