"""How people and programs sign in: passwords, links, the code on the wall, tokens."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.language import LOCALES, MASS_UNITS, Preferences
from api.people.passwords import (
    attempt_marks,
    check_throttle,
    forget_attempts,
    note_attempt,
    password_fits,
)
from api.people.subject import SCOPES, Subject
from api.problems import NotHere, NotSignedIn
from api.service import Service
from api.storage.audit import write_line
from api.storage.identity import new_secret, secret_hash
from api.storage.model import (
    ApiToken,
    Attendance,
    Person,
    Role,
    SignIn,
    SignInLink,
    TrainingClass,
)
from api.storage.moments import now


def person_roles(session: Session, person_id: str) -> frozenset[str]:
    """What the person is in the gym."""
    return frozenset(session.scalars(select(Role.role).where(Role.person_id == person_id)))


def preferences_of(person: Person) -> Preferences:
    """How the person reads; what a version before offered and this one does not is left out."""
    return Preferences(
        locale=person.locale if person.locale in LOCALES else None,
        mass_unit=next((unit for unit in MASS_UNITS if unit == person.mass_unit), None),
    )


def subject_by_sign_in(session: Session, secret: str) -> Subject:
    """Who holds this sign-in; raises NotSignedIn where it has run out or never was."""
    row = session.execute(
        select(SignIn, Person)
        .join(Person, Person.id == SignIn.person_id)
        .where(
            SignIn.token_hash == secret_hash(secret),
            SignIn.ended_at.is_(None),
            SignIn.expires_at > now(),
        )
    ).one_or_none()
    if row is None:
        raise NotSignedIn
    sign_in, person = row
    visiting = sign_in.class_id if sign_in.confirmed_at is None else None
    return Subject(
        gym_id=person.gym_id,
        person_id=person.id,
        audit_mark=person.audit_mark,
        handle=person.handle,
        roles=frozenset({"athlete"}) if visiting else person_roles(session, person.id),
        scopes=frozenset(SCOPES),
        sign_in_id=sign_in.id,
        visit_class_id=visiting,
        key=sign_in.token_hash,
        preferences=preferences_of(person),
    )


def subject_by_token(session: Session, secret: str) -> Subject:
    """Whose program shows this token; raises NotSignedIn where it has run out or never was."""
    row = session.execute(
        select(ApiToken, Person)
        .join(Person, Person.id == ApiToken.person_id)
        .where(
            ApiToken.token_hash == secret_hash(secret),
            ApiToken.revoked_at.is_(None),
            ApiToken.expires_at > now(),
        )
    ).one_or_none()
    if row is None:
        raise NotSignedIn
    token, person = row
    return Subject(
        gym_id=person.gym_id,
        person_id=person.id,
        audit_mark=person.audit_mark,
        handle=person.handle,
        roles=person_roles(session, person.id),
        scopes=frozenset(token.scopes),
        sign_in_id=None,
        visit_class_id=None,
        key=token.token_hash,
        preferences=preferences_of(person),
    )


def check_password(service: Service, *, mail: str, password: str, machine: str) -> str:
    """The identifier of the person with this mail and password.

    Raises:
        TooManyAttempts: too many wrong ones lately, for this address or from this machine.
        NotSignedIn: the two do not fit; which of them is wrong is not said.
    """
    settings = service.settings
    marks = attempt_marks(service.keys, mail, machine)
    with service.database.reading() as session:
        check_throttle(session, marks, attempts=settings.attempts, minutes=settings.attempt_minutes)
        person = session.scalar(select(Person).where(Person.mail == mail.strip().lower()))
    fits = password_fits(person.password_hash if person else None, password)
    with service.database.writing() as session:
        if not fits or person is None:
            note_attempt(session, marks, minutes=settings.attempt_minutes)
        else:
            forget_attempts(session, marks)
    if not fits or person is None:
        raise NotSignedIn("That mail address and password do not fit together.")
    return person.id


def open_sign_in(
    session: Session, service: Service, *, person_id: str, visit_class_id: str | None = None
) -> str:
    """Sign a person in; gives the secret for the cookie, of which only a hash is kept."""
    person = session.get_one(Person, person_id)
    secret = new_secret()
    settings = service.settings
    lasts = (
        timedelta(hours=settings.visit_hours)
        if visit_class_id
        else timedelta(days=settings.session_days)
    )
    session.add(
        SignIn(
            gym_id=person.gym_id,
            person_id=person.id,
            token_hash=secret_hash(secret),
            class_id=visit_class_id,
            expires_at=now() + lasts,
        )
    )
    write_line(
        session,
        gym_id=person.gym_id,
        actor=person.audit_mark,
        action="visit.open" if visit_class_id else "sign-in.open",
        about=visit_class_id,
    )
    return secret


def close_sign_in(session: Session, subject: Subject) -> None:
    """End the sign-in that this request came by."""
    if subject.sign_in_id is not None:
        session.get_one(SignIn, subject.sign_in_id).ended_at = now()


def make_link(
    session: Session, service: Service, *, person: Person, kind: str, made_by: Person | None
) -> tuple[SignInLink, str]:
    """Make a personal link or an invitation: the row, and the secret that the address carries."""
    secret = new_secret()
    minutes = service.settings.link_minutes * (1 if kind == "sign-in" else 24 * 4)
    link = SignInLink(
        gym_id=person.gym_id,
        person_id=person.id,
        token_hash=secret_hash(secret),
        kind=kind,
        made_by=made_by.id if made_by else None,
        expires_at=now() + timedelta(minutes=minutes),
    )
    session.add(link)
    session.flush()
    write_line(
        session,
        gym_id=person.gym_id,
        actor=made_by.audit_mark if made_by else None,
        action="link.make",
        about=person.audit_mark,
        kind=kind,
    )
    return link, secret


def live_link(session: Session, secret: str, *, lock: bool = False) -> SignInLink:
    """The link of this secret; raises NotHere where it was used, has run out or was revoked."""
    statement = select(SignInLink).where(
        SignInLink.token_hash == secret_hash(secret),
        SignInLink.used_at.is_(None),
        SignInLink.revoked_at.is_(None),
        SignInLink.expires_at > now(),
    )
    link = session.scalar(statement.with_for_update() if lock else statement)
    if link is None:
        raise NotHere
    return link


def use_link(session: Session, secret: str) -> SignInLink:
    """Use a link up."""
    link = live_link(session, secret, lock=True)
    link.used_at = now()
    return link


def wall_class(session: Session, code: str) -> TrainingClass:
    """The class whose code is on the wall; raises NotHere for any other code."""
    found = session.scalar(select(TrainingClass).where(TrainingClass.wall_code == code))
    if found is None:
        raise NotHere
    return found


def wall_people(session: Session, class_id: str) -> list[Person]:
    """The names to pick from, in the roster's order."""
    return list(
        session.scalars(
            select(Person)
            .join(Attendance, Attendance.person_id == Person.id)
            .where(Attendance.class_id == class_id)
            .order_by(Attendance.position)
        )
    )
