"""Who took part: as a sheet says it, or as a coach ticks and types it."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.classes.service import led_class, seen_class
from api.folder.roster import read_roster
from api.language import deferred
from api.people.service import BODY, add_person
from api.people.sight import visible_attendances
from api.people.subject import Subject
from api.problems import Conflict, Fault, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Attendance, Person, Recording, Score, Uploader
from api.storage.moments import offset_s
from api.work.stale import touch_class
from reconcile.classes import Athlete
from reconcile.errors import InputError

MOST_NAMES = 100


def roster_text_of(text: str) -> tuple[tuple[Athlete, ...], tuple[str, ...]]:
    """Read a roster sheet; raises Refused where nobody can be read from it."""
    try:
        athletes, mistakes = read_roster(text)
    except InputError as error:
        raise Refused(
            "The roster cannot be read: its first line must name the columns, with `athlete`.",
            developer=str(error.first),
            code="bad_roster",
            faults=[Fault(m.place, m.message, m.code) for m in error.mistakes],
        ) from error
    return athletes, tuple(mistake.sentence for mistake in mistakes)


def set_roster(
    session: Session,
    service: Service,
    subject: Subject,
    class_id: str,
    athletes: Sequence[Athlete],
) -> None:
    """Say who took part, in order. Whom the gym does not know becomes a new athlete.

    Raises Conflict where somebody left out has uploaded or logged something.
    """
    found = led_class(session, subject, class_id)
    handles = [athlete.athlete for athlete in athletes]
    if len(set(handles)) < len(handles):
        what = deferred("Somebody stands on the roster twice.")
        raise Refused(what, code="twice", faults=[Fault("athletes", what, "unique")])
    people = {
        person.handle: person
        for person in session.scalars(
            select(Person).where(Person.gym_id == subject.gym_id, Person.handle.in_(handles))
        )
    }
    there = {
        row.person_id: row
        for row in session.scalars(select(Attendance).where(Attendance.class_id == found.id))
    }
    for position, athlete in enumerate(athletes):
        person = people.get(athlete.athlete)
        if person is None:
            person = add_person(
                session, gym_id=subject.gym_id, actor=subject.audit_mark, name=athlete.athlete,
                handle=athlete.athlete, mail=None, roles=("athlete",),
                body={name: getattr(athlete, name) for name in BODY},
            )  # fmt: skip
        row = there.pop(person.id, None)
        if row is None:
            row = Attendance(class_id=found.id, person_id=person.id, position=position)
            session.add(row)
        row.position = position
        for name in (*BODY, "delay_s", "station"):
            setattr(row, name, getattr(athlete, name))
        row.start = athlete.start
        row.start_offset_s = offset_s(athlete.start) if athlete.start else 0
    for row in there.values():
        drop_attendance(session, row)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="roster.set",
        about=found.id, athletes=len(handles),
    )  # fmt: skip
    touch_class(session, service, found.id)


def drop_attendance(session: Session, row: Attendance) -> None:
    """Take somebody off a roster; raises Conflict where they have uploaded or logged something."""
    uploads = session.scalar(
        select(func.count())
        .select_from(Uploader)
        .join(Recording, Recording.id == Uploader.recording_id)
        .where(Recording.class_id == row.class_id, Uploader.person_id == row.person_id)
    )
    logged = session.scalar(
        select(func.count())
        .select_from(Score)
        .where(Score.class_id == row.class_id, Score.person_id == row.person_id)
    )
    if uploads or logged:
        raise Conflict(
            "Somebody left out of the roster has uploaded or logged something in this class: "
            "keep them, or delete that first.",
            code="has_data",
        )
    session.delete(row)


def roster_rows(
    session: Session, subject: Subject, class_id: str
) -> list[tuple[Attendance, Person]]:
    """Who took part, as far as the person may see, in order."""
    seen_class(session, subject, class_id)
    rows = session.scalars(visible_attendances(subject, class_id).order_by(Attendance.position))
    return [(row, session.get_one(Person, row.person_id)) for row in rows]


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
