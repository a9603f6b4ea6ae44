"""What can be done about people: add, change, invite, token, consent, settings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from api.language import Preferences, Sentence, deferred
from api.people.consents import BY_NAME, answer_of, note_answer
from api.people.passwords import password_hash
from api.people.sight import visible_links, visible_people, visible_tokens
from api.people.signing_in import make_link
from api.people.subject import Subject
from api.problems import Conflict, Fault, NotHere, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.identity import new_secret, secret_hash
from api.storage.model import ApiToken, Attendance, Gym, Person, Role, SignIn, SignInLink
from api.storage.moments import now
from api.work.stale import raise_floor, touch_class

BODY = ("sex", "birth_year", "mass_kg", "resting_hr", "max_hr", "vo2max")


def new_gym(
    session: Session, service: Service, *, gym_name: str, owner_name: str, mail: str, coaches: bool
) -> tuple[Gym, str]:
    """Open a gym with its owner; gives the secret of the owner's invitation."""
    if session.scalar(select(Person.id).where(Person.mail == mail.strip().lower())):
        raise Conflict(
            Sentence("{mail} belongs to somebody already.", mail=mail), code="mail_taken"
        )
    gym = Gym(name=gym_name)
    session.add(gym)
    session.flush()
    roles = ("owner", "coach") if coaches else ("owner",)
    owner = add_person(
        session, gym_id=gym.id, actor=None, name=owner_name, handle=None, mail=mail, roles=roles,
        body={},
    )  # fmt: skip
    write_line(session, gym_id=gym.id, actor=owner.audit_mark, action="gym.open")
    _, secret = make_link(session, service, person=owner, kind="invite", made_by=None)
    return gym, secret


def free_handle(session: Session, gym_id: str, letter: str) -> str:
    """The next of a01, a02, ... (or with another letter) that nobody in the gym has."""
    taken = set(session.scalars(select(Person.handle).where(Person.gym_id == gym_id)))
    number = 1
    while f"{letter}{number:02d}" in taken:
        number += 1
    return f"{letter}{number:02d}"


def add_person(
    session: Session,
    *,
    gym_id: str,
    actor: str | None,
    name: str,
    handle: str | None,
    mail: str | None,
    roles: Sequence[str],
    body: dict[str, object],
) -> Person:
    """Add somebody; raises Conflict where the handle or the mail address is taken."""
    handle = handle or free_handle(session, gym_id, "a" if "athlete" in roles else "c")
    if session.scalar(select(Person.id).where(Person.gym_id == gym_id, Person.handle == handle)):
        raise Conflict(
            Sentence("Somebody in the gym is called {handle} already.", handle=handle),
            code="handle_taken",
        )
    mail = mail.strip().lower() if mail else None
    if mail and session.scalar(select(Person.id).where(Person.mail == mail)):
        raise Conflict("That mail address belongs to somebody already.", code="mail_taken")
    person = Person(gym_id=gym_id, name=name, handle=handle, mail=mail, **body)
    session.add(person)
    session.flush()
    session.add_all(Role(person_id=person.id, role=role) for role in dict.fromkeys(roles))
    session.flush()
    write_line(
        session, gym_id=gym_id, actor=actor, action="person.add", about=person.audit_mark,
        roles=sorted(set(roles)),
    )  # fmt: skip
    return person


def person_seen(session: Session, subject: Subject, person_id: str) -> Person:
    """The person, where they may be seen; raises NotHere."""
    person = session.scalar(visible_people(subject).where(Person.id == person_id))
    if person is None:
        raise NotHere
    return person


def change_person(
    session: Session, subject: Subject, person_id: str, changes: dict[str, object]
) -> Person:
    """Change what is known of somebody: themselves, or a coach of the gym."""
    person = person_seen(session, subject, person_id)
    if subject.visiting or not (subject.coaches or person.id == subject.person_id):
        raise NotHere
    for name, value in changes.items():
        if name == "name" and value is None:
            continue
        setattr(person, name, value)
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="person.change",
        about=person.audit_mark, fields=sorted(changes),
    )  # fmt: skip
    return person


def set_preferences(session: Session, subject: Subject, preferences: Preferences) -> None:
    """Keep how the person who asks reads pages; raises NotHere for a visit nobody confirmed."""
    if subject.visiting:
        raise NotHere
    person = session.get_one(Person, subject.person_id)
    person.locale, person.mass_unit = preferences.locale, preferences.mass_unit


def set_roles(session: Session, subject: Subject, person_id: str, roles: Sequence[str]) -> Person:
    """Say what somebody is in the gym; an owner's to do, and the last owner stays one."""
    if not subject.owns:
        raise NotHere
    person = person_seen(session, subject, person_id)
    owners = session.scalar(
        select(func.count())
        .select_from(Role)
        .join(Person)
        .where(Person.gym_id == subject.gym_id, Role.role == "owner", Role.person_id != person.id)
    )
    if "owner" not in roles and not owners:
        raise Conflict("A gym needs an owner: make somebody else one first.", code="last_owner")
    session.execute(delete(Role).where(Role.person_id == person.id))
    session.add_all(Role(person_id=person.id, role=role) for role in dict.fromkeys(roles))
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="person.roles",
        about=person.audit_mark, roles=sorted(set(roles)),
    )  # fmt: skip
    return person


