"""A class as a class folder in a zip: out, and in again."""

from __future__ import annotations

import io
import json
import tempfile
import zipfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

from ruamel.yaml import YAML
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes.service import led_class, put_score
from api.folder import ClassFolderError, read_class_folder
from api.folder.class_yaml import read_class_yaml
from api.folder.files import decode
from api.folder.recordings import read_file_name
from api.language import Sentence
from api.people.consents import answers, latest_answers, note_answer
from api.people.service import BODY, add_person
from api.people.subject import Subject
from api.plans.service import add_plan, fault_of, newest_version
from api.problems import Conflict, Fault, NotHere, Refused
from api.recordings.service import (
    BYTES,
    join_uploaders,
    lock_bytes,
    rename,
    uploader_handles,
)
from api.results.record import Inputs, opened_history, read_inputs, sealed_history
from api.service import Service
from api.storage.audit import write_line
from api.storage.identity import new_code
from api.storage.model import (
    Attendance,
    Person,
    Pin,
    PlanVersion,
    Recording,
    TrainingClass,
    Uploader,
)
from api.storage.model import Plan as PlanRow
from api.storage.moments import offset_s, with_offset
from api.storage.store import BytesMissing, content_address
from api.transfer.sheets import pin_sheet, roster_sheet, score_sheet, sheet_of
from reconcile.classes import ClassRecord
from reconcile.durations import format_duration

MOST_MEMBERS = 1_100
MOST_BYTES = 512 * 2**20
MADE = (1980, 1, 1, 0, 0, 0)
LEFT_OUT = "left-out.csv"
HANDLE_LENGTH = 64


# ---- out


def class_folder(service: Service, subject: Subject, class_id: str) -> bytes:
    """The class as a zip of its folder; a coach's to take.

    Files go along of those who agreed that they may; `left-out.csv` lists the others.
    """
    with service.database.writing() as session:
        led_class(session, subject, class_id)
        inputs = read_inputs(session, class_id)
        assert inputs is not None
        ids = [person.id for _, person in inputs.people]
        handles = {person.id: person.handle for _, person in inputs.people}
        agreed = {
            handles[person_id]
            for person_id, yes in latest_answers(session, ids, "original-files").items()
            if yes
        }
        whose = {row.id: uploader_handles(session, row.id) for row in inputs.recordings}
        write_line(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, action="class.export",
            about=class_id,
        )  # fmt: skip
    files = text_files(service, inputs)
    left_out = []
    recordings: dict[str, bytes] = {}
    for row in inputs.recordings:
        if set(whose[row.id]) <= agreed:
            try:
                recordings[row.file] = service.store.get(row.gym_id, BYTES, row.sha256)
            except BytesMissing:
                left_out.append((row.file, "the bytes are gone"))
        else:
            left_out.append((row.file, "its owner has not agreed that it goes along"))
    if left_out:
        files[LEFT_OUT] = sheet_of(("file", "why"), left_out)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(zip_entry(name), text)
        for name, data in recordings.items():
            archive.writestr(zip_entry(f"recordings/{name}"), data)
        if not recordings:
            archive.writestr(zip_entry("recordings/"), b"")
    return stream.getvalue()


def zip_entry(name: str) -> zipfile.ZipInfo:
    """An entry without a date, so that the same class gives the same zip."""
    entry = zipfile.ZipInfo(name, MADE)
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def text_files(service: Service, inputs: Inputs) -> dict[str, str]:
    """Everything of the folder but the recordings."""
    found = inputs.found
    about: dict[str, object] = {
        "plan": "plan.yaml",
        "start": with_offset(found.start, found.start_offset_s).isoformat(),
        "start_tolerance": format_duration(found.start_tolerance_s),
    }
    if found.starts:
        about["starts"] = dict(found.starts)
    stream = io.StringIO()
    YAML(typ="safe").dump(about, stream)
    files = {
        "class.yaml": stream.getvalue(),
        "plan.yaml": inputs.version.text,
        "roster.csv": roster_sheet(inputs.people),
        "scores.csv": score_sheet(inputs.scores),
    }
    if inputs.pins:
        files["pins.csv"] = pin_sheet(inputs.pins)
    history = opened_history(service.keys, found)
    if history:
        files["history.json"] = json.dumps(history, indent=2, ensure_ascii=False) + "\n"
    return files


