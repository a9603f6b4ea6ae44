"""A whole class placed: every recording under its bell, and every file with its owner."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from ingest.recording import Floats
from reconcile.align.claims import ClassKnown, gather
from reconcile.align.grid import STEP_S, LogRatio
from reconcile.align.joint import ClassPrior, JointEstimate, Place, RecordingEvidence, placed_under
from reconcile.align.length import as_long_as_others
from reconcile.align.ownership import WRONG_NAME, Ownership, assign_owners
from reconcile.align.place import Placement, fit_under_bell, place, summed_up
from reconcile.align.priors import class_prior
from reconcile.align.same_body import OwnFile, told_by_each_other
from reconcile.align.signals import Signals
from reconcile.align.sources import Assignment, Findings
from reconcile.align.stopped_clock import place_stopped, stood_still, usual_starts
from reconcile.align.turns import Turns, Way, in_turns, lines_off_turns, told_by_lines
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin
from reconcile.history import History
from reconcile.machine import machines_told
from reconcile.score.left_out import said_left_out
from reconcile.timeline import PlannedStep, unfold_block

Steps = Mapping[str, tuple[PlannedStep, ...]]
# Where nothing but the name speaks for an owner, and nothing against.
SURELY = 0.98


@dataclass(frozen=True, eq=False)
class Placed:
    """A recording with a place in the class, and whose it is (nobody's: no owners).

    odds: how probable each owner is, likeliest first; empty where there was nothing to weigh.
    """

    signals: Signals
    owners: tuple[str, ...]
    ownership: float
    placement: Placement
    odds: tuple[tuple[str | None, float], ...] = ()

    def start_of(self, block: str) -> float | None:
        """The block's start on the recording's clock; None where it has no part of the block."""
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


def logged_rows(
    record: ClassRecord, people: Sequence[Athlete]
) -> dict[tuple[str, str], LoggedScore]:
    """By athlete and timed block, what was logged."""
    return {
        (a.athlete, block.name): row
        for a in people
        for block in record.plan.timed_blocks
        if (row := row_of(record, a.athlete, block.name)) is not None
    }


def athlete_steps(record: ClassRecord, athlete: Athlete) -> Steps:
    """An athlete's own timeline of every timed block: option and station applied."""
    return {
        block.name: unfold_block(
            block, option_of(record, athlete.athlete, block.name), athlete.station
        )
        for block in record.plan.timed_blocks
    }


def place_class(
    record: ClassRecord, signals: Sequence[Signals], history: History
) -> dict[str, Placed]:
    """Every readable recording placed: the class under its one bell, those alone each by itself.

    history: what earlier classes taught about whose devices these are.
    """
    athletes = {a.athlete: a for a in record.athletes}
    timelines = {name: athlete_steps(record, a) for name, a in athletes.items()}
    pinned_owners = {
        pin.file: tuple(pin.owner.split("+")) for pin in record.pins if pin.owner is not None
    }
    alone: dict[datetime, list[Assignment]] = {
        a.start: [] for a in record.athletes if a.start is not None
    }
    together: list[Assignment] = []
    for item in signals:
        owners = pinned_owners.get(item.upload.file, item.upload.athletes)
        assignment = assign(record, item, owners, timelines)
        known = [athletes[name] for name in owners if name in athletes]
        if len(known) == 1 and known[0].start is not None:
            alone[known[0].start].append(assignment)
        else:
            together.append(assignment)
    placed: dict[str, Placed] = {}
    findings = Findings()
    for start, assignments in alone.items():
        for found in _placed_alone(record, start, assignments, findings):
            file = found.signals.upload.file
            if found.placement.status == "unmatched" and file not in pinned_owners:
                together.append(assign(record, found.signals, (), timelines))
            else:
                placed[file] = found
    for found in _placed_together(record, together, timelines, pinned_owners, history, findings):
        file = found.signals.upload.file
        elsewhere = None
        of_no_hour = found.placement.status == "unmatched" and not found.odds
        if of_no_hour and file not in pinned_owners:
            elsewhere = _of_somebody_alone(record, alone, found.signals, timelines, findings)
        placed[file] = elsewhere or found
    return placed


def _placed_together(
    record: ClassRecord,
    together: list[Assignment],
    timelines: Mapping[str, Steps],
    pinned: Mapping[str, tuple[str, ...]],
    history: History,
    findings: Findings,
) -> list[Placed]:
    """The recordings of the class under its bell, with their owners.

    Where owners turn out to follow another timeline than the one that a file was compared with,
    the bell is looked for once more with theirs.
    """
    group = _place_group(record, record.start, together, findings, alone=False)
    shared = _used_in_turns(record, timelines, together, group.joint, findings)
    for number, turns in shared.items():
        together[number] = assign(record, together[number].signals, turns.owners, timelines)
    if shared:
        group = _place_group(record, record.start, together, findings, alone=False)
    surely = {together[n].signals.upload.file: turns.probability for n, turns in shared.items()}
    owned = _owners(record, timelines, group, pinned, surely, history, findings)
    changed = False
    for number, (assignment, ownership) in enumerate(zip(together, owned, strict=True)):
        owner = () if ownership.owner is None else (ownership.owner,)
        if len(assignment.owners) < 2 and owner and owner != assignment.owners:
            moved_to = assign(record, assignment.signals, owner, timelines)
            changed = changed or not _same_timeline(assignment, moved_to)
            together[number] = moved_to
    if changed:
        group = _place_group(record, record.start, together, findings, alone=False)
    whose = [
        assignment.owners
        if len(assignment.owners) > 1
        else (() if ownership.owner is None else (ownership.owner,))
        for assignment, ownership in zip(group.compared, owned, strict=True)
    ]
    placements = _told_by_bodies(record, group, whose)
    out = []
    for assignment, ownership, placement in zip(group.compared, owned, placements, strict=True):
        owners = assignment.owners
        if len(owners) < 2:
            owners = () if ownership.owner is None else (ownership.owner,)
        elif placement.status == "unmatched":
            owners = pinned.get(placement.file, assignment.signals.upload.athletes)
        nobodys = not owners and bool(ownership.odds)
        out.append(
            Placed(
                assignment.signals,
                owners,
                ownership.probability,
                placement.as_nobodys() if nobodys else placement,
                ownership.odds,
            )
        )
    return out


def _used_in_turns(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    together: Sequence[Assignment],
    joint: JointEstimate,
    findings: Findings,
) -> dict[int, Turns]:
    """Owners of nameless machines' files that hold several turns, by place in the list of files."""
    people = [a for a in record.athletes if a.start is None]
    ways = {a.athlete: (a.delay_s, timelines[a.athlete]) for a in people}
    first = next(iter(ways.values()), None)
    if all(way == first for way in ways.values()):
        return {}
    machines = [a for a in together if a.signals.track is not None]
    named = {name for a in machines for name in (*a.owners, *a.signals.upload.athletes)}
    found = {}
    for number, file in enumerate(together):
        recording, track = file.signals.upload.recording, file.signals.track
        if file.owners or file.signals.upload.athletes or track is None:
            continue
        assert recording is not None
        told = machines_told(recording, file.signals.upload.source)
        left = [
            a.athlete
            for a in people
            if a.athlete not in named and equipment_of(record, a.athlete) in (*told, None)
        ]
        turns = _turns_of(record, timelines, file.signals, left, ways, joint, findings)
        if turns is not None:
            found[number] = turns
            named.update(turns.owners)
    return found


def _turns_of(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    item: Signals,
    left: Sequence[str],
    ways: Mapping[str, Way],
    joint: JointEstimate,
    findings: Findings,
) -> Turns | None:
    """Those of the ones who are left that used a nameless machine in turns."""
    track, blocks = item.track, record.plan.timed_blocks
    assert track is not None
    rows = logged_rows(record, [a for a in record.athletes if a.athlete in left])

    def placed(names: tuple[str, ...]) -> tuple[float, float]:
        tried = assign(record, item, names, timelines)
        return fit_under_bell(tried, record.plan, joint.starts, record.start, findings)

    def read_off(names: tuple[str, ...]) -> Callable[[str], float]:
        first_s = placed(names)[1]
        starts_s = {
            block.name: start * STEP_S - first_s
            for block, start in zip(blocks, joint.starts, strict=True)
        }
        return lines_off_turns(track, starts_s, blocks, names, ways, rows)

    return in_turns(left, ways, lambda names: placed(names)[0], read_off)


def _placed_alone(
    record: ClassRecord,
    start: datetime,
    assignments: Sequence[Assignment],
    findings: Findings,
) -> list[Placed]:
    """The recordings of whoever trained alone from this start on, which pulls no bell."""
    group = _place_group(record, start, assignments, findings, alone=True)
    placements = _told_by_bodies(record, group, [a.owners for a in group.compared])
    moved_s = (start - record.start).total_seconds()
    return [
        Placed(assignment.signals, assignment.owners, SURELY, placement.moved(moved_s))
        for assignment, placement in zip(group.compared, placements, strict=True)
    ]


def _of_somebody_alone(
    record: ClassRecord,
    alone: Mapping[datetime, Sequence[Assignment]],
    item: Signals,
    timelines: Mapping[str, Steps],
    findings: Findings,
) -> Placed | None:
    """A file that does not fit the class, placed with somebody who trained alone, if it fits there.

    Under another's name it is theirs only as rarely as people take the wrong name.
    """
    if len(item.upload.athletes) > 1:
        return None
    best: tuple[float, Placed] | None = None
    for athlete in record.athletes:
        if athlete.start is None or athlete.athlete in item.upload.athletes:
            continue
        assignment = assign(record, item, (athlete.athlete,), timelines)
        others = alone[athlete.start]
        found = _placed_alone(record, athlete.start, [*others, assignment], findings)[-1]
        share = (WRONG_NAME if item.upload.athletes else 1.0) / len(record.athletes)
        odds = share * found.placement.match / max(1 - found.placement.match, 1e-9)
        if found.placement.status != "unmatched" and (best is None or odds > best[0]):
            best = odds, replace(found, ownership=min(odds / (1 + odds), SURELY))
    return best[1] if best is not None and best[0] > 1 else None


def assign(
    record: ClassRecord,
    item: Signals,
    owners: tuple[str, ...],
    timelines: Mapping[str, Steps],
) -> Assignment:
    """A recording compared with the timeline of its owners, or with the plan as written.

    With the plan as written too where it is a machine's and its owner was to use none: then it is
    somebody else's, or they did not do as they logged.
    """
    known = [a for name in owners for a in record.athletes if a.athlete == name]
    generic = {block.name: unfold_block(block) for block in record.plan.timed_blocks}
    if len(known) == 1 and item.track is not None:
        steps, delay_s = timelines[known[0].athlete], known[0].delay_s
        if not _uses_machine(steps):
            return Assignment(item, owners, delay_s, generic, ((delay_s, generic),))
    return Assignment(
        item,
        owners,
        known[0].delay_s if known else 0.0,
        timelines[known[0].athlete] if known else generic,
        tuple((a.delay_s, timelines[a.athlete]) for a in known) or ((0.0, generic),),
        _left_out(record, known[0].athlete) if len(known) == 1 else {},
    )


def _left_out(record: ClassRecord, athlete: str) -> dict[str, dict[int, float]]:
    """By block and round, how probable the athlete's rows make it that the round was left out."""
    return {
        block.name: said_left_out(row_of(record, athlete, block.name), block)
        for block in record.plan.timed_blocks
        if block.score is not None
    }


def _uses_machine(steps: Steps) -> bool:
    return any(task.on_machine for block in steps.values() for step in block for task in step.tasks)


def _same_timeline(first: Assignment, second: Assignment) -> bool:
    return (
        first.delay_s == second.delay_s
        and first.steps == second.steps
        and first.left_out == second.left_out
    )


@dataclass(frozen=True, eq=False)
class _Group:
    """The recordings that hear one bell, as placed.

    found: each recording's evidence and place; None for one whose clock stood still, which is
    placed in another way and moves no bell. lengths_say: of `as_long_as_others`.
    """

    prior: ClassPrior
    joint: JointEstimate
    compared: list[Assignment]
    found: list[tuple[RecordingEvidence, Place] | None]
    placements: list[Placement]
    lengths_say: list[float]


def _place_group(
    record: ClassRecord,
    start: datetime,
    assignments: Sequence[Assignment],
    findings: Findings,
    *,
    alone: bool,
) -> _Group:
    """The bell, and every recording of a group with its place; a stopped clock's spread out."""
    pins: dict[str, dict[str, Pin]] = {}
    for pin in record.pins:
        if pin.block is not None and pin.start_s is not None:
            pins.setdefault(pin.file, {})[pin.block] = pin
    starts_s = (
        {} if alone else {name: (at - start).total_seconds() for name, at in record.starts.items()}
    )
    prior = class_prior(record.plan, record.start_tolerance_s, starts_s, alone=alone)
    usual_s = usual_starts(record.plan)
    stopped = [stood_still(record.plan, assignment, usual_s) for assignment in assignments]
    running = [a for a, stood in zip(assignments, stopped, strict=True) if not stood]
    joint, evidence = place(record.plan, prior, start, running, pins, findings)
    bells_s = [first * STEP_S for first in joint.starts]
    still_to_come = iter(zip(evidence, joint.places, strict=True))
    lengths_say = iter(as_long_as_others([assignment.signals for assignment in running]))
    group = _Group(prior, joint, [], [], [], [])
    for assignment, stood in zip(assignments, stopped, strict=True):
        found, length_says = None, 0.0
        if stood:
            pinned = pins.get(assignment.signals.upload.file, {})
            compared, placement = place_stopped(record.plan, assignment, bells_s, pinned)
        else:
            found, compared = next(still_to_come), assignment
            length_says = next(lengths_say)
            placement = summed_up(
                record.plan, assignment, found[0], joint.starts, found[1], length_says
            )
        group.compared.append(compared)
        group.found.append(found)
        group.lengths_say.append(length_says)
        group.placements.append(placement)
    return group


def _told_by_bodies(
    record: ClassRecord, group: _Group, owners: Sequence[tuple[str, ...]]
) -> list[Placement]:
    """The placements, each after what its athlete's other recordings say of it."""
    placements, joint = list(group.placements), group.joint
    files: dict[str, list[tuple[int, RecordingEvidence, Place]]] = {}
    for number, (owned, found) in enumerate(zip(owners, group.found, strict=True)):
        if len(owned) == 1 and found is not None and placements[number].status != "unmatched":
            files.setdefault(owned[0], []).append((number, *found))
    bells_s = [first * STEP_S for first in joint.starts]
    for own in files.values():
        first = group.compared[own[0][0]]
        told = told_by_each_other(
            [OwnFile(group.compared[number].signals, where.clock) for number, _, where in own],
            first.delay_s,
            bells_s,
            [first.steps[block.name] for block in record.plan.timed_blocks],
        )
        for (number, _, _), says in zip(own, told, strict=True):
            placements[number] = _told(record, group, number, says)
    for number, (owned, found) in enumerate(zip(owners, group.found, strict=True)):
        if len(owned) > 1 and found is not None and placements[number].status != "unmatched":
            says = _told_by_turns(record, group.compared[number].signals, owned, bells_s, found[1])
            placements[number] = _told(record, group, number, says)
    return placements


def _told(record: ClassRecord, group: _Group, number: int, says: Floats) -> Placement:
    """One recording's placement after what others say of where its first sample lies (log)."""
    found = group.found[number]
    if found is None or not says.any():
        return group.placements[number]
    evidence, joint = found[0], group.joint
    placement = summed_up(
        record.plan,
        group.compared[number],
        evidence,
        joint.starts,
        placed_under(group.prior, joint.starts, joint.bells, evidence, says),
        group.lengths_say[number],
    )
    return replace(placement, told=LogRatio(evidence.first, says))


def _told_by_turns(
    record: ClassRecord,
    item: Signals,
    owned: tuple[str, ...],
    bells_s: Sequence[float],
    place: Place,
) -> Floats:
    """What its owners wrote down says of where a machine used in turns lies: log, as its clock."""
    people = [a for a in record.athletes if a.athlete in owned]
    ways = {a.athlete: (a.delay_s, athlete_steps(record, a)) for a in people}
    rows = logged_rows(record, people)
    blocks, track = record.plan.timed_blocks, item.track
    alike = any(ways[a] == ways[b] for a in ways for b in ways if a != b)
    if track is None or alike or not rows:
        return np.zeros(len(place.clock.weights))

    def written(first_s: float) -> float:
        starts_s = {
            block.name: bell_s - first_s for block, bell_s in zip(blocks, bells_s, strict=True)
        }
        read_off = lines_off_turns(track, starts_s, blocks, list(ways), ways, rows)
        return sum(read_off(name) for name in ways)

    return told_by_lines(place.clock, written)


def _owners(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    group: _Group,
    pinned: Mapping[str, tuple[str, ...]],
    surely: Mapping[str, float],
    history: History,
    findings: Findings,
) -> list[Ownership]:
    """An owner for every recording of the class, all found together.

    surely: how sure the owners of a nameless machine are who used it in turns.
    """
    together, placements = group.compared, group.placements
    people = [a for a in record.athletes if a.start is None]
    out = {
        p.file: Ownership(
            p.file,
            next(iter(a.owners or a.signals.upload.athletes), None),
            surely.get(p.file, SURELY),
        )
        for a, p in zip(together, placements, strict=True)
    }
    rows = [
        n
        for n, placement in enumerate(placements)
        if placement.status in ("aligned", "ambiguous")
        and len(together[n].owners) < 2
        and placement.file not in pinned
    ]
    if rows and people:
        lines = logged_rows(record, people)
        equipment = {a.athlete: equipment_of(record, a.athlete) for a in people}
        claims = gather(
            ClassKnown(record, people, timelines, equipment, lines, group.joint, history, findings),
            [together[n] for n in rows],
            [placements[n] for n in rows],
        )
        files = [placements[n].file for n in rows]
        solved = assign_owners(files, [a.athlete for a in people], claims)
        out.update({item.file: item for item in solved})
    return [out[p.file] for p in placements]
