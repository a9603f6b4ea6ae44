"""Pages over HTTP: what the API can do, for people with a browser. They work without scripts."""

from __future__ import annotations

import hashlib
import importlib.resources
from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData, UploadFile

from api.addresses import link_address, public_address
from api.classes import service as classes
from api.classes.endpoints import (
    ClassId,
    VisitId,
    WallCode,
    class_answer,
    sheet_text,
    table_rows,
    visit_answer,
    wall_answer,
)
from api.folder.sheets import read_number, read_seconds
from api.http import (
    COOKIE,
    CursorNow,
    Keeper,
    Reader,
    Sender,
    ServiceNow,
    Writer,
    from_this_site,
    page_of,
)
from api.pages.plan_drawing import drawn_plan
from api.pages.templates import drawing, me_of, page, sheet_piece
from api.people import service as people
from api.people.codes import code_svg
from api.people.consents import BY_NAME, answer_of
from api.people.endpoints import (
    PersonId,
    consent_list,
    machine_of,
    person_answer,
    set_cookie,
)
from api.people.erasure import erase_person
from api.people.schemas import PurposeName
from api.people.sight import (
    visible_audit,
    visible_classes,
    visible_people,
    visible_plans,
    visible_recordings,
    visible_visits,
)
from api.people.signing_in import (
    check_password,
    close_sign_in,
    live_link,
    open_sign_in,
    subject_by_sign_in,
    use_link,
    wall_class,
    wall_people,
)
from api.people.subject import ROLES, Subject
from api.plans.endpoints import PlanId, plan_answer
from api.plans.service import add_plan, edit_plan, newest_version, plan_of
from api.problems import (
    CrossSite,
    Fault,
    NotHere,
    NotReady,
    NotSignedIn,
    Refused,
    ServiceError,
)
from api.questions import service as questions
from api.questions.endpoints import decision_answer
from api.recordings.endpoints import RecordingId
from api.recordings.service import (
    SentFile,
    delete_recording,
    receive,
    recording_answer,
    seen_recording,
)
from api.results.service import seen_result, seen_sheets, state_answer
from api.service import Service
from api.sheet.words import STATUSES
from api.storage.model import (
    Audit,
    Gym,
    Person,
    Plan,
    PlanVersion,
    Recording,
    Score,
    SignIn,
    TrainingClass,
)
from api.storage.moments import with_offset
from api.transfer.service import read_zip, take_in
from api.transfer.sheets import number_text, roster_sheet, score_sheet
from reconcile.classes import LoggedScore
from reconcile.plan import Plan as PlanValue

router = APIRouter()

OUTCOMES = {"stands": "stands", "corrected": "was corrected", "set aside": "is set aside"}
SOURCES = (("watch", "a watch or strap"), ("rower", "a rower"), ("ski", "a ski machine"),
           ("bike", "a bike"))  # fmt: skip
NEW_PLAN = """\
title: A new plan
options: [prescribed, lighter]
blocks:
  - name: main
    rounds: 4
    steps:
      - work: 90s
        tasks:
          - {movement: box step-up, reps: 12, height_cm: 40}
          - {movement: machine, most: calories, intended: 30s..50s}
      - rest: 90s
    score: {measure: calories, take: total}
"""
STATIC = {"page.css": "text/css", "progress.js": "text/javascript"}


async def form_of(request: Request) -> AsyncIterator[FormData]:
    """The form that was sent, whatever its fields; its files are closed after the answer."""
    async with request.form(max_files=200, max_fields=2000) as form:
        yield form


FormNow = Annotated[FormData, Depends(form_of)]
Text = Annotated[str, Form(max_length=100_000)]


def go(address: str, said: str = "") -> Response:
    """Go on to a page, which says what was done."""
    return RedirectResponse(f"{address}?said={said}" if said else address, status_code=303)


def page_error(request: Request, error: ServiceError, status: int) -> Response:
    """Tell an error as a page; whoever is not signed in is asked to."""
    if isinstance(error, NotSignedIn) and not request.url.path.startswith("/sign-in"):
        return go("/sign-in")
    return page(
        request, "error", status=status, title=error.title, detail=error.detail,
        faults=error.faults,
    )  # fmt: skip