# ---- in


@dataclass(frozen=True)
class Folder:
    """A class folder that came as a zip: what it says, and the files as they are."""

    record: ClassRecord
    plan_text: str
    recordings: dict[str, bytes]


def read_zip(service: Service, data: bytes) -> Folder:
    """Unpack a zip where nobody else looks, and read the folder in it.

    Raises Refused where it is no zip, asks for too much, or is no class folder.
    """
    service.settings.data.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="import-", dir=service.settings.data) as place:
        folder = Path(place)
        unpack(data, folder)
        try:
            record = read_class_folder(folder)
            about = read_class_yaml(decode((folder / "class.yaml").read_bytes()))
        except ClassFolderError as error:
            raise Refused(
                Sentence("The class folder cannot be used yet: look at {file}.", file=error.file),
                developer=str(error.first),
                code=error.code,
                faults=[fault_of(mistake) for mistake in error.mistakes],
            ) from error
        plan_text = decode((folder / about.plan).read_bytes())
        inside = folder / "recordings"
        names = sorted(inside.iterdir()) if inside.is_dir() else []
        recordings = {
            path.name: path.read_bytes()
            for path in names
            if path.is_file() and not path.name.startswith(".") and path.name != "Thumbs.db"
        }
    for athlete in record.athletes:
        if len(athlete.athlete) > HANDLE_LENGTH or "/" in athlete.athlete:
            what = Sentence(
                "An athlete's name has at most {letters} letters and no slash here.",
                letters=HANDLE_LENGTH,
            )
            raise Refused(what, code="bad_name", faults=[Fault("roster.csv", what, "length")])
    return Folder(record, plan_text, recordings)


def unpack(data: bytes, folder: Path) -> None:
    """Write a zip's files into a folder: plain names only, nothing without bound."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir()]
            if len(entries) > MOST_MEMBERS:
                raise Refused("The zip holds too many files.", code="too_many_files")
            top = common_folder([entry.filename for entry in entries])
            room = MOST_BYTES
            for entry in entries:
                path = PurePosixPath(entry.filename.removeprefix(top))
                parts = path.parts
                plain = parts and len(parts) <= 2 and not path.is_absolute() and ".." not in parts
                if not plain or (len(parts) == 2 and parts[0] != "recordings"):
                    continue
                with archive.open(entry) as stream:
                    content = stream.read(room + 1)
                room -= len(content)
                if room < 0:
                    raise Refused("The zip unpacks to too much.", code="too_large")
                target = folder.joinpath(*parts)
                target.parent.mkdir(exist_ok=True)
                target.write_bytes(content)
            (folder / "recordings").mkdir(exist_ok=True)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError,
            ValueError) as error:  # fmt: skip
        raise Refused(
            "That is not a zip that can be opened.",
            developer=f"{type(error).__name__}: send a zip of a class folder, without a password.",
            code="bad_zip",
        ) from error


def common_folder(names: list[str]) -> str:
    """The one folder that a zip's files lie in together, where they do."""
    tops = {name.partition("/")[0] for name in names if "/" in name}
    if len(tops) == 1 and all("/" in name for name in names):
        top = tops.pop()
        if top != "recordings":
            return f"{top}/"
    return ""


