"""Pages: files and score from a phone."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData, UploadFile

from api.classes import service as classes
from api.classes import taking_part
from api.classes.endpoints import ClassId, class_answer
from api.http import Sender, ServiceNow, language_of
from api.language import deferred
from api.pages import own_words
from api.pages.forms import FormNow, go
from api.pages.own_sheet_page import sheet_address
from api.pages.score_form import (
    Typed,
    faults_of,
    logged_of_form,
    score_fields,
    typed_before,
    typed_now,
)
from api.pages.templates import me_of, page
from api.people import service as people
from api.people.consents import BY_NAME, answer_of
from api.people.subject import Subject
from api.problems import NotHere
from api.recordings.endpoints import RecordingId
from api.recordings.files import SentFile
from api.recordings.schemas import Outcome
from api.recordings.service import (
    delete_recording,
    move_recording,
    receive,
    seen_recording,
)
from api.recordings.shared import drop_shared, shared_files
from api.service import Service
from api.storage.model import Score
from reconcile.plan import Plan

router = APIRouter()

SOURCES = {
    "watch": deferred("a watch or strap"),
    "rower": deferred("a rower"),
    "ski": deferred("a ski machine"),
    "bike": deferred("a bike"),
}
NOTHING = deferred("Nothing was sent: choose a file, or write down your score.")


@router.get("/classes/{class_id}/upload")
def upload_page(
    request: Request, service: ServiceNow, subject: Sender, class_id: ClassId
) -> Response:
    """Files and score, on one page."""
    return drawn_upload(request, service, subject, class_id)


def drawn_upload(
    request: Request, service: Service, subject: Subject, class_id: str, *, status: int = 200,
    typed: dict[str, Typed] | None = None, outcomes: tuple[Outcome, ...] = (), nothing: str = "",
) -> Response:  # fmt: skip
    """Draw the page for uploads; typed: what was sent and cannot be taken as it is."""
    language = language_of(request)
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
        plan = classes.class_plan(session, found)
        roster = taking_part.roster_rows(session, subject, class_id)
        own = next((row for row, person in roster if person.id == subject.person_id), None)
        takes_part = own is not None or not subject.coaches
        before = typed_before(language, plan, own_rows(session, subject, class_id))
        sex = own.sex if own is not None else None
        asked = answer_of(session, subject.person_id, "recordings")
        return page(
            request,
            "upload",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            consent=None if asked or not takes_part else BY_NAME["recordings"],
            sources=SOURCES,
            athletes=[(person.handle, person.name) for _, person in roster],
            fields=score_fields(plan, before if typed is None else typed, sex)  # type: ignore[arg-type]
            if may_log(session, subject, class_id, takes_part=takes_part)
            else (),
            options=plan.options,
            machines=own_words.MACHINES,
            measures=own_words.MEASURES,
            takes=own_words.TAKES,
            outcomes=outcomes,
            nothing=nothing,
            shared=[file.name for file in shared_files(service, subject)],
            sheet=sheet_address(subject, class_id),
        )


def own_rows(session: Session, subject: Subject, class_id: str) -> list[Score]:
    """The person's own score rows that stand."""
    rows = classes.score_rows(session, subject, class_id, replaced=False)
    return [row for row, handle in rows if handle == subject.handle]


def may_log(session: Session, subject: Subject, class_id: str, *, takes_part: bool) -> bool:
    """Whether the person may log a score of their own: a visitor only the first one."""
    return takes_part and not (subject.visiting and has_score(session, subject, class_id))


def has_score(session: Session, subject: Subject, class_id: str) -> bool:
    """Whether somebody has logged a score for the person already; the score itself stays unseen."""
    rows = session.query(Score.id).filter_by(class_id=class_id, person_id=subject.person_id)
    return rows.first() is not None


@router.post("/classes/{class_id}/upload")
def upload(
    request: Request, service: ServiceNow, subject: Sender, class_id: ClassId, form: FormNow
) -> Response:
    """Take files and score; then at once the person's own sheet."""
    language = language_of(request)
    with service.database.reading() as session:
        plan = classes.class_plan(session, classes.seen_class(session, subject, class_id))
    typed = checked(typed_now(form, plan), plan)
    if any(each.wrong for each in typed.values()):
        return drawn_upload(request, service, subject, class_id, status=422, typed=typed)
    if form.get("agreed"):
        people.settle_consent(
            service, subject, purpose="recordings", version=BY_NAME["recordings"].version,
            agreed=True,
        )  # fmt: skip
    sent = sent_files(service, subject, form)
    source = str(form.get("source") or "") or None
    if source not in (None, *SOURCES):
        raise NotHere
    athlete = str(form.get("athlete") or "")
    outcomes: list[Outcome] = []
    if sent:
        outcomes = receive(
            service, subject, class_id, sent, athletes=[athlete] if athlete else None,
            source=source,
        )  # fmt: skip
        if form.get("shared"):
            drop_shared(service, subject)
    scores = logged_of_form(language, plan, typed, subject.handle)
    with service.database.writing() as session:
        for logged in scores:
            whole = classes.checked_score(plan, logged)
            classes.log_score(session, service, subject, class_id, subject.handle, whole)
    service.work.wake()
    refused = tuple(outcome for outcome in outcomes if outcome.outcome == "refused")
    if refused or not (sent or scores):
        return drawn_upload(
            request, service, subject, class_id, status=422, outcomes=refused,
            nothing="" if refused else NOTHING,
        )  # fmt: skip
    held = bool(outcomes) and all(outcome.outcome == "already there" for outcome in outcomes)
    own = scores or not subject.coaches
    address = sheet_address(subject, class_id) if own else f"/classes/{class_id}"
    return go(address, "held" if held and not scores else "sent")


def checked(typed: dict[str, Typed], plan: Plan) -> dict[str, Typed]:
    """What was typed with what is wrong in it."""
    blocks = {block.name: block for block in plan.timed_blocks}
    return {
        name: replace(each, wrong=faults_of(blocks[name], each)) for name, each in typed.items()
    }


def sent_files(service: Service, subject: Subject, form: FormData) -> list[SentFile]:
    """The files of a form, and those that another app on the phone handed over before."""
    sent = [
        SentFile(file.filename, file.file.read())
        for file in form.getlist("files")
        if isinstance(file, UploadFile) and file.filename
    ]
    return sent + (shared_files(service, subject) if form.get("shared") else [])


@router.post("/recordings/{recording_id}/delete")
def delete(service: ServiceNow, subject: Sender, recording_id: RecordingId) -> Response:
    """Delete a recording."""
    with service.database.reading() as session:
        class_id = seen_recording(session, subject, recording_id).class_id
    delete_recording(service, subject, recording_id)
    return go(f"/classes/{class_id}", "deleted")


@router.post("/recordings/{recording_id}/move")
def move(
    service: ServiceNow,
    subject: Sender,
    recording_id: RecordingId,
    class_id: Annotated[str, Form(pattern="^[0-9a-f]{32}$")],
) -> Response:
    """Move a recording of one's own to the class that it is of."""
    move_recording(service, subject, recording_id, class_id)
    return go(sheet_address(subject, class_id), "sent")
