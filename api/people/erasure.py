"""Everything of a person: given to them whole, or erased."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from api.people.passwords import attempt_marks
from api.people.service import person_seen
from api.people.subject import Subject
from api.problems import Conflict, NotHere, NotReady
from api.recordings.service import BYTES, drop_bytes, rename, uploader_handles
from api.recordings.shared import SHARED, shared_files
from api.results.record import opened_history, sealed_history
from api.results.service import seen_result
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import (
    ApiToken,
    Attempt,
    Attendance,
    Audit,
    Base,
    Consent,
    Decision,
    Done,
    Person,
    Recording,
    Role,
    Score,
    SignIn,
    TrainingClass,
    Uploader,
)
from api.storage.store import BytesMissing
from api.work.stale import raise_floor, touch_class


def row_values(row: Base, *leave_out: str) -> dict[str, Any]:
    """A row as JSON values."""
    values = {}
    for column in row.__table__.columns:
        if column.name not in leave_out:
            value = getattr(row, column.name)
            values[column.name] = value.isoformat() if hasattr(value, "isoformat") else value
    return values


def export_person(service: Service, subject: Subject, person_id: str) -> bytes:
    """Everything that is kept of the person, as a zip: theirs alone to ask for."""
    if subject.visiting or person_id != subject.person_id:
        raise NotHere
    stream = io.BytesIO()
    with service.database.reading() as session, zipfile.ZipFile(stream, "w") as archive:
        archive.compression = zipfile.ZIP_DEFLATED
        person = session.get_one(Person, person_id)

        def lay(name: str, value: object) -> None:
            archive.writestr(name, json.dumps(value, indent=2, ensure_ascii=False) + "\n")

        def rows(table: type[Base], *leave_out: str) -> list[dict[str, Any]]:
            statement = select(table).where(table.__table__.c.person_id == person_id)
            return [row_values(row, *leave_out) for row in session.scalars(statement)]

        lay("person.json", row_values(person, "password_hash"))
        lay("roles.json", rows(Role))
        lay("consents.json", rows(Consent))
        lay("sign-ins.json", rows(SignIn, "token_hash"))
        lay("tokens.json", rows(ApiToken, "token_hash"))
        lay("attendances.json", rows(Attendance))
        lay("scores.json", rows(Score))
        lay("decisions.json", rows(Decision))
        lines = session.scalars(
            select(Audit).where(
                (Audit.actor == person.audit_mark) | (Audit.about == person.audit_mark)
            )
        )
        lay("audit.json", [row_values(line) for line in lines])
        own = session.scalars(
            select(Recording)
            .join(Uploader, Uploader.recording_id == Recording.id)
            .where(Uploader.person_id == person_id)
        ).all()
        lay("recordings.json", [row_values(row) for row in own])
        for row in own:
            try:
                data = service.store.get(row.gym_id, BYTES, row.sha256)
            except BytesMissing:
                continue
            archive.writestr(f"recordings/{row.class_id}/{row.file}", data)
        for held in shared_files(service, subject):
            archive.writestr(f"held/{held.name}", held.data)
        attended = session.scalars(
            select(Attendance.class_id).where(Attendance.person_id == person_id)
        )
        for class_id in attended:
            lay(f"results/{class_id}.json", own_result(session, subject, class_id))
    return stream.getvalue()


def own_result(session: Session, subject: Subject, class_id: str) -> dict[str, Any] | None:
    """The person's own part of a result; None where there is none yet."""
    try:
        document = seen_result(session, subject, class_id).document
    except (NotReady, NotHere):
        return None
    own = [entry for entry in document["athletes"] if entry["athlete"] == subject.handle]
    return document | {"athletes": own, "unassigned": []}


def erase_person(service: Service, subject: Subject, person_id: str) -> None:
    """Erase a person: themselves, or an owner does it. What remains is an audit line of a mark.

    Raises Conflict for the gym's last owner.
    """
    with service.database.writing() as session:
        person = person_seen(session, subject, person_id)
        if subject.visiting or not (subject.owns or person.id == subject.person_id):
            raise NotHere
        refuse_last_owner(session, person)
        gone = erase_rows(session, service, person, actor=subject.audit_mark)
        gym_id = person.gym_id
    for _, sha256, recording_id in gone:
        drop_bytes(service, gym_id, sha256, recording_id)
    service.store.drop(gym_id, SHARED, person_id)
    service.database.forget_freed_pages()
    service.work.wake()


def refuse_last_owner(session: Session, person: Person) -> None:
    """Refuse to leave a gym without an owner."""
    owners = set(
        session.scalars(
            select(Role.person_id)
            .join(Person)
            .where(Person.gym_id == person.gym_id, Role.role == "owner")
        )
    )
    if owners == {person.id}:
        raise Conflict("A gym needs an owner: make somebody else one first.", code="last_owner")


def erase_rows(
    session: Session, service: Service, person: Person, *, actor: str | None
) -> list[tuple[str, str, str]]:
    """Take a person out of every table; gives the recordings whose bytes are to go.

    Each is its gym, its content's address and its identifier.
    """
    gone = []
    recordings = session.scalars(
        select(Recording)
        .join(Uploader, Uploader.recording_id == Recording.id)
        .where(Uploader.person_id == person.id)
    ).all()
    classes = set(
        session.scalars(select(Attendance.class_id).where(Attendance.person_id == person.id))
    ) | {row.class_id for row in recordings}
    for row in recordings:
        if uploader_handles(session, row.id) == [person.handle]:
            gone.append((row.gym_id, row.sha256, row.id))
            session.delete(row)
        else:
            session.delete(session.get_one(Uploader, (row.id, person.id)))
            session.flush()
            rename(session, row)
            gone.append((row.gym_id, row.sha256, row.id))
    for class_id in classes:
        found = session.get_one(TrainingClass, class_id)
        history = without(opened_history(service.keys, found), person.handle)
        found.history = sealed_history(service.keys, found, history)
    if person.mail:
        for mark, _ in attempt_marks(service.keys, person.mail, "")[:1]:
            session.execute(delete(Attempt).where(Attempt.about == mark))
    # An answer that is kept for a repeated request may be about anybody in the gym.
    session.execute(delete(Done).where(Done.gym_id == person.gym_id))
    write_line(
        session, gym_id=person.gym_id, actor=actor, action="person.erase", about=person.audit_mark,
        classes=len(classes), files=len(gone),
    )  # fmt: skip
    session.flush()
    session.execute(delete(Person).where(Person.id == person.id))
    for class_id in sorted(classes):
        touch_class(session, service, class_id)
        raise_floor(session, class_id)
    return gone


def without(value: Any, handle: str) -> Any:
    """JSON values without what is kept under, or says that it is of, one athlete."""
    if isinstance(value, dict):
        return {
            key: without(inner, handle)
            for key, inner in value.items()
            if key != handle and not (isinstance(inner, dict) and inner.get("athlete") == handle)
        }
    if isinstance(value, list):
        return [
            without(inner, handle)
            for inner in value
            if not (isinstance(inner, dict) and inner.get("athlete") == handle) and inner != handle
        ]
    return value