def take_in(
    session: Session, service: Service, subject: Subject, folder: Folder, stated: list[str]
) -> TrainingClass:
    """Make a class of a folder; a coach's to do. Whom the gym does not know is added.

    stated: the purposes to which, the coach says, the athletes agreed; nobody's own answer is
    changed by it.
    """
    if not subject.coaches:
        raise NotHere
    record = folder.record
    version = plan_version(session, subject, folder.plan_text)
    found = TrainingClass(
        gym_id=subject.gym_id,
        plan_version_id=version.id,
        coach_id=subject.person_id,
        start=record.start,
        start_offset_s=offset_s(record.start),
        start_tolerance_s=record.start_tolerance_s,
        starts={block: moment.isoformat() for block, moment in record.starts.items()},
        wall_code=new_code(),
    )
    session.add(found)
    session.flush()
    found.history = sealed_history(service.keys, found, record.history)
    people = take_people(session, subject, found.id, record)
    for person in people.values():
        known = {a.purpose.name: a.agreed for a in answers(session, person.id)}
        for purpose in stated:
            if known[purpose] is None:
                note_answer(
                    session, person_id=person.id, purpose=purpose, agreed=True,
                    stated_by=subject.person_id,
                )  # fmt: skip
    for logged in record.scores:
        put_score(
            session, class_id=found.id, person_id=people[logged.athlete].id, by=subject.person_id,
            logged=logged,
        )  # fmt: skip
    rows = {
        name: take_recording(session, service, subject, found.id, people, name, data)
        for name, data in folder.recordings.items()
    }
    for pin in record.pins:
        name, _, member = pin.file.partition("/")
        session.add(
            Pin(
                class_id=found.id,
                recording_id=rows[name].id,
                member=member,
                block=pin.block,
                start_s=pin.start_s,
                owner_id=people[pin.owner].id if pin.owner else None,
                made_by=subject.person_id,
            )
        )
        session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="class.import",
        about=found.id, files=len(rows), athletes=len(people),
    )  # fmt: skip
    service.work.ask(session, found.id)
    return found


def plan_version(session: Session, subject: Subject, text: str) -> PlanVersion:
    """The version with this text, where the gym has it as its plan's newest; else a new plan."""
    for plan_id in session.scalars(select(PlanRow.id).where(PlanRow.gym_id == subject.gym_id)):
        newest = newest_version(session, plan_id)
        if newest.text == text:
            return newest
    _, version = add_plan(
        session, gym_id=subject.gym_id, maker_id=subject.person_id, actor=subject.audit_mark,
        text=text,
    )  # fmt: skip
    return version


def take_people(
    session: Session, subject: Subject, class_id: str, record: ClassRecord
) -> dict[str, Person]:
    """Put the folder's athletes on the roster, by handle."""
    people = {}
    for position, athlete in enumerate(record.athletes):
        person = session.scalar(
            select(Person).where(
                Person.gym_id == subject.gym_id, Person.handle == athlete.athlete
            )
        ) or add_person(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, name=athlete.athlete,
            handle=athlete.athlete, mail=None, roles=("athlete",),
            body={name: getattr(athlete, name) for name in BODY},
        )  # fmt: skip
        people[athlete.athlete] = person
        row = Attendance(class_id=class_id, person_id=person.id, position=position)
        for name in (*BODY, "delay_s", "station"):
            setattr(row, name, getattr(athlete, name))
        start: datetime | None = athlete.start
        row.start = start
        row.start_offset_s = offset_s(start) if start else 0
        session.add(row)
    session.flush()
    return people


def take_recording(
    session: Session,
    service: Service,
    subject: Subject,
    class_id: str,
    people: dict[str, Person],
    name: str,
    data: bytes,
) -> Recording:
    """Keep a file of the folder, readable or not, under its name there."""
    sha256 = content_address(data)
    said = read_file_name(name, list(people))
    owners = [people[handle] for handle in said.athletes if handle in people]
    row = session.scalar(
        select(Recording).where(Recording.class_id == class_id, Recording.sha256 == sha256)
    )
    if row is not None:
        if join_uploaders(session, row, owners):
            rename(session, row)
        return row
    if len(name) > 255:
        raise Conflict("A file's name is too long.", code="long_name")
    lock_bytes(session, sha256)
    service.store.put(subject.gym_id, BYTES, sha256, data)
    row = Recording(
        gym_id=subject.gym_id,
        class_id=class_id,
        file=name,
        source=said.source,
        sha256=sha256,
        size=len(data),
        received_by=subject.person_id,
    )
    session.add(row)
    session.flush()
    session.add_all(
        Uploader(recording_id=row.id, person_id=person.id, position=position)
        for position, person in enumerate(owners)
    )
    session.flush()
    return row
