"""Classes over HTTP: the class itself, roster, scores, class table, the code on the wall."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request, Response
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.addresses import public_address, wall_address
from api.classes import service as classes
from api.classes import taking_part
from api.classes.schemas import (
    AttendanceAnswer,
    ClassAnswer,
    ClassChange,
    ClassPage,
    NewClass,
    RosterAnswer,
    RosterBody,
    ScoreAnswer,
    ScoreBody,
    ScoreList,
    StartsChange,
    TableAnswer,
    TableRow,
    VisitAnswer,
    VisitList,
    WallAnswer,
    WallNames,
    WallPick,
)
from api.folder.files import decode
from api.http import (
    CursorNow,
    LimitNow,
    OnceNow,
    Reader,
    Sender,
    ServiceNow,
    Writer,
    declared,
    page_of,
)
from api.people.codes import code_svg
from api.people.endpoints import me_answer, set_cookie
from api.people.schemas import DoneAnswer, MeAnswer
from api.people.sight import class_table_people, visible_classes, visible_visits
from api.people.signing_in import (
    open_sign_in,
    subject_by_sign_in,
    wall_class,
    wall_people,
)
from api.people.subject import Subject
from api.problems import NotHere, Refused
from api.recordings.service import drop_bytes
from api.storage.model import (
    Attendance,
    Person,
    PlanVersion,
    Score,
    SignIn,
    TrainingClass,
)
from api.storage.moments import with_offset
from api.transfer.sheets import roster_sheet, score_sheet
from reconcile.classes import Athlete, LoggedScore

router = APIRouter(tags=["classes"])

ClassId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A class's identifier.")]
VisitId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A visit's identifier.")]
AthleteHandle = Annotated[
    str, Path(min_length=1, max_length=64, description="The athlete's name in class folders.")
]
WallCode = Annotated[str, Path(pattern="^[0-9a-z]{1,16}$", description="The code on the wall.")]
SheetBody = Annotated[
    bytes,
    Body(media_type="text/csv", description="A sheet with a first line of headings (CSV)."),
]
CSV_ANSWER: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/csv": {}}, "description": "A sheet (CSV)"}
}
MOST_SHEET_BYTES = 2**20


def class_answer(session: Session, subject: Subject, found: TrainingClass) -> ClassAnswer:
    """Describe a class."""
    version = session.get_one(PlanVersion, found.plan_version_id)
    run = classes.class_state(session, found)
    count = session.scalar(
        select(func.count()).select_from(Attendance).where(Attendance.class_id == found.id)
    )
    return ClassAnswer(
        id=found.id,
        title=version.title,
        start=with_offset(found.start, found.start_offset_s),
        place=found.place,
        start_tolerance_s=found.start_tolerance_s,
        starts=found.starts,  # type: ignore[arg-type]
        hand_starts=found.hand_starts,
        plan_id=version.plan_id,
        plan_version=version.number,
        athletes=count if subject.coaches else None,
        state=run.state if run else "waiting",  # type: ignore[arg-type]
    )


@router.post(
    "/classes",
    status_code=201,
    summary="Make a class",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=ClassAnswer,
)
def create_class(service: ServiceNow, subject: Writer, once: OnceNow, body: NewClass) -> Response:
    """A class by the newest version of a plan; a coach's to make."""

    def act(session: Session) -> ClassAnswer:
        found = classes.add_class(
            session,
            service,
            subject,
            plan_id=body.plan_id,
            start=body.start,
            place=body.place,
            start_tolerance_s=float(body.start_tolerance_s),
            starts=body.starts,
        )
        return class_answer(session, subject, found)

    return once.run(subject, body, act)


@router.get("/classes", summary="Classes", responses=declared(401, 403, 422))
def list_classes(
    service: ServiceNow, subject: Reader, cursor: CursorNow = None, limit: LimitNow = 50
) -> ClassPage:
    """A coach sees the gym's classes; an athlete those attended."""
    with service.database.reading() as session:
        rows, following = page_of(
            session, visible_classes(subject), TrainingClass.id, cursor, limit
        )
        return ClassPage(
            items=[class_answer(session, subject, row) for row in rows], next=following
        )


@router.get("/classes/{class_id}", summary="One class", responses=declared(401, 403, 404, 422))
def read_class(service: ServiceNow, subject: Reader, class_id: ClassId) -> ClassAnswer:
    """When, where, by which plan, and whether the result is up to date."""
    with service.database.reading() as session:
        return class_answer(session, subject, classes.seen_class(session, subject, class_id))


