"""Those who hear one bell, placed together: the class, or whoever trained alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ingest.recording import Floats
from reconcile.align.amounts import as_much_as_planned
from reconcile.align.assignment import Assignment
from reconcile.align.grid import STEP_S, LogRatio
from reconcile.align.joint import ClassPrior, JointEstimate, Place, RecordingEvidence, placed_under
from reconcile.align.length import as_long_as_others
from reconcile.align.place import Placement, Shape, place, summed_up
from reconcile.align.priors import class_prior
from reconcile.align.same_body import OwnFile, told_by_each_other
from reconcile.align.sources import Findings
from reconcile.align.stopped_clock import place_stopped, stood_still, usual_starts
from reconcile.align.turns import told_by_turns
from reconcile.classes import ClassRecord, Pin


@dataclass(frozen=True, eq=False)
class Group:
    """The recordings that hear one bell, as placed.

    found: each recording's evidence and place; None for one whose clock stood still, which is
    placed in another way and moves no bell. shapes: how each compares with the class, wherever it
    lies.
    """

    prior: ClassPrior
    joint: JointEstimate
    compared: list[Assignment]
    found: list[tuple[RecordingEvidence, Place] | None]
    placements: list[Placement]
    shapes: list[Shape]


def place_group(
    record: ClassRecord,
    start: datetime,
    assignments: Sequence[Assignment],
    findings: Findings,
    *,
    alone: bool,
) -> Group:
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
    group = Group(prior, joint, [], [], [], [])
    for assignment, stood in zip(assignments, stopped, strict=True):
        found, shape = None, Shape(amounts=as_much_as_planned(assignment))
        if stood:
            pinned = pins.get(assignment.signals.upload.file, {})
            compared, placement = place_stopped(record.plan, assignment, bells_s, pinned, shape)
        else:
            found, compared = next(still_to_come), assignment
            shape = replace(shape, length=next(lengths_say))
            placement = summed_up(record.plan, assignment, found[0], joint.starts, found[1], shape)
        group.compared.append(compared)
        group.found.append(found)
        group.shapes.append(shape)
        group.placements.append(placement)
    return group


def told_by_owners(
    record: ClassRecord, group: Group, owners: Sequence[tuple[str, ...]]
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
            says = told_by_turns(record, group.compared[number].signals, owned, bells_s, found[1])
            placements[number] = _told(record, group, number, says)
    return placements


def _told(record: ClassRecord, group: Group, number: int, says: Floats) -> Placement:
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
        group.shapes[number],
    )
    return replace(placement, told=LogRatio(evidence.first, says))
