"""The code on the wall over HTTP, and who signed in by it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from api.addresses import public_address, wall_address
from api.classes import service as classes
from api.classes.endpoints import ClassId
from api.classes.schemas import VisitAnswer, VisitList, WallAnswer, WallNames, WallPick
from api.http import OnceNow, Reader, ServiceNow, Writer, declared
from api.people.codes import code_svg
from api.people.own_endpoints import me_answer, set_cookie
from api.people.schemas import MeAnswer
from api.people.sight import visible_visits
from api.people.signing_in import open_sign_in, subject_by_sign_in, wall_class, wall_people
from api.problems import NotHere
from api.storage.model import Person, PlanVersion, SignIn, TrainingClass
from api.storage.moments import with_offset

router = APIRouter(tags=["classes"])

VisitId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A visit's identifier.")]
WallCode = Annotated[str, Path(pattern="^[0-9a-z]{1,16}$", description="The code on the wall.")]


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
