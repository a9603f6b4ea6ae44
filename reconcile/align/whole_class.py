"""A whole class placed: every recording under its bell, and every file with its owner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from reconcile.align.assignment import Assignment, assign, same_timeline
from reconcile.align.claims import ClassKnown, gather
from reconcile.align.group import Group, place_group, told_by_owners
from reconcile.align.ownership import WRONG_NAME, Ownership, assign_owners
from reconcile.align.place import Placement
from reconcile.align.signals import Signals
from reconcile.align.sources import Findings
from reconcile.align.turns import used_in_turns
from reconcile.classes import ClassRecord
from reconcile.history import History
from reconcile.sheet import Steps, athlete_steps, equipment_of, logged_rows

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
    group = place_group(record, record.start, together, findings, alone=False)
    shared = used_in_turns(record, timelines, together, group.joint, findings)
    for number, turns in shared.items():
        together[number] = assign(record, together[number].signals, turns.owners, timelines)
    if shared:
        group = place_group(record, record.start, together, findings, alone=False)
    surely = {together[n].signals.upload.file: turns.probability for n, turns in shared.items()}
    owned = _owners(record, timelines, group, pinned, surely, history, findings)
    changed = False
    for number, (assignment, ownership) in enumerate(zip(together, owned, strict=True)):
        owner = () if ownership.owner is None else (ownership.owner,)
        if len(assignment.owners) < 2 and owner and owner != assignment.owners:
            moved_to = assign(record, assignment.signals, owner, timelines)
            changed = changed or not same_timeline(assignment, moved_to)
            together[number] = moved_to
    if changed:
        group = place_group(record, record.start, together, findings, alone=False)
    whose = [
        assignment.owners
        if len(assignment.owners) > 1
        else (() if ownership.owner is None else (ownership.owner,))
        for assignment, ownership in zip(group.compared, owned, strict=True)
    ]
    placements = told_by_owners(record, group, whose)
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


def _placed_alone(
    record: ClassRecord,
    start: datetime,
    assignments: Sequence[Assignment],
    findings: Findings,
) -> list[Placed]:
    """The recordings of whoever trained alone from this start on, which pulls no bell."""
    group = place_group(record, start, assignments, findings, alone=True)
    placements = told_by_owners(record, group, [a.owners for a in group.compared])
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


def _owners(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    group: Group,
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
