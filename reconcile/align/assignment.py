"""A recording and the timeline that it is compared with: that of whoever it would be of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from reconcile.align.signals import Signals
from reconcile.classes import ClassRecord
from reconcile.score.left_out import said_left_out
from reconcile.sheet import Steps, logged_row
from reconcile.timeline import unfold_block


@dataclass(frozen=True, eq=False)
class Assignment:
    """A recording and whose timeline it is compared with.

    steps, delay_s: the steps of each timed block and the delay of the (first) owner. turns: the
    same of every owner, for a machine that several used in turns. left_out: by block and round, how
    probable an only owner's own row makes it that the round was left out.
    """

    signals: Signals
    owners: tuple[str, ...]
    delay_s: float
    steps: Steps
    turns: tuple[tuple[float, Steps], ...]
    left_out: Mapping[str, Mapping[int, float]] = field(default_factory=dict)


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
        block.name: said_left_out(logged_row(record, athlete, block.name), block)
        for block in record.plan.timed_blocks
        if block.score is not None
    }


def _uses_machine(steps: Steps) -> bool:
    return any(task.on_machine for block in steps.values() for step in block for task in step.tasks)


def same_timeline(first: Assignment, second: Assignment) -> bool:
    """Whether two assignments compare a recording with the same."""
    return (
        first.delay_s == second.delay_s
        and first.steps == second.steps
        and first.left_out == second.left_out
    )
