"""What an athlete logged for a class, and the timeline that follows from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reconcile.classes import Athlete, ClassRecord, LoggedScore
from reconcile.timeline import PlannedStep, unfold_block

Steps = Mapping[str, tuple[PlannedStep, ...]]


def option_of(record: ClassRecord, athlete: str, block: str) -> str | None:
    """The option an athlete did: as logged for the block, else as logged for any other."""
    own = [row for row in record.scores if row.athlete == athlete and row.option]
    named = next((row.option for row in own if row.block == block), None)
    return named or next((row.option for row in own), None)


def equipment_of(record: ClassRecord, athlete: str) -> str | None:
    """The machine that an athlete logged, if any."""
    return next((r.equipment for r in record.scores if r.athlete == athlete and r.equipment), None)


def logged_row(record: ClassRecord, athlete: str, block: str) -> LoggedScore | None:
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
        if (row := logged_row(record, a.athlete, block.name)) is not None
    }


def athlete_steps(record: ClassRecord, athlete: Athlete) -> Steps:
    """An athlete's own timeline of every timed block: option and station applied."""
    return {
        block.name: unfold_block(
            block, option_of(record, athlete.athlete, block.name), athlete.station
        )
        for block in record.plan.timed_blocks
    }
