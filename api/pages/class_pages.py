"""Pages: the classes, one class, and what a coach does with it."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from starlette.datastructures import UploadFile

from api.classes import service as classes
from api.classes.endpoints import (
    ClassId,
    VisitId,
    class_answer,
    sheet_text,
    table_rows,
    visit_answer,
    wall_answer,
)
from api.http import (
    CursorNow,
    Reader,
    ServiceNow,
    Writer,
    page_of,
)
from api.pages.forms import FormNow, Text, go
from api.pages.templates import drawing, me_of, page, sheet_piece
from api.people.consents import BY_NAME
from api.people.sight import (
    visible_classes,
    visible_people,
    visible_plans,
    visible_recordings,
    visible_visits,
)
from api.people.subject import Subject
from api.plans.endpoints import plan_answer
from api.problems import (
    NotHere,
    NotReady,
    Refused,
    ServiceError,
)
from api.questions import service as questions
from api.questions.endpoints import decision_answer
from api.recordings.service import (
    recording_answer,
)
from api.results.service import seen_result, seen_sheets, state_answer
from api.service import Service
from api.sheet.words import STATUSES
from api.storage.model import (
    Plan,
    Recording,
    SignIn,
    TrainingClass,
)
from api.storage.moments import with_offset
from api.transfer.service import read_zip, take_in
from api.transfer.sheets import number_text, roster_sheet, score_sheet

router = APIRouter()


OUTCOMES = {"stands": "stands", "corrected": "was corrected", "set aside": "is set aside"}


@router.get("/classes")
def classes_page(
    request: Request, service: ServiceNow, subject: Reader, cursor: CursorNow = None
) -> Response:
    """Every class that the person may see."""
    with service.database.reading() as session:
        rows, following = page_of(session, visible_classes(subject), TrainingClass.id, cursor, 50)
        plans, _ = page_of(session, visible_plans(subject), Plan.id, None, 200)
        newest = rows[0].start if rows else datetime.now().astimezone()
        text = with_offset(newest, rows[0].start_offset_s if rows else 0).isoformat()[-6:]
        return page(
            request,
            "classes",
            me=me_of(session, subject),
            classes=[class_answer(session, subject, row) for row in rows],
            following=following,
            plans=[plan_answer(session, subject, row.id) for row in plans],
            offset=text,
        )


@router.post("/classes")
def make_class(
    service: ServiceNow,
    subject: Writer,
    plan_id: Annotated[str, Form()],
    start: Annotated[str, Form()],
    offset: Annotated[str, Form()],
    place: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make a class."""
    try:
        moment = datetime.fromisoformat(f"{start}{offset}")
    except ValueError as error:
        raise Refused("That is no time: write date, time and offset.") from error
    if moment.tzinfo is None or not 1990 <= moment.year < 2200:
        raise Refused("That is no time: write date, time and offset.")
    with service.database.writing() as session:
        found = classes.add_class(
            session, service, subject, plan_id=plan_id, start=moment, place=place,
            start_tolerance_s=600.0, starts={},
        )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{found.id}/roster")


@router.post("/class-folders")
def take_folder(service: ServiceNow, subject: Writer, form: FormNow) -> Response:
    """Make a class of a folder."""
    if not subject.coaches:
        raise NotHere
    sent = form.get("folder")
    if not isinstance(sent, UploadFile):
        raise Refused("Choose the zip of a class folder.")
    stated = [str(value) for value in form.getlist("stated") if value in BY_NAME]
    folder = read_zip(service, sent.file.read())
    with service.database.writing() as session:
        found = take_in(session, service, subject, folder, stated)
    service.work.wake()
    return go(f"/classes/{found.id}")


def class_values(session: Any, service: Service, subject: Subject, class_id: str) -> dict[str, Any]:
    """What a class's page shows to anybody who may see it."""
    found = classes.seen_class(session, subject, class_id)
    state = state_answer(session, found)
    rows = session.scalars(
        visible_recordings(subject)
        .where(Recording.class_id == class_id)
        .order_by(Recording.file)
        .limit(500)
    )
    try:
        sheet = seen_sheets(service, session, subject, class_id)
    except NotReady:
        sheet = None
    return {
        "me": me_of(session, subject),
        "found": class_answer(session, subject, found),
        "state": state,
        "fresh": state.state in ("done", "failed"),
        "files": [recording_answer(session, row) for row in rows],
        **sheet_piece(sheet),
    }


@router.get("/classes/{class_id}")
def class_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The class sheet to a coach, their own to an athlete."""
    with service.database.reading() as session:
        values = class_values(session, service, subject, class_id)
        if subject.coaches:
            values["questions"] = question_rows(session, subject, class_id)
            values["outcomes"] = OUTCOMES
            values["visits"] = session.scalars(
                visible_visits(subject, class_id).where(
                    SignIn.ended_at.is_(None), SignIn.confirmed_at.is_(None)
                )
            ).all()
            return page(request, "class_coach", **values)
        values["table"] = table_rows(session, subject, class_id)
        values["visiting"] = subject.visiting
        values["statuses"] = STATUSES | {"aligned": "it fits this class."}
        values["uploads"] = own_uploads(session, subject, class_id)
        return page(request, "class_athlete", **values)


def own_uploads(session: Any, subject: Subject, class_id: str) -> list[dict[str, Any]]:
    """What came of the person's uploads, as far as they may see."""
    try:
        document = seen_result(session, subject, class_id).document
    except NotReady:
        return []
    return [r for entry in document["athletes"] for r in entry["recordings"]]