@router.get("/static/{name}")
def static(name: str) -> Response:
    """The pages' own style and script."""
    if name not in STATIC:
        raise NotHere
    text = (importlib.resources.files("api.pages") / "static" / name).read_text("utf-8")
    etag = f'"{hashlib.sha256(text.encode()).hexdigest()[:16]}"'
    return Response(
        text, media_type=STATIC[name], headers={"ETag": etag, "Cache-Control": "max-age=300"}
    )


@router.get("/")
def beginning(request: Request) -> Response:
    """To the classes, or to the sign-in."""
    return go("/classes" if request.cookies.get(COOKIE) else "/sign-in")


# ---- signing in


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    """Ask for mail and password."""
    return page(request, "sign_in")


@router.post("/sign-in")
def sign_in(
    request: Request,
    service: ServiceNow,
    mail: Annotated[str, Form(max_length=254)],
    password: Annotated[str, Form(max_length=200)],
) -> Response:
    """Sign in, or ask again."""
    if not from_this_site(request, service):
        raise CrossSite
    try:
        person_id = check_password(
            service, mail=mail, password=password, machine=machine_of(request)
        )
    except NotSignedIn:
        return go("/sign-in", "wrong-password")
    with service.database.writing() as session:
        secret = open_sign_in(session, service, person_id=person_id)
    answer = go("/classes")
    set_cookie(request, answer, service, secret)
    return answer


@router.post("/sign-out")
def sign_out(service: ServiceNow, subject: Reader) -> Response:
    """Sign out here."""
    with service.database.writing() as session:
        close_sign_in(session, subject)
    answer = go("/sign-in", "signed-out")
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.get("/in/{secret}")
def link_page(request: Request, service: ServiceNow, secret: str) -> Response:
    """Say whom the link is for; looking does not use it up."""
    with service.database.reading() as session:
        link = live_link(session, secret)
        person = session.get_one(Person, link.person_id)
        gym = session.get_one(Gym, link.gym_id).name
        return page(request, "link", name=person.name, gym=gym, invite=link.kind == "invite")


@router.post("/in/{secret}")
def link_used(
    request: Request,
    service: ServiceNow,
    secret: str,
    password: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Use the link up."""
    if not from_this_site(request, service):
        raise CrossSite
    with service.database.writing() as session:
        link = use_link(session, secret)
        if link.kind == "invite":
            people.set_password(session, link.person_id, password)
        cookie = open_sign_in(session, service, person_id=link.person_id)
    answer = go("/classes")
    set_cookie(request, answer, service, cookie)
    return answer


def when(found: TrainingClass) -> str:
    """When a class was, in words."""
    return with_offset(found.start, found.start_offset_s).strftime("%d %B %Y, %H:%M")


@router.get("/wall/{code}")
def wall_page(request: Request, service: ServiceNow, code: WallCode) -> Response:
    """The names to pick from."""
    with service.database.reading() as session:
        found = wall_class(session, code)
        names = [(person.handle, person.name) for person in wall_people(session, found.id)]
        title = session.get_one(PlanVersion, found.plan_version_id).title
        return page(request, "wall", title=title, when=when(found), athletes=names)


@router.post("/wall/{code}")
def wall_picked(
    request: Request, service: ServiceNow, code: WallCode, athlete: Annotated[str, Form()]
) -> Response:
    """Sign in for this class."""
    if not from_this_site(request, service):
        raise CrossSite
    with service.database.writing() as session:
        found = wall_class(session, code)
        person = next((p for p in wall_people(session, found.id) if p.handle == athlete), None)
        if person is None:
            raise NotHere
        kept = request.cookies.get(COOKIE)
        if kept and signed_in_as(service, kept, person.id):
            return go(f"/classes/{found.id}/upload")
        secret = open_sign_in(session, service, person_id=person.id, visit_class_id=found.id)
    answer = go(f"/classes/{found.id}/upload")
    set_cookie(request, answer, service, secret)
    return answer


def signed_in_as(service: Service, cookie: str, person_id: str) -> bool:
    """Whether a phone is this person's already, and needs no visit."""
    with service.database.reading() as session:
        try:
            subject = subject_by_sign_in(session, cookie)
        except NotSignedIn:
            return False
    return subject.person_id == person_id and not subject.visiting


# ---- classes


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


# ---- upload and score


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


# ---- sheets of a coach


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


# ---- plans


@router.get("/plans")
def plans_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """Every plan that the person may see."""
    with service.database.reading() as session:
        rows, _ = page_of(session, visible_plans(subject), Plan.id, None, 200)
        return page(
            request,
            "plans",
            me=me_of(session, subject),
            plans=[plan_answer(session, subject, row.id) for row in rows],
        )


def drawn_plan_page(
    request: Request, service: Service, subject: Subject, text: str, title: str,
    status: int = 200, **values: Any,
) -> Response:  # fmt: skip
    """Draw a plan's text with its timeline, or with its mistakes."""
    faults: tuple[Fault, ...] = ()
    drawn = None
    try:
        drawn = drawn_plan(plan_of(text))
    except Refused as error:
        faults = error.faults
    with service.database.reading() as session:
        me = me_of(session, subject)
    return page(
        request, "plan", me=me, text=text, title=title, drawn=drawn, faults=faults,
        status=status, **{"versions": 0, "version": 0, **values},
    )  # fmt: skip


@router.get("/plans/new")
def new_plan_page(request: Request, service: ServiceNow, subject: Writer) -> Response:
    """A plan to begin with."""
    if not subject.coaches:
        raise NotHere
    return drawn_plan_page(request, service, subject, NEW_PLAN, "A new plan")


@router.post("/plans/new")
def make_plan(
    request: Request,
    service: ServiceNow,
    subject: Writer,
    text: Text = "",
    do: Annotated[str, Form()] = "keep",
) -> Response:
    """Keep a new plan, or draw it."""
    if not subject.coaches:
        raise NotHere
    text = text.replace("\r\n", "\n")
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, "A new plan")
    try:
        with service.database.writing() as session:
            row, _ = add_plan(
                session, gym_id=subject.gym_id, maker_id=subject.person_id,
                actor=subject.audit_mark, text=text,
            )  # fmt: skip
    except Refused:
        return drawn_plan_page(request, service, subject, text, "A new plan", 422)
    return go(f"/plans/{row.id}", "kept")