def invite(
    session: Session, service: Service, subject: Subject, person_id: str
) -> tuple[SignInLink, str]:
    """Make a link for somebody. An athlete's from a coach or owner; for those who lead, an owner's.

    Whoever holds a link is that person afterwards, so a coach makes none for coaches and owners.
    """
    if not (subject.coaches or subject.owns):
        raise NotHere
    person = person_seen(session, subject, person_id)
    roles = set(session.scalars(select(Role.role).where(Role.person_id == person.id)))
    leads = roles & {"coach", "owner"}
    if leads and not subject.owns and person.id != subject.person_id:
        raise NotHere
    maker = session.get_one(Person, subject.person_id)
    kind = "invite" if leads else "sign-in"
    return make_link(session, service, person=person, kind=kind, made_by=maker)


def live_links(session: Session, subject: Subject) -> list[tuple[SignInLink, Person]]:
    """The links that the person made and nobody has used yet, with whom they are for."""
    rows = session.scalars(
        visible_links(subject)
        .where(
            SignInLink.used_at.is_(None),
            SignInLink.revoked_at.is_(None),
            SignInLink.expires_at > now(),
        )
        .order_by(SignInLink.id.desc())
    )
    return [(row, session.get_one(Person, row.person_id)) for row in rows]


def revoke_link(session: Session, subject: Subject, link_id: str) -> None:
    """Make a link useless."""
    link = session.scalar(visible_links(subject).where(SignInLink.id == link_id))
    if link is None:
        raise NotHere
    link.revoked_at = link.revoked_at or now()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="link.revoke",
        about=link.id,
    )  # fmt: skip


def end_sign_ins(session: Session, subject: Subject, person_id: str) -> None:
    """Sign somebody out everywhere: themselves, or an owner does it."""
    person = person_seen(session, subject, person_id)
    if subject.visiting or not (subject.owns or person.id == subject.person_id):
        raise NotHere
    session.execute(
        update(SignIn)
        .where(SignIn.person_id == person.id, SignIn.ended_at.is_(None))
        .values(ended_at=now())
    )
    session.execute(
        update(SignInLink)
        .where(SignInLink.person_id == person.id, SignInLink.revoked_at.is_(None))
        .values(revoked_at=now())
    )
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="sign-in.end-all",
        about=person.audit_mark,
    )  # fmt: skip


def set_password(session: Session, person_id: str, password: str) -> None:
    """Keep a new password; raises Refused for a weak one."""
    session.get_one(Person, person_id).password_hash = password_hash(password)


def add_token(
    session: Session, *, person: Person, name: str, scopes: Sequence[str], days: int
) -> tuple[ApiToken, str]:
    """Make a token for a program."""
    secret = new_secret()
    token = ApiToken(
        gym_id=person.gym_id,
        person_id=person.id,
        token_hash=secret_hash(secret),
        name=name,
        scopes=sorted(set(scopes)),
        expires_at=now() + timedelta(days=days),
    )
    session.add(token)
    session.flush()
    write_line(
        session, gym_id=person.gym_id, actor=person.audit_mark, action="token.make",
        about=token.id, scopes=token.scopes,
    )  # fmt: skip
    return token, secret


def revoke_token(session: Session, subject: Subject, token_id: str) -> None:
    """Make a token useless."""
    token = session.scalar(visible_tokens(subject).where(ApiToken.id == token_id))
    if token is None:
        raise NotHere
    token.revoked_at = token.revoked_at or now()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="token.revoke",
        about=token.id,
    )  # fmt: skip


def answer_consent(
    session: Session, subject: Subject, *, purpose: str, version: int, agreed: bool
) -> list[str]:
    """Keep the person's own answer; gives the classes whose result may change by it.

    Here by the code on the wall, a person may agree to the use of what they upload, where nobody
    has said no before, and no more.
    """
    if version != BY_NAME[purpose].version:
        what = deferred("The words have changed since: read them again.")
        raise Refused(what, code="other_version", faults=[Fault("version", what, "version")])
    if subject.visiting:
        known = answer_of(session, subject.person_id, purpose)
        if purpose != "recordings" or not agreed or known is False:
            raise NotHere
    note_answer(session, person_id=subject.person_id, purpose=purpose, agreed=agreed)
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="consent.answer",
        about=subject.audit_mark, purpose=purpose, version=version, agreed=agreed,
    )  # fmt: skip
    if purpose != "recordings":
        return []
    return list(
        session.scalars(
            select(Attendance.class_id).where(Attendance.person_id == subject.person_id)
        )
    )


def settle_consent(
    service: Service, subject: Subject, *, purpose: str, version: int, agreed: bool
) -> None:
    """Keep an answer and let it take effect at once: what rested on a withdrawn one is dropped."""
    with service.database.writing() as session:
        stale = answer_consent(session, subject, purpose=purpose, version=version, agreed=agreed)
        for class_id in stale:
            touch_class(session, service, class_id)
            if not agreed:
                raise_floor(session, class_id)
    service.work.wake()


def change_gym(session: Session, subject: Subject, changes: dict[str, object]) -> Gym:
    """Change the gym's settings; an owner's to do."""
    if not subject.owns:
        raise NotHere
    gym = session.get_one(Gym, subject.gym_id)
    for name, value in changes.items():
        if name in ("name", "time_zone") and value is None:
            continue
        setattr(gym, name, value)
    write_line(
        session, gym_id=gym.id, actor=subject.audit_mark, action="gym.change",
        fields=sorted(changes),
    )  # fmt: skip
    return gym
