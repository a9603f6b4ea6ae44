"""What can be done about questions: pin, undo, decide."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes.service import class_plan, led_class, seen_class
from api.language import deferred
from api.people.sight import visible_decisions, visible_pins, visible_recordings
from api.people.subject import Subject
from api.problems import Conflict, Fault, NotHere, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Attendance, Decision, Person, Pin, Recording
from api.storage.moments import now
from api.work.stale import touch_class

# The outcome of a decision that undoes the one before it.
REOPENED = "reopened"

# What a coach decides of a score.
OUTCOMES = ("stands", "corrected", "set aside")


def add_pin(
    session: Session,
    service: Service,
    subject: Subject,
    class_id: str,
    *,
    file: str,
    block: str | None,
    start_s: float | None,
    owner: str | None,
) -> Pin:
    """Fix a block's start on a file, or whose the file is; it takes the place of one before.

    A coach may both. An athlete may fix starts on their own uploads, where no coach has: they know
    when they pressed the button, and whoever reads the sheet sees that it was placed by hand.
    """
    found = led_class(session, subject, class_id) if subject.coaches else None
    found = found or seen_class(session, subject, class_id)
    name, _, member = file.partition("/")
    row = session.scalar(
        visible_recordings(subject).where(Recording.class_id == found.id, Recording.file == name)
    )
    if row is None or subject.visiting or not (subject.coaches or owner is None):
        raise NotHere
    blocks = [timed.name for timed in class_plan(session, found).timed_blocks]
    if (block is None) != (start_s is None):
        what = deferred("A start needs its block, and a block its start.")
        raise Refused(what, code="half_a_pin", faults=[Fault("block", what, "pair")])
    if block is None and owner is None:
        what = deferred("Say what to fix: a block's start, the owner, or both.")
        raise Refused(what, code="empty_pin", faults=[Fault("body", what, "missing")])
    if block is not None and block not in blocks:
        what = deferred("The plan has no timed block of that name.")
        raise Refused(what, code="unknown_block", faults=[Fault("block", what, "block")])
    owner_id = person_in(session, found.id, owner) if owner is not None else None
    if owner_id is None or block is None:
        replace_pin(session, subject, row.id, member, block)
    pin = Pin(
        class_id=found.id,
        recording_id=row.id,
        member=member[:255],
        block=block,
        start_s=start_s,
        owner_id=owner_id,
        made_by=subject.person_id,
    )
    session.add(pin)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="pin.add", about=pin.id,
        class_id=found.id,
    )  # fmt: skip
    touch_class(session, service, found.id)
    return pin


def replace_pin(
    session: Session, subject: Subject, recording_id: str, member: str, block: str | None
) -> None:
    """End the pin of the same block's start, or of the owner; Conflict where it is a coach's."""
    rows = session.scalars(
        select(Pin).where(
            Pin.recording_id == recording_id,
            Pin.member == member[:255],
            Pin.block.is_(None) if block is None else Pin.block == block,
            Pin.undone_at.is_(None),
        )
    )
    for pin in rows:
        if not may_undo(subject, pin):
            raise Conflict("Your coach has placed this block by hand: ask them.", code="coachs_pin")
        if pin.owner_id is None or block is None:
            pin.undone_at = now()


def may_undo(subject: Subject, pin: Pin) -> bool:
    """Whether the person may undo a pin: a coach any, an athlete their own."""
    return subject.coaches or pin.made_by == subject.person_id


def person_in(session: Session, class_id: str, handle: str) -> str:
    """The identifier of somebody on the roster; raises NotHere."""
    found = session.scalar(
        select(Person.id)
        .join(Attendance, Attendance.person_id == Person.id)
        .where(Attendance.class_id == class_id, Person.handle == handle)
    )
    if found is None:
        raise NotHere
    return found


def undo_pin(
    session: Session, service: Service, subject: Subject, class_id: str, pin_id: str
) -> None:
    """Undo a pin: a coach any, an athlete one that they made."""
    pin = session.scalar(
        visible_pins(subject, class_id).where(Pin.id == pin_id, Pin.undone_at.is_(None))
    )
    if pin is None or not may_undo(subject, pin):
        raise NotHere
    pin.undone_at = now()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="pin.undo", about=pin.id,
        class_id=class_id,
    )  # fmt: skip
    session.flush()
    touch_class(session, service, class_id)


def decide(
    session: Session,
    subject: Subject,
    class_id: str,
    *,
    athlete: str,
    block: str,
    outcome: str,
    reason: str,
) -> Decision:
    """Settle a question; the score itself and the verdict stay what they are."""
    found = led_class(session, subject, class_id)
    blocks = [timed.name for timed in class_plan(session, found).timed_blocks]
    if block not in blocks:
        what = deferred("The plan has no timed block of that name.")
        raise Refused(what, code="unknown_block", faults=[Fault("block", what, "block")])
    row = Decision(
        class_id=found.id,
        person_id=person_in(session, found.id, athlete),
        block=block,
        outcome=outcome,
        reason="".join(c if c.isprintable() else " " for c in reason),
        made_by=subject.person_id,
    )
    session.add(row)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="question.decide",
        about=row.id, class_id=found.id, outcome=outcome,
    )  # fmt: skip
    return row


def reopen(session: Session, subject: Subject, class_id: str, *, athlete: str, block: str) -> None:
    """Undo the decision on a question; raises NotHere where none stands."""
    led_class(session, subject, class_id)
    if (athlete, block) not in standing_decisions(session, subject, class_id):
        raise NotHere
    decide(
        session, subject, class_id, athlete=athlete, block=block, outcome=REOPENED, reason=REOPENED
    )


def standing_decisions(
    session: Session, subject: Subject, class_id: str
) -> dict[tuple[str, str], tuple[Decision, str]]:
    """A coach's latest decision by athlete and block, of those that the person may see.

    A question that was opened again has none.
    """
    rows = session.execute(
        visible_decisions(subject, class_id)
        .where(Decision.outcome.in_((*OUTCOMES, REOPENED)))
        .join(Person, Person.id == Decision.person_id)
        .add_columns(Person.handle)
        .order_by(Decision.id)
    )
    latest = {(handle, row.block): (row, handle) for row, handle in rows}
    return {about: found for about, found in latest.items() if found[0].outcome != REOPENED}


def open_questions(
    document: dict[str, Any], disputed: Collection[tuple[str, str]] = ()
) -> list[tuple[str, dict[str, Any]]]:
    """Scores to ask about, with the athlete: flagged ones, and those whose verdict is disputed."""
    return [
        (athlete["athlete"], score)
        for athlete in document["athletes"]
        for score in athlete["scores"]
        if score["flag"] or (athlete["athlete"], score["block"]) in disputed
    ]
