"""A class out of the database as the plain record that the engine takes.

The same values as reading the class exported as a folder gives: the plan's reader, the names'
reader and the files' order are the folder's own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.folder.recordings import read_file_name
from api.people.consents import latest_answers
from api.recordings.columns import decoded
from api.recordings.service import uploader_handles
from api.service import Service
from api.storage.keys import Keys
from api.storage.model import (
    Attendance,
    Person,
    PlanVersion,
    Recording,
    Score,
    TrainingClass,
)
from api.storage.model import Pin as PinRow
from api.storage.moments import with_offset
from api.storage.store import BytesMissing
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin, Upload
from reconcile.plan_text import read_plan

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Inputs:
    """Everything that one result rests on, as read in one transaction."""

    found: TrainingClass
    version: PlanVersion
    people: tuple[tuple[Attendance, Person], ...]
    scores: tuple[tuple[Score, str], ...]
    recordings: tuple[Recording, ...]
    pins: tuple[Pin, ...]

    @property
    def summary(self) -> dict[str, Any]:
        """Versions and addresses of the inputs, for the note of the run."""
        return {
            "plan_version": self.version.id,
            "recordings": [row.sha256 for row in self.recordings],
            "scores": [row.id for row, _ in self.scores],
            "attendances": [row.id for row, _ in self.people],
            "pins": len(self.pins),
        }


def read_inputs(session: Session, class_id: str) -> Inputs | None:
    """Read a class; None where it is gone. Recordings of who withdrew are left out."""
    found = session.get(TrainingClass, class_id)
    if found is None:
        return None
    attendances = session.scalars(
        select(Attendance).where(Attendance.class_id == class_id).order_by(Attendance.position)
    ).all()
    people = tuple((row, session.get_one(Person, row.person_id)) for row in attendances)
    handles = {person.id: person.handle for _, person in people}
    scores = tuple(
        (row, handles[row.person_id])
        for row in session.scalars(
            select(Score)
            .where(Score.class_id == class_id, Score.replaced_at.is_(None))
            .order_by(Score.position, Score.id)
        )
        if row.person_id in handles
    )
    refused = {
        handles[person_id]
        for person_id, agreed in latest_answers(session, list(handles), "recordings").items()
        if not agreed
    }
    recordings = tuple(
        row
        for row in sorted(
            session.scalars(select(Recording).where(Recording.class_id == class_id)),
            key=lambda row: row.file,
        )
        if not refused.intersection(uploader_handles(session, row.id))
    )
    return Inputs(
        found=found,
        version=session.get_one(PlanVersion, found.plan_version_id),
        people=people,
        scores=scores,
        recordings=recordings,
        pins=standing_pins(session, class_id, {row.id: row.file for row in recordings}, handles),
    )


def standing_pins(
    session: Session, class_id: str, files: dict[str, str], handles: dict[str, str]
) -> tuple[Pin, ...]:
    """Pins that were not undone, by the files' names."""
    rows = session.scalars(
        select(PinRow)
        .where(PinRow.class_id == class_id, PinRow.undone_at.is_(None))
        .order_by(PinRow.id)
    )
    return tuple(
        Pin(
            f"{files[row.recording_id]}/{row.member}" if row.member else files[row.recording_id],
            row.block,
            row.start_s,
            handles.get(row.owner_id or ""),
        )
        for row in rows
        if row.recording_id in files
    )


def class_record(service: Service, inputs: Inputs, progress: Progress | None = None) -> ClassRecord:
    """Decode the recordings and put everything together."""
    found = inputs.found
    handles = [person.handle for _, person in inputs.people]
    uploads: list[Upload] = []
    for done, row in enumerate(inputs.recordings):
        if progress is not None:
            progress("reading the files", done, len(inputs.recordings))
        uploads += uploads_of(service, row, handles)
    return ClassRecord(
        plan=read_plan(inputs.version.text),
        start=with_offset(found.start, found.start_offset_s),
        start_tolerance_s=found.start_tolerance_s,
        athletes=tuple(athlete_of(row, person) for row, person in inputs.people),
        scores=tuple(logged_of(row, handle) for row, handle in inputs.scores),
        uploads=tuple(uploads),
        starts={block: datetime.fromisoformat(text) for block, text in found.starts.items()},
        pins=inputs.pins,
        history=keyed_history(service.keys, found.gym_id, opened_history(service.keys, found)),
    )


def opened_history(keys: Keys, found: TrainingClass) -> dict[str, Any]:
    """What earlier classes taught, as the class folder has it; empty where nothing came along."""
    if found.history is None:
        return {}
    opened = keys.open(f"history {found.gym_id}", found.id, found.history)
    history: dict[str, Any] = json.loads(opened)
    return history


def sealed_history(keys: Keys, found: TrainingClass, history: Mapping[str, Any]) -> bytes | None:
    """Seal what earlier classes taught, for the class's row; None where it is nothing."""
    if not history:
        return None
    text = json.dumps(history, ensure_ascii=False)
    return keys.seal(f"history {found.gym_id}", found.id, text.encode())


def keyed_history(keys: Keys, gym_id: str, value: Any) -> Any:
    """The same with each device's mark as the gym's decoded recordings have it."""
    if isinstance(value, dict):
        return {
            name: keys.mark(f"device {gym_id}", inner)
            if name == "mark" and isinstance(inner, str)
            else keyed_history(keys, gym_id, inner)
            for name, inner in value.items()
        }
    if isinstance(value, list):
        return [keyed_history(keys, gym_id, inner) for inner in value]
    return value


def uploads_of(service: Service, row: Recording, handles: list[str]) -> list[Upload]:
    """What one file holds, under the name that says whose it is."""
    try:
        readings = decoded(
            service.store,
            gym_id=row.gym_id, recording_id=row.id, sha256=row.sha256, file=row.file,
        )  # fmt: skip
    except BytesMissing:
        return []
    name = read_file_name(row.file, handles)
    uploads = []
    for reading in readings:
        problems = (*name.problems, *reading.problems)
        recording = reading.recording
        if recording is not None and name.problems:
            recording = replace(recording, problems=problems)
        uploads.append(Upload(reading.name, name.athletes, name.source, recording, problems))
    return uploads


def athlete_of(row: Attendance, person: Person) -> Athlete:
    """A row of the roster."""
    return Athlete(
        athlete=person.handle,
        sex=row.sex,  # type: ignore[arg-type]
        birth_year=row.birth_year,
        mass_kg=row.mass_kg,
        resting_hr=row.resting_hr,
        max_hr=row.max_hr,
        vo2max=row.vo2max,
        delay_s=row.delay_s,
        station=row.station,
        start=with_offset(row.start, row.start_offset_s) if row.start else None,
    )


def logged_of(row: Score, handle: str) -> LoggedScore:
    """A row of the score sheet."""
    return LoggedScore(
        athlete=handle,
        block=row.block,
        option=row.option,
        equipment=row.equipment,  # type: ignore[arg-type]
        score=row.score,
        rounds=tuple(row.rounds) if row.rounds is not None else None,
        load_kg=row.load_kg,
        notes=row.notes,
    )
