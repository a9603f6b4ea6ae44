"""What can be done with recordings: receive, read, give back, delete."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from api.classes.service import seen_class
from api.folder.recordings import read_file_name
from api.people.consents import answer_of
from api.people.sight import own_recordings, visible_recordings
from api.people.subject import Subject
from api.problems import ConsentNeeded, NotHere
from api.recordings.columns import KIND, packed, read_private
from api.recordings.files import (
    KEPT_NAME,
    NAME_DIGITS,
    NOBODY,
    OTHER_WORDS,
    WORDS,
    ReadFile,
    SentFile,
    device_of,
    fatal_problem,
    made_name,
    plain_name,
)
from api.recordings.schemas import Outcome, RecordingAnswer
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Attendance, Person, Recording, TrainingClass, Uploader
from api.storage.store import BytesMissing, content_address
from api.work.stale import raise_floor, touch_class

BYTES = "bytes"


def receive(
    service: Service,
    subject: Subject,
    class_id: str,
    files: Sequence[SentFile],
    *,
    athletes: Sequence[str] | None,
    source: str | None,
) -> list[Outcome]:
    """Take files into a class: an athlete's own, or a coach's for anybody or nobody.

    The same bytes twice are one recording. A file in which nothing is usable is refused: only
    the audit log has a line of it.

    Raises:
        NotHere: the class, or an athlete named, is not the person's to upload to.
        ConsentNeeded: the athlete has not agreed, or has withdrawn.
    """
    with service.database.reading() as session:
        seen_class(session, subject, class_id)
        people = class_people(session, class_id)
        if not subject.coaches:
            athletes = [subject.handle] if athletes in (None, [], [subject.handle]) else None
            if athletes is None or subject.handle not in people:
                raise NotHere
        elif any(handle not in people for handle in athletes or ()):
            raise NotHere
        for handle in athletes or ():
            check_consent(session, subject, people[handle])
    read = [
        ReadFile(
            sent,
            content_address(sent.data),
            read_private(service.keys, subject.gym_id, sent.data, plain_name(sent.name)),
        )
        for sent in files
    ]
    with service.database.writing() as session:
        found = session.scalar(
            select(TrainingClass).where(TrainingClass.id == class_id).with_for_update()
        )
        if found is None:
            raise NotHere
        people = class_people(session, class_id)
        outcomes = []
        changed = False
        for file in read:
            if not file.usable:
                outcomes.append(refusal(session, subject, class_id, file))
                continue
            outcome, new = keep(
                session, service, subject, found, people, file, athletes=athletes, source=source
            )
            outcomes.append(outcome)
            changed = changed or new
        if changed:
            touch_class(session, service, class_id)
    for outcome in outcomes:
        service.metrics.uploads.labels(outcome.outcome).inc()
    service.work.wake()
    return outcomes


def class_people(session: Session, class_id: str) -> dict[str, Person]:
    """Who is on the roster, by handle, in order."""
    rows = session.scalars(
        select(Person)
        .join(Attendance, Attendance.person_id == Person.id)
        .where(Attendance.class_id == class_id)
        .order_by(Attendance.position)
    )
    return {person.handle: person for person in rows}


def check_consent(session: Session, subject: Subject, person: Person) -> None:
    """An athlete's upload needs their yes; a coach's for them, that they have not said no."""
    answer = answer_of(session, person.id, "recordings")
    if answer is True or (answer is None and subject.coaches):
        return
    own = person.id == subject.person_id
    raise ConsentNeeded(
        "Say first, on your page, that the gym may work with your files."
        if own
        else "This athlete has not agreed that the gym works with their files.",
        developer="The purpose `recordings` is not agreed to: PUT /api/v1/me/consents/recordings.",
        facts={"purpose": "recordings"},
    )


def refusal(session: Session, subject: Subject, class_id: str, file: ReadFile) -> Outcome:
    """Say what is wrong with a file, and note in the audit log that it was refused."""
    fatal = fatal_problem(file)
    code = fatal.code if fatal else "unreadable"
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="upload.refuse",
        about=class_id, code=code, size=len(file.sent.data),
    )  # fmt: skip
    return Outcome(
        sent_as=plain_name(file.sent.name),
        outcome="refused",
        detail=WORDS.get(code, OTHER_WORDS),
        developer=fatal.message if fatal else "nothing in it is a recording",
        code=code,
    )


def keep(
    session: Session,
    service: Service,
    subject: Subject,
    found: TrainingClass,
    people: dict[str, Person],
    file: ReadFile,
    *,
    athletes: Sequence[str] | None,
    source: str | None,
) -> tuple[Outcome, bool]:
    """Keep a usable file; gives what became of it, and whether anything changed."""
    sent_name = plain_name(file.sent.name)
    said = read_file_name(sent_name, list(people))
    owners = list(athletes or ())
    if athletes is None and all(handle in people for handle in said.athletes):
        owners = list(said.athletes)
    for handle in owners:
        if athletes is None:
            check_consent(session, subject, people[handle])
    lock_bytes(session, file.sha256)
    row = session.scalar(
        select(Recording).where(Recording.class_id == found.id, Recording.sha256 == file.sha256)
    )
    if row is not None:
        changed = join_uploaders(session, row, [people[handle] for handle in owners])
        if changed:
            rename(session, row)
        return outcome_of(session, row, sent_name, "already there"), changed
    whose = source or (said.source if not said.problems else device_of(file))
    taken = set(session.scalars(select(Recording.file).where(Recording.class_id == found.id)))
    fits = (
        not said.problems
        and list(said.athletes) == owners
        and source in (None, said.source)
        and KEPT_NAME.fullmatch(sent_name)
        and sent_name not in taken
    )
    name = sent_name if fits else made_name(owners, whose, file, taken)
    service.store.put(subject.gym_id, BYTES, file.sha256, file.sent.data)
    row = Recording(
        gym_id=subject.gym_id,
        class_id=found.id,
        file=name,
        source=whose,
        sha256=file.sha256,
        size=len(file.sent.data),
        sign_in_id=subject.sign_in_id,
        received_by=subject.person_id,
    )
    session.add(row)
    session.flush()
    session.add_all(
        Uploader(recording_id=row.id, person_id=people[handle].id, position=position)
        for position, handle in enumerate(owners)
    )
    session.flush()
    if name == sent_name:
        service.store.put(subject.gym_id, KIND, row.id, packed(file.readings))
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="upload.keep",
        about=found.id, size=row.size,
    )  # fmt: skip
    return outcome_of(session, row, sent_name, "stored"), True


def join_uploaders(session: Session, row: Recording, people: Sequence[Person]) -> bool:
    """Add who uploaded the same bytes again: a machine that several used in turns."""
    there = set(session.scalars(select(Uploader.person_id).where(Uploader.recording_id == row.id)))
    new = [person for person in people if person.id not in there]
    session.add_all(
        Uploader(recording_id=row.id, person_id=person.id, position=len(there) + number)
        for number, person in enumerate(new)
    )
    session.flush()
    return bool(new)


def rename(session: Session, row: Recording) -> None:
    """Let a recording's name say who its uploaders are now."""
    handles = uploader_handles(session, row.id)
    parts = row.file.split(f".{row.source}.", 1)
    tail = parts[1] if len(parts) == 2 else row.file.rsplit(".", 1)[-1]
    stem = f"{'+'.join(handles) or NOBODY}.{row.source}"
    name = f"{stem}.{tail}"
    taken = set(
        session.scalars(
            select(Recording.file).where(Recording.class_id == row.class_id, Recording.id != row.id)
        )
    )
    if name in taken:
        name = f"{stem}.{int(row.sha256[:NAME_DIGITS], 16)}.{tail.split('.', 1)[-1]}"
    row.file = name
    session.flush()


