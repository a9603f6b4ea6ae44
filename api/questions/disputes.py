"""An athlete's word on a verdict: it asks the coach to look, and changes nothing by itself.

It is kept among the decisions about a score, so that the latest word on it is in one place.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.classes.service import class_plan, scored_block, seen_class
from api.people.sight import visible_decisions
from api.people.subject import Subject
from api.problems import NotHere
from api.questions.service import person_in
from api.storage.audit import write_line
from api.storage.model import Decision, Person

DISPUTED = "disputed"
TAKEN_BACK = "taken back"
ATHLETES = (DISPUTED, TAKEN_BACK)


def dispute(
    session: Session, subject: Subject, class_id: str, *, block: str | None, reason: str
) -> Decision:
    """Say that a verdict on one's own score is wrong, and why; the coach is asked to look."""
    found = seen_class(session, subject, class_id)
    if subject.visiting:
        raise NotHere
    row = Decision(
        class_id=found.id,
        person_id=person_in(session, found.id, subject.handle),
        block=scored_block(class_plan(session, found), block),
        outcome=DISPUTED,
        reason="".join(c if c.isprintable() else " " for c in reason).strip(),
        made_by=subject.person_id,
    )
    session.add(row)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="verdict.dispute",
        about=row.id, class_id=found.id,
    )  # fmt: skip
    return row


def take_back(session: Session, subject: Subject, class_id: str, dispute_id: str) -> Decision:
    """Take back what one said of a verdict; what was said stays in the list."""
    standing = standing_disputes(session, subject, class_id)
    row = next((row for row, _ in standing.values() if row.id == dispute_id), None)
    if row is None or row.person_id != subject.person_id:
        raise NotHere
    taken = Decision(
        class_id=class_id,
        person_id=row.person_id,
        block=row.block,
        outcome=TAKEN_BACK,
        reason="",
        made_by=subject.person_id,
    )
    session.add(taken)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="verdict.take-back",
        about=row.id, class_id=class_id,
    )  # fmt: skip
    return taken


def standing_disputes(
    session: Session, subject: Subject, class_id: str
) -> dict[tuple[str, str], tuple[Decision, str]]:
    """Disputes that nobody has answered or taken back, by athlete and block, as far as seen."""
    rows = session.execute(
        visible_decisions(subject, class_id)
        .join(Person, Person.id == Decision.person_id)
        .add_columns(Person.handle)
        .order_by(Decision.id)
    )
    latest = {(handle, row.block): (row, handle) for row, handle in rows}
    return {place: each for place, each in latest.items() if each[0].outcome == DISPUTED}
