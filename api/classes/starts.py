"""When the blocks of a class began: as its clock recorded it, or as a coach set it by hand."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from api.language import deferred
from api.people.subject import Subject
from api.problems import Fault, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import PlanVersion, TrainingClass
from api.storage.moments import with_offset
from api.work.stale import touch_class
from reconcile.plan import Plan, TimedBlock
from reconcile.plan_text import read_plan

# A start further from the class's own belongs to another day: somebody only looked at the clock.
FURTHEST = timedelta(hours=12)
# Two screens of one class see a bell this close; a start is used as true to two seconds.
SAME = timedelta(seconds=1)


def checked_starts(plan: Plan, starts: Mapping[str, datetime]) -> dict[str, str]:
    """Starts by timed block as text; raises Refused for a block that the plan does not have."""
    names = [block.name for block in plan.timed_blocks]
    for block in starts:
        if block not in names:
            what = deferred("The plan has no timed block of that name.")
            raise Refused(what, code="unknown_block", faults=[Fault("starts", what, "block")])
    return {block: moment.isoformat() for block, moment in starts.items()}


def record_starts(
    session: Session,
    service: Service,
    subject: Subject,
    found: TrainingClass,
    starts: Mapping[str, datetime | None],
    *,
    by_hand: bool,
) -> None:
    """Set or clear (None) the starts of some blocks; the others stay. Repeating it does nothing.

    found: a class that the person leads, held until the transaction ends. by_hand: a coach's own
    words rather than the clock's. Where a start shows that the class began outside the stated
    tolerance, the stated start gives way to it.

    Raises:
        Refused: a block that the plan does not have, or a start on another day.
    """
    plan = read_plan(session.get_one(PlanVersion, found.plan_version_id).text)
    checked_starts(plan, dict.fromkeys(starts, found.start))
    given = {block: moment for block, moment in starts.items() if moment is not None}
    for moment in given.values():
        if abs(moment - found.start) > FURTHEST:
            what = deferred("That is on another day than the class.")
            raise Refused(what, code="other_day", faults=[Fault("starts", what, "day")])
    merged: dict[str, str | None] = {**found.starts, **dict.fromkeys(starts)}
    for block, moment in given.items():
        before = found.starts.get(block)
        if before and not by_hand and abs(datetime.fromisoformat(before) - moment) < SAME:
            merged[block] = before
            continue
        merged[block] = with_offset(moment, found.start_offset_s).isoformat()
    # In the plan's order; what a block's new name left behind goes.
    texts = {b.name: text for b in plan.timed_blocks if (text := merged.get(b.name))}
    hands = set(found.hand_starts) - set(starts) | (set(given) if by_hand else set())
    if texts == found.starts and sorted(hands) == found.hand_starts:
        return
    found.starts, found.hand_starts = texts, sorted(hands)
    for block, moment in given.items():
        begun = moment - timedelta(seconds=usual_offset_s(plan, block))
        if abs((begun - found.start).total_seconds()) > found.start_tolerance_s:
            found.start = begun.replace(microsecond=0)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark,
        action="starts.set" if by_hand else "starts.record", about=found.id,
        blocks=len(given), cleared=len(starts) - len(given),
    )  # fmt: skip
    touch_class(session, service, found.id)


def usual_offset_s(plan: Plan, block: str) -> float:
    """Seconds from the class's start to a timed block's; free blocks last their middle length."""
    offset_s = 0.0
    for found in plan.blocks:
        if found.name == block:
            break
        if isinstance(found, TimedBlock):
            offset_s += found.duration_s
        else:
            offset_s += (found.low_s + found.high_s) / 2
    return offset_s
