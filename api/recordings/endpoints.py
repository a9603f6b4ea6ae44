"""Recordings over HTTP."""

from __future__ import annotations

import math
from typing import Annotated

from fastapi import APIRouter, File, Form, Path, Query, Response, UploadFile

from api.classes.endpoints import ClassId
from api.classes.service import seen_class
from api.http import (
    CursorNow,
    LimitNow,
    Reader,
    Sender,
    ServiceNow,
    declared,
    page_of,
)
from api.language import Sentence
from api.people.schemas import DoneAnswer, Handle
from api.people.sight import visible_recordings
from api.problems import NotHere, Refused
from api.recordings.columns import COLUMNS, decoded, parquet
from api.recordings.files import SentFile
from api.recordings.schemas import (
    Columns,
    ColumnsAnswer,
    RecordingAnswer,
    RecordingPage,
    SourceName,
    UploadAnswer,
)
from api.recordings.service import (
    delete_recording,
    own_bytes,
    receive,
    recording_answer,
    seen_recording,
)
from api.storage.model import Recording
from ingest.reading import FileReading

router = APIRouter(tags=["recordings"])

RecordingId = Annotated[
    str, Path(pattern="^[0-9a-f]{32}$", description="A recording's identifier.")
]
MOST_FILES = 200


@router.post(
    "/classes/{class_id}/recordings",
    status_code=201,
    summary="Upload recordings",
    responses={
        200: {"model": UploadAnswer, "description": "Every usable file was there already"},
        **declared(400, 401, 403, 404, 413, 422),
    },
)
def upload(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    response: Response,
    files: Annotated[
        list[UploadFile],
        File(description="One file or several: FIT, TCX, GPX, CSV, gzipped or in a zip."),
    ],
    athlete: Annotated[
        list[Handle] | None,
        Form(description="A coach says whose it is; of a shared machine, several times."),
    ] = None,
    source: Annotated[
        SourceName | None, Form(description="What recorded it; told from the file where left out.")
    ] = None,
) -> UploadAnswer:
    """Upload one file or several. The same bytes twice are one recording, so repeating is safe.

    A file sent under its name in a class folder (`a03.watch.fit`) keeps that name. 422 where no
    file could be used; each outcome says why, once for the athlete and once for a developer.
    """
    if len(files) > MOST_FILES:
        raise Refused(
            Sentence("Send at most {count} files at once.", count=MOST_FILES),
            code="too_many_files",
        )
    sent = [SentFile(file.filename or "file", file.file.read()) for file in files]
    outcomes = receive(service, subject, class_id, sent, athletes=athlete, source=source)
    if all(outcome.outcome == "refused" for outcome in outcomes):
        first = outcomes[0]
        raise Refused(
            first.detail if len(outcomes) == 1 else "None of these files can be used.",
            developer=first.developer,
            code=first.code,
            facts={"files": [outcome.model_dump(mode="json") for outcome in outcomes]},
        )
    if all(outcome.outcome != "stored" for outcome in outcomes):
        response.status_code = 200
    return UploadAnswer(files=outcomes)


@router.get(
    "/classes/{class_id}/recordings",
    summary="Recordings of a class",
    responses=declared(401, 403, 404, 422),
)
def list_recordings(
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    cursor: CursorNow = None,
    limit: LimitNow = 50,
) -> RecordingPage:
    """A coach sees all, an athlete their own uploads."""
    with service.database.reading() as session:
        seen_class(session, subject, class_id)
        rows = visible_recordings(subject).where(Recording.class_id == class_id)
        found, following = page_of(session, rows, Recording.id, cursor, limit)
        return RecordingPage(
            items=[recording_answer(session, row) for row in found], next=following
        )


@router.get(
    "/recordings/{recording_id}", summary="One recording", responses=declared(401, 403, 404, 422)
)
def read_recording(
    service: ServiceNow, subject: Reader, recording_id: RecordingId
) -> RecordingAnswer:
    """What is known of an uploaded file."""
    with service.database.reading() as session:
        return recording_answer(session, seen_recording(session, subject, recording_id))


@router.delete(
    "/recordings/{recording_id}",
    summary="Delete a recording",
    responses=declared(401, 403, 404, 422),
)
def delete(service: ServiceNow, subject: Sender, recording_id: RecordingId) -> DoneAnswer:
    """Delete a recording and its bytes; the class is worked out again without it."""
    delete_recording(service, subject, recording_id)
    return DoneAnswer()


@router.get(
    "/recordings/{recording_id}/bytes",
    summary="The file as uploaded",
    response_class=Response,
    responses={
        200: {"content": {"application/octet-stream": {}}, "description": "The uploaded bytes"},
        **declared(401, 403, 404, 422),
    },
)
def read_bytes(service: ServiceNow, subject: Reader, recording_id: RecordingId) -> Response:
    """The bytes as they came; to whoever uploaded them, and to nobody else."""
    name, data = own_bytes(service, subject, recording_id)
    safe = "".join(c if c.isascii() and c not in '"\\' else "_" for c in name)
    return Response(
        data,
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{safe}"'},
    )


def readings_of(service: ServiceNow, subject: Reader, recording_id: str) -> tuple[FileReading, ...]:
    """What a recording decodes to, where the person may see it."""
    with service.database.reading() as session:
        row = seen_recording(session, subject, recording_id)
    return decoded(
        service.store, gym_id=row.gym_id, recording_id=row.id, sha256=row.sha256, file=row.file
    )


@router.get(
    "/recordings/{recording_id}/columns",
    summary="Decoded signals",
    responses=declared(401, 403, 404, 422),
)
def read_columns(service: ServiceNow, subject: Reader, recording_id: RecordingId) -> ColumnsAnswer:
    """Time, heart rate, power and so on, without places, names or serials."""
    return ColumnsAnswer(
        readings=[columns_answer(r) for r in readings_of(service, subject, recording_id)]
    )


def columns_answer(reading: FileReading) -> Columns:
    """Describe one reading; what is missing is null."""
    recording = reading.recording
    columns: dict[str, list[float | None]] = {}
    for name in COLUMNS:
        values = getattr(recording, name, None)
        if values is not None:
            columns[name] = [v if math.isfinite(v) else None for v in values.tolist()]
    return Columns(
        name=reading.name,
        format=recording.format if recording else None,
        start=recording.start if recording else None,
        problems=[problem.message for problem in reading.problems],
        columns=columns,
    )


@router.get(
    "/recordings/{recording_id}/columns.parquet",
    summary="Decoded signals as Parquet",
    response_class=Response,
    responses={
        200: {"content": {"application/vnd.apache.parquet": {}}, "description": "A table"},
        **declared(401, 403, 404, 422),
    },
)
def read_parquet(
    service: ServiceNow,
    subject: Reader,
    recording_id: RecordingId,
    member: Annotated[int, Query(ge=0, le=1000, description="Of a zip, which file.")] = 0,
) -> Response:
    """The same as one table."""
    readings = readings_of(service, subject, recording_id)
    recording = readings[member].recording if member < len(readings) else None
    if recording is None:
        raise NotHere
    return Response(parquet(recording, COLUMNS), media_type="application/vnd.apache.parquet")
