"""Pages: files that another app on a phone hands over, and how to bring one from anywhere.

The manifest names the share target (W3C Web Share Target API, Level 2): a phone on which these
pages are installed then offers them wherever a file is shared.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from api.classes.endpoints import class_answer
from api.classes.schemas import ClassAnswer
from api.http import Reader, Sender, ServiceNow, language_of
from api.language import deferred
from api.pages.forms import FormNow, go
from api.pages.templates import me_of, page
from api.people.sight import visible_classes
from api.people.subject import Subject
from api.problems import NotHere, Refused
from api.recordings.columns import read_private
from api.recordings.files import SentFile, plain_name
from api.recordings.shared import drop_shared, hold, shared_files
from api.service import Service
from api.storage.model import TrainingClass

router = APIRouter()

SHARE = "/share"
LATEST = 8
# A recording that begins this long before a class, or after it, may still be of it.
NEAR = (timedelta(hours=-2), timedelta(hours=3))
INK, PAPER = "#15181c", "#fdfcf8"
NO_FILE = deferred("No file came along: share the recording itself, not a picture of it.")


@dataclass(frozen=True)
class Offered:
    """A class to choose, and whether the shared files were recorded around then."""

    found: ClassAnswer
    near: bool


@router.get("/manifest.webmanifest")
def manifest(request: Request) -> Response:
    """What an installed page is called, how it looks, and what may be shared to it."""
    say = language_of(request).text
    icons = [
        {"src": f"/static/icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png",
         "purpose": purpose}
        for size in (192, 512)
        for purpose in ("any", "maskable")
    ]  # fmt: skip
    icons.append({"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml"})
    described = {
        "id": "/",
        "name": "intervouch",
        "short_name": "intervouch",
        "description": say("Your class: what was planned, logged and recorded"),
        "lang": language_of(request).code,
        "start_url": "/classes",
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": icons,
        "share_target": {
            "action": SHARE,
            "method": "POST",
            "enctype": "multipart/form-data",
            "params": {
                "files": [
                    {
                        "name": "files",
                        "accept": [
                            ".fit", ".tcx", ".gpx", ".csv", ".gz", ".zip", "text/csv",
                            "application/gpx+xml", "application/xml", "text/xml",
                            "application/zip", "application/gzip", "application/octet-stream",
                        ],
                    }
                ]
            },
        },
    }  # fmt: skip
    return JSONResponse(
        described,
        media_type="application/manifest+json",
        headers={"Cache-Control": "max-age=300", "Vary": "Accept-Language, Cookie"},
    )


@router.post(SHARE)
def take_shared(service: ServiceNow, subject: Sender, form: FormNow) -> Response:
    """Hold what another app hands over, and ask which class it is of."""
    files = [
        SentFile(file.filename, file.file.read())
        for file in form.getlist("files")
        if isinstance(file, UploadFile) and file.filename
    ]
    if not files:
        raise Refused(NO_FILE, code="no_file")
    hold(service, subject, files)
    return go(SHARE)


@router.get(SHARE)
def share_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """Which class the shared files are of; the likeliest stands first."""
    files = shared_files(service, subject)
    begun = [start for file in files for start in starts_of(service, subject, file)]
    with service.database.reading() as session:
        return page(
            request,
            "share",
            me=me_of(session, subject),
            files=[plain_name(file.name) for file in files],
            offered=offered_classes(session, subject, begun),
        )


@router.post(f"{SHARE}/drop")
def drop(service: ServiceNow, subject: Sender) -> Response:
    """Forget what was handed over."""
    if subject.visiting:
        raise NotHere
    drop_shared(service, subject)
    return go("/classes", "deleted")


def starts_of(service: Service, subject: Subject, file: SentFile) -> list[datetime]:
    """When the recordings in a file begin, of those that have a date."""
    readings = read_private(service.keys, subject.gym_id, file.data, plain_name(file.name))
    return [
        reading.recording.start
        for reading in readings
        if reading.recording is not None and reading.recording.start is not None
    ]


def offered_classes(session: Session, subject: Subject, begun: list[datetime]) -> list[Offered]:
    """The person's latest classes and those around the recordings, the likeliest first."""
    classes = visible_classes(subject)
    found = {
        row.id: row
        for row in session.scalars(classes.order_by(TrainingClass.start.desc()).limit(LATEST))
    }
    near: dict[str, timedelta] = {}
    for start in begun:
        for row in classes_around(session, subject, start):
            found[row.id] = row
            near[row.id] = min(near.get(row.id, NEAR[1]), abs(row.start - start))
    ranked = sorted(
        found.values(),
        key=lambda row: (near.get(row.id, timedelta.max), -row.start.timestamp()),
    )
    return [Offered(class_answer(session, subject, row), row.id in near) for row in ranked]


def classes_around(session: Session, subject: Subject, start: datetime) -> list[TrainingClass]:
    """The person's classes that a recording may be of that begins then."""
    around = visible_classes(subject).where(
        TrainingClass.start.between(start - NEAR[1], start - NEAR[0])
    )
    return list(session.scalars(around.order_by(TrainingClass.start).limit(LATEST)))


@router.get("/bring-a-file")
def bring_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """How to save a recording where it was made, and bring it here."""
    with service.database.reading() as session:
        return page(request, "bring_a_file", me=me_of(session, subject))