@router.get("/plans/{plan_id}")
def plan_page(request: Request, service: ServiceNow, subject: Reader, plan_id: PlanId) -> Response:
    """A plan: its timeline, and for a coach its text to edit."""
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
    return drawn_plan_page(
        request, service, subject, found.text, found.title, versions=found.versions,
        version=found.version,
    )  # fmt: skip


@router.post("/plans/{plan_id}")
def keep_plan(
    request: Request,
    service: ServiceNow,
    subject: Writer,
    plan_id: PlanId,
    text: Text = "",
    do: Annotated[str, Form()] = "keep",
) -> Response:
    """Keep a new version, or draw it."""
    text = text.replace("\r\n", "\n")
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
        before = newest_version(session, plan_id).text
    if not subject.coaches:
        raise NotHere
    versions = {"versions": found.versions, "version": found.version}
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, found.title, **versions)
    try:
        with service.database.writing() as session:
            # A browser's form changes nothing but line ends; that is no new version.
            same = text.rstrip("\n") == before.rstrip("\n")
            edit_plan(session, service, subject, plan_id, before if same else text)
    except Refused:
        return drawn_plan_page(request, service, subject, text, found.title, 422, **versions)
    service.work.wake()
    return go(f"/plans/{plan_id}", "kept")


# ---- people and the gym


@router.get("/you")
def you_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """What the person agreed to, and everything of theirs."""
    with service.database.reading() as session:
        person = session.get_one(Person, subject.person_id)
        return page(
            request,
            "you",
            me=me_of(session, subject),
            person=person_answer(session, subject, person),
            gym=session.get_one(Gym, subject.gym_id).name,
            consents=consent_list(session, person.id).items,
        )


@router.post("/you/consents/{purpose}")
def answer(
    service: ServiceNow,
    subject: Sender,
    purpose: PurposeName,
    version: Annotated[int, Form(ge=1, le=1000)],
    agreed: Annotated[str, Form()],
) -> Response:
    """Agree, or take it back."""
    people.settle_consent(
        service, subject, purpose=purpose, version=version, agreed=agreed == "yes"
    )
    return go("/you", "kept")


