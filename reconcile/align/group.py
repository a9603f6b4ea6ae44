"""Those who hear one bell, placed together: the class, or whoever trained alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ingest.recording import Floats
from reconcile.align.amounts import as_much_as_planned
from reconcile.align.answered_work import OwnFile, OwnTimeline
from reconcile.align.assignment import Assignment
from reconcile.align.grid import STEP_S, LogRatio, log_summed
from reconcile.align.joint import ClassPrior, JointEstimate, Place, RecordingEvidence, placed_under
from reconcile.align.length import as_long_as_others
from reconcile.align.place import Placement, Shape, place, summed_up
from reconcile.align.priors import class_prior
from reconcile.align.same_body import told_by_each_other
from reconcile.align.sources import Findings
from reconcile.align.stopped_clock import place_stopped, stood_still, usual_starts
from reconcile.align.turns import own_turns, told_by_turns
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
    bells_s = [first * STEP_S for first in joint.starts]
    files: dict[str, list[tuple[int, OwnFile]]] = {}
    turns: dict[str, list[OwnFile]] = {}
    for number, (owned, found) in enumerate(zip(owners, group.found, strict=True)):
        if not owned or found is None or placements[number].status == "unmatched":
            continue
        signals, (_, where) = group.compared[number].signals, found
        if len(owned) == 1:
            files.setdefault(owned[0], []).append((number, OwnFile(signals, where)))
            continue
        lines = told_by_turns(record, signals, owned, bells_s, where)
        where, placements[number] = _told(record, group, number, [lines])
        if placements[number].status == "aligned":
            for name, part in own_turns(record, signals, owned, bells_s, where).items():
                turns.setdefault(name, []).append(OwnFile(part, where))
    for name, own in files.items():
        first = group.compared[own[0][0]]
        timeline = OwnTimeline(
            bells_s, first.delay_s, [first.steps[block.name] for block in record.plan.timed_blocks]
        )
        told = told_by_each_other([file for _, file in own], turns.get(name, []), timeline)
        for (number, _), says in zip(own, told, strict=True):
            _, placements[number] = _told(record, group, number, says)
    return placements


def _told(
    record: ClassRecord, group: Group, number: int, says: Sequence[Floats]
) -> tuple[Place, Placement]:
    """One recording's place after what others say of where its first sample lies (log).

    says: in each way in which its device may be late.
    """
    found = group.found[number]
    assert found is not None
    evidence, where = found
    if not any(each.any() for each in says):
        return where, group.placements[number]
    joint, by_way = group.joint, zip(evidence.each_way, says, strict=True)
    told = log_summed([share + each for (share, _), each in by_way])
    where = placed_under(group.prior, joint.starts, joint.bells, evidence, says)
    placement = summed_up(
        record.plan,
        group.compared[number],
        evidence,
        joint.starts,
        where,
        group.shapes[number],
    )
    return where, replace(placement, told=LogRatio(evidence.first, told))