@router.patch(
    "/classes/{class_id}",
    summary="Change a class",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_class(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: ClassChange
) -> ClassAnswer:
    """Change start, place, tolerance, plan version or recorded block starts."""
    changes = {name: getattr(body, name) for name in body.model_fields_set}
    with service.database.writing() as session:
        found = classes.change_class(session, service, subject, class_id, changes)
        answer = class_answer(session, subject, found)
    service.work.wake()
    return answer


@router.patch(
    "/classes/{class_id}/starts",
    summary="Record when blocks began",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_starts(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: StartsChange
) -> ClassAnswer:
    """What the clock in the gym saw; sending it again changes nothing."""
    with service.database.writing() as session:
        found = classes.change_starts(
            session, service, subject, class_id, body.starts, by_hand=body.by_hand
        )
        answer = class_answer(session, subject, found)
    service.work.wake()
    return answer


@router.delete(
    "/classes/{class_id}", summary="Delete a class", responses=declared(401, 403, 404, 422)
)
def delete_class(service: ServiceNow, subject: Writer, class_id: ClassId) -> DoneAnswer:
    """Delete a class with its recordings, scores and results. Not to be undone."""
    with service.database.writing() as session:
        gone = classes.drop_class(session, subject, class_id)
    for gym_id, sha256, recording_id in gone:
        drop_bytes(service, gym_id, sha256, recording_id)
    return DoneAnswer()


# ---- roster


def roster_answer(
    session: Session, subject: Subject, class_id: str, problems: tuple[str, ...] = ()
) -> RosterAnswer:
    """Describe who took part."""
    return RosterAnswer(
        athletes=[
            AttendanceAnswer(
                athlete=person.handle,
                person_id=person.id,
                name=person.name,
                sex=row.sex,
                birth_year=row.birth_year,
                mass_kg=row.mass_kg,
                resting_hr=row.resting_hr,
                max_hr=row.max_hr,
                vo2max=row.vo2max,
                delay_s=row.delay_s,
                station=row.station,
                start=with_offset(row.start, row.start_offset_s) if row.start else None,
            )
            for row, person in taking_part.roster_rows(session, subject, class_id)
        ],
        problems=list(problems),
    )


@router.get(
    "/classes/{class_id}/roster", summary="Who took part", responses=declared(401, 403, 404, 422)
)
def read_roster(service: ServiceNow, subject: Reader, class_id: ClassId) -> RosterAnswer:
    """A coach sees the roster, an athlete their own row."""
    with service.database.reading() as session:
        return roster_answer(session, subject, class_id)


@router.put(
    "/classes/{class_id}/roster",
    summary="Say who took part",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
)
def set_roster(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: RosterBody
) -> RosterAnswer:
    """The whole roster, in order. Whom the gym does not know becomes a new athlete."""
    athletes = [
        Athlete(**{**row.model_dump(), "start": row.start, "delay_s": float(row.delay_s)})
        for row in body.athletes
    ]
    with service.database.writing() as session:
        taking_part.set_roster(session, service, subject, class_id, athletes)
        answer = roster_answer(session, subject, class_id)
    service.work.wake()
    return answer


def sheet_text(data: bytes) -> str:
    """Read a sheet's bytes as text; raises Refused for more than a sheet may hold."""
    if len(data) > MOST_SHEET_BYTES:
        raise Refused("The sheet is too large.", code="too_large")
    text = decode(data)
    if "\x00" in text:
        raise Refused("That is not a sheet: save it as CSV.", code="not_text")
    return text


@router.get(
    "/classes/{class_id}/roster.csv",
    summary="Who took part, as a sheet",
    response_class=Response,
    responses={**CSV_ANSWER, **declared(401, 403, 404, 422)},
)
def read_roster_sheet(service: ServiceNow, subject: Reader, class_id: ClassId) -> Response:
    """The roster as in a class folder."""
    with service.database.reading() as session:
        rows = taking_part.roster_rows(session, subject, class_id)
        return Response(roster_sheet(rows), media_type="text/csv")


@router.put(
    "/classes/{class_id}/roster.csv",
    summary="Say who took part, as a sheet",
    responses=declared(400, 401, 403, 404, 409, 413, 415, 422),
)
def set_roster_sheet(
    service: ServiceNow, subject: Writer, class_id: ClassId, data: SheetBody
) -> RosterAnswer:
    """The roster as in a class folder; `problems` tells of cells that were left out."""
    if not subject.coaches:
        raise NotHere
    athletes, problems = taking_part.roster_text_of(sheet_text(data))
    for athlete in athletes:
        if len(athlete.athlete) > 64 or "/" in athlete.athlete:
            raise Refused("An athlete's name here has at most 64 letters.", code="long_name")
    with service.database.writing() as session:
        taking_part.set_roster(session, service, subject, class_id, athletes)
        answer = roster_answer(session, subject, class_id, problems)
    service.work.wake()
    return answer


# ---- scores


def score_answer(row: Score, handle: str) -> ScoreAnswer:
    """Describe a logged score."""
    return ScoreAnswer(
        id=row.id,
        athlete=handle,
        block=row.block,
        option=row.option,
        equipment=row.equipment,
        score=row.score,
        rounds=row.rounds,
        load_kg=row.load_kg,
        notes=row.notes,
        logged_at=row.logged_at,
        replaced_at=row.replaced_at,
    )


@router.get(
    "/classes/{class_id}/scores", summary="Logged scores", responses=declared(401, 403, 404, 422)
)
def read_scores(
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    replaced: Annotated[bool, Query(description="Also those that were changed since.")] = False,
) -> ScoreList:
    """A coach sees all, an athlete their own."""
    with service.database.reading() as session:
        rows = classes.score_rows(session, subject, class_id, replaced=replaced)
        return ScoreList(items=[score_answer(row, handle) for row, handle in rows])


@router.put(
    "/classes/{class_id}/scores/{athlete}",
    summary="Log a score",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def log_score(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    athlete: AthleteHandle,
    body: ScoreBody,
) -> ScoreAnswer:
    """Log or change a score: an athlete's own, or a coach for anybody. Earlier ones are kept."""
    with service.database.writing() as session:
        found = classes.seen_class(session, subject, class_id)
        logged = classes.checked_score(
            classes.class_plan(session, found),
            LoggedScore(
                athlete=athlete,
                block=body.block,
                option=body.option,
                equipment=body.equipment,
                score=body.score,
                rounds=tuple(body.rounds) if body.rounds is not None else None,
                load_kg=body.load_kg,
                notes=body.notes,
            ),
        )
        row = classes.log_score(session, service, subject, class_id, athlete, logged)
        answer = score_answer(row, athlete)
    service.work.wake()
    return answer


@router.get(
    "/classes/{class_id}/scores.csv",
    summary="Logged scores, as a sheet",
    response_class=Response,
    responses={**CSV_ANSWER, **declared(401, 403, 404, 422)},
)
def read_score_sheet(service: ServiceNow, subject: Reader, class_id: ClassId) -> Response:
    """The scores as in a class folder."""
    with service.database.reading() as session:
        rows = classes.score_rows(session, subject, class_id, replaced=False)
        return Response(score_sheet(rows), media_type="text/csv")


@router.put(
    "/classes/{class_id}/scores.csv",
    summary="Log scores from a sheet",
    responses=declared(400, 401, 403, 404, 413, 415, 422),
)
def log_score_sheet(
    service: ServiceNow, subject: Writer, class_id: ClassId, data: SheetBody
) -> ScoreList:
    """Scores as in a class folder; `problems` tells of rows and cells that were left out."""
    if not subject.coaches:
        raise NotHere
    with service.database.writing() as session:
        problems = classes.log_sheet(session, service, subject, class_id, sheet_text(data))
        rows = classes.score_rows(session, subject, class_id, replaced=False)
        answer = ScoreList(
            items=[score_answer(row, handle) for row, handle in rows], problems=list(problems)
        )
    service.work.wake()
    return answer


@router.get(
    "/classes/{class_id}/table", summary="The class table", responses=declared(401, 403, 404, 422)
)
def read_table(service: ServiceNow, subject: Reader, class_id: ClassId) -> TableAnswer:
    """Logged scores of those who agreed to be seen by their classmates, and one's own."""
    with service.database.reading() as session:
        classes.seen_class(session, subject, class_id)
        return TableAnswer(items=table_rows(session, subject, class_id))


def table_rows(session: Session, subject: Subject, class_id: str) -> list[TableRow]:
    """The rows that the person may see."""
    rows = []
    for person in session.scalars(class_table_people(subject, class_id)):
        rows_or_none: list[Score | None] = list(
            session.scalars(
                select(Score)
                .where(
                    Score.class_id == class_id,
                    Score.person_id == person.id,
                    Score.replaced_at.is_(None),
                )
                .order_by(Score.position)
            )
        ) or [None]
        rows += [
            TableRow(
                athlete=person.handle,
                name=person.name,
                option=row.option if row is not None else None,
                equipment=row.equipment if row is not None else None,
                block=row.block if row is not None else None,
                score=row.score if row is not None else None,
                rounds=row.rounds if row is not None else None,
            )
            for row in rows_or_none
        ]
    return rows


# ---- the code on the wall


def wall_answer(request: Request, service: ServiceNow, found: TrainingClass) -> WallAnswer:
    """Give the code and its address."""
    address = wall_address(public_address(request, service.settings), found.wall_code)
    return WallAnswer(url=address, svg=code_svg(address, "Code for the wall"))


@router.get(
    "/classes/{class_id}/wall",
    summary="The code for the wall",
    responses=declared(401, 403, 404, 422),
)
def read_wall(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> WallAnswer:
    """A code that names the class and nobody in it; a coach's to hang up."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
    return wall_answer(request, service, found)


@router.post(
    "/classes/{class_id}/wall",
    status_code=201,
    summary="Take a new code for the wall",
    responses=declared(401, 403, 404, 422),
    response_model=WallAnswer,
)
def renew_wall(
    request: Request, service: ServiceNow, subject: Writer, once: OnceNow, class_id: ClassId
) -> Response:
    """The old code stops working, and so do sign-ins by it that no coach has confirmed."""

    def act(session: Session) -> WallAnswer:
        return wall_answer(request, service, classes.new_wall_code(session, subject, class_id))

    return once.run(subject, None, act)


@router.get("/wall/{code}", summary="The names behind a code", responses=declared(404, 422))
def read_names(service: ServiceNow, code: WallCode) -> WallNames:
    """The class that a code names, and the names to pick from."""
    with service.database.reading() as session:
        found = wall_class(session, code)
        version = session.get_one(PlanVersion, found.plan_version_id)
        people = wall_people(session, found.id)
        return WallNames(
            title=version.title,
            start=with_offset(found.start, found.start_offset_s),
            athletes={person.handle: person.name for person in people},
        )


@router.post(
    "/wall/{code}/sign-in",
    summary="Pick a name",
    responses=declared(400, 404, 413, 422),
)
def pick_name(
    request: Request, response: Response, service: ServiceNow, code: WallCode, body: WallPick
) -> MeAnswer:
    """Sign in for this class: upload, and see that upload. A coach's word opens the rest."""
    with service.database.writing() as session:
        found = wall_class(session, code)
        people = wall_people(session, found.id)
        person = next((p for p in people if p.handle == body.athlete), None)
        if person is None:
            raise NotHere
        secret = open_sign_in(session, service, person_id=person.id, visit_class_id=found.id)
        session.flush()
        answer = me_answer(session, person.id, subject_by_sign_in(session, secret))
    set_cookie(request, response, service, secret)
    return answer


def visit_answer(session: Session, visit: SignIn) -> VisitAnswer:
    """Describe a visit."""
    person = session.get_one(Person, visit.person_id)
    return VisitAnswer(
        id=visit.id,
        athlete=person.handle,
        name=person.name,
        at=visit.made_at,
        confirmed_at=visit.confirmed_at,
    )


@router.get(
    "/classes/{class_id}/visits",
    summary="Who signed in by the code on the wall",
    responses=declared(401, 403, 404, 422),
)
def list_visits(service: ServiceNow, subject: Reader, class_id: ClassId) -> VisitList:
    """Names picked, for the coach to confirm."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        classes.seen_class(session, subject, class_id)
        rows = session.scalars(
            visible_visits(subject, class_id)
            .where(SignIn.ended_at.is_(None))
            .order_by(SignIn.id.desc())
            .limit(200)
        )
        return VisitList(items=[visit_answer(session, row) for row in rows])


@router.post(
    "/classes/{class_id}/visits/{visit_id}/confirm",
    summary="Confirm who somebody is",
    responses=declared(401, 403, 404, 409, 422),
)
def confirm(
    service: ServiceNow, subject: Writer, class_id: ClassId, visit_id: VisitId
) -> VisitAnswer:
    """The coach's word: this phone is that athlete's, and may see earlier data."""
    with service.database.writing() as session:
        classes.led_class(session, subject, class_id)
        return visit_answer(session, classes.confirm_visit(session, subject, class_id, visit_id))
