"""Pages: files and score from a phone."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.datastructures import FormData, UploadFile

from api.classes import service as classes
from api.classes.endpoints import (
    ClassId,
    class_answer,
)
from api.folder.sheets import read_number, read_seconds
from api.http import (
    Sender,
    ServiceNow,
)
from api.pages.forms import FormNow, go
from api.pages.templates import me_of, page
from api.people import service as people
from api.people.consents import BY_NAME, answer_of
from api.people.subject import Subject
from api.problems import (
    Fault,
    NotHere,
    Refused,
)
from api.recordings.endpoints import RecordingId
from api.recordings.service import (
    SentFile,
    delete_recording,
    receive,
    seen_recording,
)
from api.service import Service
from api.storage.model import (
    Score,
)
from api.transfer.sheets import number_text
from reconcile.classes import LoggedScore
from reconcile.plan import Plan as PlanValue

router = APIRouter()


SOURCES = (("watch", "a watch or strap"), ("rower", "a rower"), ("ski", "a ski machine"),
           ("bike", "a bike"))  # fmt: skip


@router.get("/classes/{class_id}/upload")
def upload_page(
    request: Request, service: ServiceNow, subject: Sender, class_id: ClassId
) -> Response:
    """Files and score, on one page."""
    return drawn_upload(request, service, subject, class_id)


def drawn_upload(
    request: Request, service: Service, subject: Subject, class_id: str, status: int = 200,
    **values: Any,
) -> Response:  # fmt: skip
    """Draw the page for uploads."""
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
        plan = classes.class_plan(session, found)
        logged = {
            row.block: row
            for row, handle in classes.score_rows(session, subject, class_id, replaced=False)
            if handle == subject.handle
        }
        asked = answer_of(session, subject.person_id, "recordings")
        roster = classes.roster_rows(session, subject, class_id)
        return page(
            request,
            "upload",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            consent=None if asked or subject.coaches else BY_NAME["recordings"],
            sources=SOURCES,
            athletes=[(person.handle, person.name) for _, person in roster],
            blocks=score_fields(plan, logged),
            options=plan.options,
            may_log=not subject.visiting or not has_score(session, subject, class_id),
            outcomes=values.pop("outcomes", ()),
            **values,
        )


def has_score(session: Any, subject: Subject, class_id: str) -> bool:
    """Whether somebody has logged a score for the person already; the score itself stays unseen."""
    rows = session.query(Score.id).filter_by(class_id=class_id, person_id=subject.person_id)
    return rows.first() is not None


def score_fields(plan: PlanValue, logged: dict[str | None, Score]) -> list[dict[str, Any]]:
    """The scored blocks with what is logged so far."""
    fields = []
    for block in plan.timed_blocks:
        if block.score is None:
            continue
        row = logged.get(block.name)
        values = list(row.rounds or ()) if row is not None else []
        texts = [number_text(value) for value in values[: block.rounds]]
        fields.append(
            {
                "name": block.name,
                "measure": block.score.measure,
                "take": block.score.take,
                "rounds": block.rounds,
                "by_round": texts + [""] * (block.rounds - len(texts)),
                "score": number_text(row.score) if row is not None else "",
                "option": row.option if row is not None else None,
                "equipment": row.equipment if row is not None else None,
                "load": number_text(row.load_kg) if row is not None else "",
                "notes": row.notes if row is not None else "",
            }
        )
    return fields


@router.post("/classes/{class_id}/upload")
def upload(
    request: Request, service: ServiceNow, subject: Sender, class_id: ClassId, form: FormNow
) -> Response:
    """Take files and score; then at once the person's own sheet."""
    with service.database.reading() as session:
        plan = classes.class_plan(session, classes.seen_class(session, subject, class_id))
    if form.get("agreed"):
        with service.database.writing() as session:
            people.answer_consent(
                session, subject, purpose="recordings", agreed=True,
                version=BY_NAME["recordings"].version,
            )  # fmt: skip
    sent = [
        SentFile(file.filename, file.file.read())
        for file in form.getlist("files")
        if isinstance(file, UploadFile) and file.filename
    ]
    source = str(form.get("source") or "") or None
    if source not in (None, *dict(SOURCES)):
        raise NotHere
    athlete = str(form.get("athlete") or "")
    outcomes = []
    if sent:
        outcomes = receive(
            service, subject, class_id, sent, athletes=[athlete] if athlete else None,
            source=source,
        )  # fmt: skip
    if not subject.coaches:
        with service.database.writing() as session:
            for logged in sent_scores(form, plan, subject.handle):
                checked = classes.checked_score(plan, logged)
                classes.log_score(session, service, subject, class_id, subject.handle, checked)
    service.work.wake()
    refused = [outcome for outcome in outcomes if outcome.outcome == "refused"]
    if refused:
        return drawn_upload(
            request, service, subject, class_id, 422, outcomes=refused, said="", wrong=True
        )
    return go(f"/classes/{class_id}", "sent")


def sent_scores(form: FormData, plan: PlanValue, handle: str) -> list[LoggedScore]:
    """The scores that a form holds; raises Refused for what is no number."""
    found = []
    for block in plan.timed_blocks:
        if block.score is None:
            continue
        in_seconds = block.score.measure == "seconds"

        def said(name: str, block_name: str = block.name) -> str:
            return str(form.get(f"{name}.{block_name}") or "").strip()

        values = [str(value).strip() for value in form.getlist(f"round.{block.name}")]
        rounds = tuple(sent_number(text, seconds=in_seconds) for text in values if text)
        score = sent_number(said("score"), seconds=in_seconds)
        load_kg = sent_number(said("load"))
        equipment = said("equipment")
        if equipment not in ("", "rower", "ski", "bike", "none"):
            raise Refused("There is no such machine.")
        if not any((said("score"), rounds, said("notes"), said("option"), equipment)):
            continue
        found.append(
            LoggedScore(
                athlete=handle,
                block=block.name,
                option=said("option") or None,
                equipment=equipment or None,  # type: ignore[arg-type]
                score=score,
                rounds=tuple(value for value in rounds if value is not None) or None,
                load_kg=load_kg,
                notes=said("notes")[:2000],
            )
        )
    return found


def sent_number(text: str, *, seconds: bool = False) -> float | None:
    """A number as typed; None where blank; raises Refused for what is none."""
    if not text:
        return None
    value = read_seconds(text) if seconds else read_number(text)
    if value is None or not 0 <= value <= 1_000_000:
        what = "A score is a number, such as 57 or 12.5."
        raise Refused(what, faults=[Fault("score", what, "number")])
    return round(value, 6)


@router.post("/recordings/{recording_id}/delete")
def delete(service: ServiceNow, subject: Sender, recording_id: RecordingId) -> Response:
    """Delete a recording."""
    with service.database.reading() as session:
        class_id = seen_recording(session, subject, recording_id).class_id
    delete_recording(service, subject, recording_id)
    return go(f"/classes/{class_id}", "deleted")