@router.post("/you/sign-outs")
def sign_out_everywhere(service: ServiceNow, subject: Keeper) -> Response:
    """Sign out everywhere."""
    with service.database.writing() as session:
        people.end_sign_ins(session, subject, subject.person_id)
    return go("/sign-in", "signed-out")


@router.post("/you/erasure")
def erase_me(service: ServiceNow, subject: Keeper, sure: Annotated[str, Form()] = "") -> Response:
    """Erase the person who asks."""
    if sure != "erase":
        return go("/you", "sure")
    erase_person(service, subject, subject.person_id)
    return go("/sign-in", "erased")


@router.get("/people")
def people_page(
    request: Request, service: ServiceNow, subject: Keeper, cursor: CursorNow = None
) -> Response:
    """The gym's people."""
    return drawn_people(request, service, subject, cursor=cursor)


def drawn_people(
    request: Request, service: Service, subject: Subject, *, cursor: str | None = None,
    link: dict[str, Any] | None = None,
) -> Response:  # fmt: skip
    """Draw the gym's people, and a link just made."""
    if not (subject.coaches or subject.owns):
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, visible_people(subject), Person.id, cursor, 200)
        return page(
            request,
            "people",
            me=me_of(session, subject),
            people=[person_answer(session, subject, row) for row in rows],
            following=following,
            link=link,
        )


@router.post("/people")
def add_person(
    service: ServiceNow,
    subject: Keeper,
    name: Annotated[str, Form(min_length=1, max_length=200)],
    handle: Annotated[str, Form(pattern=r"^([A-Za-z0-9][A-Za-z0-9_-]{0,63})?$")] = "",
    role: Annotated[str, Form()] = "athlete",
    mail: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Add somebody: a coach an athlete, an owner anybody."""
    if role not in ROLES or not (subject.owns or (subject.coaches and role == "athlete")):
        raise NotHere
    with service.database.writing() as session:
        people.add_person(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, name=name,
            handle=handle or None, mail=mail or None, roles=(role,), body={},
        )  # fmt: skip
    return go("/people", "kept")


@router.post("/people/{person_id}/links")
def make_link(
    request: Request, service: ServiceNow, subject: Keeper, person_id: PersonId
) -> Response:
    """Make a personal link, and show it once."""
    with service.database.writing() as session:
        found, secret = people.invite(session, service, subject, person_id)
        name = session.get_one(Person, person_id).name
    address = link_address(public_address(request, service.settings), secret)
    link = {
        "name": name,
        "url": address,
        "svg": drawing(code_svg(address, "Personal link")),
        "expires_at": found.expires_at,
    }
    return drawn_people(request, service, subject, link=link)


@router.post("/people/{person_id}/erasure")
def erase(
    service: ServiceNow, subject: Keeper, person_id: PersonId, sure: Annotated[str, Form()] = ""
) -> Response:
    """Erase somebody; an owner's to do here."""
    if not subject.owns:
        raise NotHere
    if sure != "erase":
        return go("/people", "sure")
    erase_person(service, subject, person_id)
    return go("/people", "erased")


@router.get("/gym")
def gym_page(
    request: Request, service: ServiceNow, subject: Keeper, cursor: CursorNow = None
) -> Response:
    """Settings and the audit log; an owner's to see."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, visible_audit(subject), Audit.id, cursor, 100)
        names = {p.audit_mark: p.name for p in session.scalars(visible_people(subject))}
        lines = [
            {
                "at": row.at, "actor": row.actor, "actor_name": names.get(row.actor or ""),
                "action": row.action, "detail": row.detail,
            }
            for row in rows
        ]  # fmt: skip
        return page(
            request,
            "gym",
            me=me_of(session, subject),
            gym=session.get_one(Gym, subject.gym_id),
            lines=lines,
            following=following,
        )


@router.post("/gym")
def keep_gym(
    service: ServiceNow,
    subject: Keeper,
    name: Annotated[str, Form(min_length=1, max_length=200)],
    retention_days: Annotated[str, Form(pattern="^([1-9][0-9]{0,4})?$")] = "",
) -> Response:
    """Keep the gym's settings."""
    changes: dict[str, object] = {
        "name": name,
        "retention_days": int(retention_days) if retention_days else None,
    }
    with service.database.writing() as session:
        people.change_gym(session, subject, changes)
    return go("/gym", "kept")
