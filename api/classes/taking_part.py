"""Who took part, as a coach ticks or types it: people of the gym, and whoever is new."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes.service import led_class, seen_class, set_roster
from api.people.service import BODY, add_person
from api.people.subject import Subject
from api.problems import Refused
from api.service import Service
from api.storage.model import Attendance, Person
from reconcile.classes import Athlete

MOST_NAMES = 100


def tick_roster(
    session: Session,
    service: Service,
    subject: Subject,
    class_id: str,
    *,
    handles: Sequence[str],
    names: Sequence[str] = (),
) -> list[Person]:
    """Say who took part by handles, and by names as somebody typed them; gives who is new.

    Who stays on the roster keeps the figures of that day; who comes onto it begins with those of
    the gym's list. A name that nobody has becomes a new athlete, a visitor for instance.

    Raises:
        NotHere: the class is not the person's to change.
        Refused: more names than a class has.
        Conflict: somebody left out has uploaded or logged something.
    """
    led_class(session, subject, class_id)
    if len(names) > MOST_NAMES:
        raise Refused("Type at most a hundred names at once.", code="many_names")
    rows = session.execute(
        select(Person, Attendance)
        .outerjoin(
            Attendance,
            (Attendance.person_id == Person.id) & (Attendance.class_id == class_id),
        )
        .where(Person.gym_id == subject.gym_id)
        .order_by(Attendance.position, Person.name, Person.id)
    ).all()
    called = {person.name.casefold(): person.handle for person, _ in rows}
    called |= {person.handle.casefold(): person.handle for person, _ in rows}
    wanted = set(handles)
    added: list[Person] = []
    for name in dict.fromkeys(names):
        handle = called.get(name.casefold())
        if handle is None:
            person = add_person(
                session, gym_id=subject.gym_id, actor=subject.audit_mark, name=name, handle=None,
                mail=None, roles=("athlete",), body={},
            )  # fmt: skip
            added.append(person)
        else:
            wanted.add(handle)
    there = [row for row in rows if row.Attendance is not None]
    come = [row for row in rows if row.Attendance is None]
    athletes = [
        athlete_of(person, attendance)
        for person, attendance in (*there, *come)
        if person.handle in wanted
    ]
    athletes += [athlete_of(person, None) for person in added]
    set_roster(session, service, subject, class_id, athletes)
    return added


def athlete_of(person: Person, attendance: Attendance | None) -> Athlete:
    """A row of the roster: as it stands, or as somebody who comes onto it begins."""
    figures = {name: getattr(attendance or person, name) for name in BODY}
    if attendance is None:
        return Athlete(person.handle, **figures)
    return Athlete(
        person.handle,
        delay_s=attendance.delay_s,
        station=attendance.station,
        start=attendance.start,
        **figures,
    )


def copy_roster(
    session: Session, service: Service, subject: Subject, *, earlier_id: str, class_id: str
) -> None:
    """Say that whoever took part in an earlier class takes part in this one too."""
    earlier = seen_class(session, subject, earlier_id)
    handles = session.scalars(
        select(Person.handle)
        .join(Attendance, Attendance.person_id == Person.id)
        .where(Attendance.class_id == earlier.id)
    )
    tick_roster(session, service, subject, class_id, handles=list(handles))
