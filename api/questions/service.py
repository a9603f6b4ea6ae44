"""What can be done about questions: pin, undo, decide."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes.service import class_plan, led_class
from api.people.sight import visible_decisions, visible_pins, visible_recordings
from api.people.subject import Subject
from api.problems import Fault, NotHere, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Attendance, Decision, Person, Pin, Recording
from api.storage.moments import now
from api.work.stale import touch_class


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
    """Fix a block's start or a file's owner; a coach's to do."""
    found = led_class(session, subject, class_id)
    name, _, member = file.partition("/")
    row = session.scalar(
        visible_recordings(subject).where(Recording.class_id == found.id, Recording.file == name)
    )
    if row is None:
        raise NotHere
    blocks = [timed.name for timed in class_plan(session, found).timed_blocks]
    if (block is None) != (start_s is None):
        what = "A start needs its block, and a block its start."
        raise Refused(what, code="half_a_pin", faults=[Fault("block", what, "pair")])
    if block is None and owner is None:
        what = "Say what to fix: a block's start, the owner, or both."
        raise Refused(what, code="empty_pin", faults=[Fault("body", what, "missing")])
    if block is not None and block not in blocks:
        what = "The plan has no timed block of that name."
        raise Refused(what, code="unknown_block", faults=[Fault("block", what, "block")])
    owner_id = person_in(session, found.id, owner) if owner is not None else None
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
    """Undo a pin."""
    pin = session.scalar(
        visible_pins(subject, class_id).where(Pin.id == pin_id, Pin.undone_at.is_(None))
    )
    if pin is None:
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
        what = "The plan has no timed block of that name."
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


def standing_decisions(
    session: Session, subject: Subject, class_id: str
) -> dict[tuple[str, str], tuple[Decision, str]]:
    """The latest decision by athlete and block, of those that the person may see."""
    rows = session.execute(
        visible_decisions(subject, class_id)
        .join(Person, Person.id == Decision.person_id)
        .add_columns(Person.handle)
        .order_by(Decision.id)
    )
    return {(handle, row.block): (row, handle) for row, handle in rows}


def open_questions(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Scores to ask about, with the athlete."""
    return [
        (athlete["athlete"], score)
        for athlete in document["athletes"]
        for score in athlete["scores"]
        if score["flag"]
    ]