def uploader_handles(session: Session, recording_id: str) -> list[str]:
    """Whose upload a recording is, the first first."""
    return list(
        session.scalars(
            select(Person.handle)
            .join(Uploader, Uploader.person_id == Person.id)
            .where(Uploader.recording_id == recording_id)
            .order_by(Uploader.position)
        )
    )


def recording_answer(session: Session, row: Recording) -> RecordingAnswer:
    """Describe a recording."""
    return RecordingAnswer(
        id=row.id,
        class_id=row.class_id,
        file=row.file,
        source=row.source,  # type: ignore[arg-type]
        athletes=uploader_handles(session, row.id),
        sha256=row.sha256,
        size=row.size,
        received_at=row.received_at,
    )


def outcome_of(session: Session, row: Recording, sent_as: str, outcome: str) -> Outcome:
    """Say that a file is there."""
    again = outcome == "already there"
    return Outcome(
        sent_as=sent_as,
        outcome=outcome,  # type: ignore[arg-type]
        recording=recording_answer(session, row),
        detail="That file was here already." if again else "Your file is in.",
        developer=f"{outcome} as {row.file}",
        code="ok",
    )


def seen_recording(session: Session, subject: Subject, recording_id: str) -> Recording:
    """The recording, where the person may see it; raises NotHere."""
    row = session.scalar(visible_recordings(subject).where(Recording.id == recording_id))
    if row is None:
        raise NotHere
    return row


