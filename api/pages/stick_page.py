"""Pages: many machine files at once, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer
from api.http import Reader, Sender, ServiceNow, language_of
from api.language import deferred
from api.pages.class_page import sheet_values
from api.pages.class_words import in_hundred
from api.pages.forms import FormNow
from api.pages.templates import me_of, page
from api.people.subject import Subject
from api.problems import NotHere, ServiceError
from api.recordings.files import SentFile, plain_name
from api.recordings.schemas import Outcome
from api.recordings.service import receive
from api.results.service import state_answer
from api.service import Service
from api.sheet import words

router = APIRouter()

SOURCES = {
    "rower": deferred("rowers"),
    "ski": deferred("ski machines"),
    "bike": deferred("bikes"),
}
BECAME = {
    "stored": deferred("kept"),
    "already there": deferred("was here already"),
    "refused": deferred("not taken"),
}


@dataclass(frozen=True)
class Arrival:
    """What became of a file: as it was called, the outcome's code, and why where not taken."""

    sent_as: str
    outcome: str
    why: str
    kept_as: str | None


@router.get("/classes/{class_id}/stick")
def stick_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """Where many files go in at once, and every file that is here; a coach's."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        return drawn(request, session, subject, class_id)


@router.post("/classes/{class_id}/stick")
def take_stick(
    request: Request, service: ServiceNow, subject: Sender, class_id: ClassId, form: FormNow
) -> Response:
    """Take every file that can be taken; whose it is, its name or its content says."""
    if not subject.coaches:
        raise NotHere
    source = str(form.get("source") or "")
    arrivals = [
        arrival(
            service, subject, class_id, SentFile(file.filename, file.file.read()),
            source if source in SOURCES else None,
        )
        for file in form.getlist("files")
        if isinstance(file, UploadFile) and file.filename
    ]  # fmt: skip
    with service.database.reading() as session:
        return drawn(request, session, subject, class_id, arrivals)


def arrival(
    service: Service, subject: Subject, class_id: str, sent: SentFile, source: str | None
) -> Arrival:
    """Take one file; whatever is wrong with it keeps no other from being taken."""
    try:
        (outcome,) = receive(service, subject, class_id, [sent], athletes=None, source=source)
    except NotHere:
        raise
    except ServiceError as error:
        return Arrival(plain_name(sent.name), "refused", error.detail, None)
    return arrived(outcome)


def arrived(outcome: Outcome) -> Arrival:
    """What became of a file that could be looked at."""
    return Arrival(
        outcome.sent_as,
        outcome.outcome,
        outcome.detail if outcome.outcome == "refused" else "",
        outcome.recording.file if outcome.recording else None,
    )


def drawn(
    request: Request,
    session: Session,
    subject: Subject,
    class_id: str,
    arrivals: Sequence[Arrival] = (),
) -> Response:
    """Draw the page."""
    found = classes.seen_class(session, subject, class_id)
    language = language_of(request)
    state = state_answer(session, found)
    return page(
        request,
        "stick",
        me=me_of(session, subject),
        found=class_answer(session, subject, found),
        state=state,
        fresh=state.state in ("done", "failed"),
        arrivals=arrivals,
        became=BECAME,
        sources=SOURCES,
        words=words,
        in_hundred=lambda probability: in_hundred(language, probability),
        **sheet_values(session, subject, class_id),
    )
