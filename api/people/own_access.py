"""By what somebody is signed in, and a link to sign in on another device of their own."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.people.signing_in import make_link
from api.people.subject import Subject
from api.problems import NotHere
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Person, SignIn, SignInLink
from api.storage.moments import now


def own_sign_ins(session: Session, subject: Subject) -> list[SignIn]:
    """The person's sign-ins that are alive, the newest first; a visitor sees none."""
    if subject.visiting:
        return []
    rows = session.scalars(
        select(SignIn)
        .where(
            SignIn.person_id == subject.person_id,
            SignIn.ended_at.is_(None),
            SignIn.expires_at > now(),
        )
        .order_by(SignIn.id.desc())
    )
    return list(rows)


def end_own_sign_in(session: Session, subject: Subject, sign_in_id: str) -> None:
    """Sign one of the person's own devices out; raises NotHere for another's."""
    row = next((row for row in own_sign_ins(session, subject) if row.id == sign_in_id), None)
    if row is None:
        raise NotHere
    row.ended_at = now()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="sign-in.end",
        about=subject.audit_mark,
    )  # fmt: skip


def own_link(session: Session, service: Service, subject: Subject) -> tuple[SignInLink, str]:
    """Make a personal link for another device of one's own; gives its secret too.

    A visitor by the code on the wall makes none: nobody has said that it is them.
    """
    if subject.visiting:
        raise NotHere
    person = session.get_one(Person, subject.person_id)
    return make_link(session, service, person=person, kind="sign-in", made_by=person)