def question_rows(session: Any, subject: Subject, class_id: str) -> list[dict[str, Any]]:
    """Scores to ask about, with words for a page."""
    try:
        document = seen_result(session, subject, class_id).document
    except NotReady:
        return []
    names = {person.handle: person.name for person in session.scalars(visible_people(subject))}
    decided = questions.standing_decisions(session, subject, class_id)
    rows = []
    for athlete, score in questions.open_questions(document):
        found = decided.get((athlete, score["block"]))
        reasons = score["explanations"]
        rows.append(
            {
                "athlete": athlete,
                "name": names.get(athlete, athlete),
                "block": score["block"],
                "logged": number_text(score["logged"]) or "nothing",
                "recorded": number_text(score["recorded"]) or "not known",
                "explanation": reasons[0]["text"] if reasons else "",
                "decision": decision_answer(*found) if found else None,
            }
        )
    return rows


@router.post("/classes/{class_id}/decisions")
def settle(
    service: ServiceNow,
    subject: Writer,
    class_id: ClassId,
    athlete: Annotated[str, Form(max_length=64)],
    block: Annotated[str, Form(max_length=200)],
    outcome: Annotated[str, Form()],
    reason: Annotated[str, Form(min_length=1, max_length=500)],
) -> Response:
    """Settle a question."""
    if outcome not in OUTCOMES:
        raise Refused("Say what becomes of the score.")
    with service.database.writing() as session:
        questions.decide(
            session, subject, class_id, athlete=athlete, block=block, outcome=outcome,
            reason=reason,
        )  # fmt: skip
    return go(f"/classes/{class_id}", "settled")


def drawn_sheet(
    request: Request, service: Service, subject: Subject, class_id: str, kind: str,
    text: str | None = None, problems: tuple[str, ...] = (), status: int = 200,
) -> Response:  # fmt: skip
    """Draw scores or roster as text to edit."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
        if text is None and kind == "scores":
            rows = classes.score_rows(session, subject, class_id, replaced=False)
            text = score_sheet(rows)
        elif text is None:
            text = roster_sheet(classes.roster_rows(session, subject, class_id))
        return page(
            request,
            "sheet_text",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            heading="Scores" if kind == "scores" else "Who took part",
            hint="What the athletes logged." if kind == "scores" else "One athlete a line.",
            text=text,
            problems=problems,
        )


@router.get("/classes/{class_id}/scores")
def scores_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The score sheet to edit."""
    return drawn_sheet(request, service, subject, class_id, "scores")


@router.post("/classes/{class_id}/scores")
def keep_scores(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, text: Text = ""
) -> Response:
    """Keep the score sheet."""
    try:
        with service.database.writing() as session:
            problems = classes.log_sheet(
                session, service, subject, class_id, sheet_text(text.encode())
            )
    except Refused as error:
        faults = tuple(f"{fault.where}: {fault.what}" for fault in error.faults)
        return drawn_sheet(
            request, service, subject, class_id, "scores", text, (error.detail, *faults), 422
        )
    service.work.wake()
    if problems:
        return drawn_sheet(request, service, subject, class_id, "scores", text, problems)
    return go(f"/classes/{class_id}", "kept")


@router.get("/classes/{class_id}/roster")
def roster_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The roster to edit."""
    return drawn_sheet(request, service, subject, class_id, "roster")


@router.post("/classes/{class_id}/roster")
def keep_roster(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, text: Text = ""
) -> Response:
    """Keep the roster."""
    if not subject.coaches:
        raise NotHere
    try:
        athletes, problems = classes.roster_text_of(sheet_text(text.encode()))
        with service.database.writing() as session:
            classes.set_roster(session, service, subject, class_id, athletes)
    except ServiceError as error:
        if isinstance(error, NotHere):
            raise
        faults = tuple(f"{fault.where}: {fault.what}" for fault in error.faults)
        return drawn_sheet(
            request, service, subject, class_id, "roster", text, (error.detail, *faults), 422
        )
    service.work.wake()
    if problems:
        return drawn_sheet(request, service, subject, class_id, "roster", text, problems)
    return go(f"/classes/{class_id}", "kept")


@router.get("/classes/{class_id}/wall")
def wall_code_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The code for the wall, and who came by it."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
        shown = wall_answer(request, service, found)
        visits = session.scalars(
            visible_visits(subject, class_id)
            .where(SignIn.ended_at.is_(None))
            .order_by(SignIn.id.desc())
            .limit(200)
        )
        return page(
            request,
            "wall_code",
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            url=shown.url,
            svg=drawing(shown.svg),
            warning=service.settings.address_warning,
            visits=[visit_answer(session, visit) for visit in visits],
        )


@router.post("/classes/{class_id}/wall")
def new_code(service: ServiceNow, subject: Writer, class_id: ClassId) -> Response:
    """Take a new code."""
    with service.database.writing() as session:
        classes.new_wall_code(session, subject, class_id)
    return go(f"/classes/{class_id}/wall", "kept")


@router.post("/classes/{class_id}/visits/{visit_id}/confirm")
def confirm(service: ServiceNow, subject: Writer, class_id: ClassId, visit_id: VisitId) -> Response:
    """The coach's word."""
    with service.database.writing() as session:
        classes.led_class(session, subject, class_id)
        classes.confirm_visit(session, subject, class_id, visit_id)
    return go(f"/classes/{class_id}/wall", "confirmed")