def own_bytes(service: Service, subject: Subject, recording_id: str) -> tuple[str, bytes]:
    """The bytes as uploaded, to whose they are and nobody else; raises NotHere."""
    with service.database.reading() as session:
        row = session.scalar(own_recordings(subject).where(Recording.id == recording_id))
        if row is None:
            raise NotHere
    try:
        return row.file, service.store.get(row.gym_id, BYTES, row.sha256)
    except BytesMissing as error:
        raise NotHere from error


def delete_recording(service: Service, subject: Subject, recording_id: str) -> None:
    """Delete a recording: its uploader's own, or a coach's to do.

    Of one that several uploaded, an athlete takes back their own part only.
    """
    with service.database.writing() as session:
        if subject.coaches:
            row = session.scalar(visible_recordings(subject).where(Recording.id == recording_id))
        else:
            row = session.scalar(own_recordings(subject).where(Recording.id == recording_id))
        if row is None:
            raise NotHere
        write_line(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, action="recording.delete",
            about=row.class_id,
        )  # fmt: skip
        others = [h for h in uploader_handles(session, row.id) if h != subject.handle]
        gone = subject.coaches or not others
        if gone:
            session.delete(row)
        else:
            session.delete(session.get_one(Uploader, (row.id, subject.person_id)))
            session.flush()
            rename(session, row)
        session.flush()
        touch_class(session, service, row.class_id)
        raise_floor(session, row.class_id)
    if gone:
        drop_bytes(service, row.gym_id, row.sha256, row.id)
    service.work.wake()


def move_recording(service: Service, subject: Subject, recording_id: str, class_id: str) -> Outcome:
    """Send one's own upload to another class, and take it back from where it was.

    Raises as `own_bytes` and `receive` do; nothing is taken back before it has arrived.
    """
    with service.database.reading() as session:
        row = session.scalar(own_recordings(subject).where(Recording.id == recording_id))
        if row is None or row.class_id == class_id:
            raise NotHere
    name, data = own_bytes(service, subject, recording_id)
    (outcome,) = receive(
        service, subject, class_id, [SentFile(name, data)],
        athletes=[subject.handle], source=row.source if row.source != "unknown" else None,
    )  # fmt: skip
    delete_recording(service, subject, recording_id)
    return outcome


def lock_bytes(session: Session, sha256: str) -> None:
    """Let nobody keep and drop the same bytes at once; SQLite writes one at a time anyway."""
    if session.get_bind().dialect.name == "postgresql":
        number = int(sha256[:15], 16)
        session.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": number})


def drop_bytes(service: Service, gym_id: str, sha256: str, recording_id: str) -> None:
    """Forget a deleted recording's bytes, unless another recording has the same, and its cache."""
    with service.database.writing() as session:
        lock_bytes(session, sha256)
        still = session.scalar(
            select(func.count())
            .select_from(Recording)
            .where(Recording.gym_id == gym_id, Recording.sha256 == sha256)
        )
        if not still:
            service.store.drop(gym_id, BYTES, sha256)
    service.store.drop(gym_id, KIND, recording_id)
