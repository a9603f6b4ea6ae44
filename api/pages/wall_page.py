"""Pages: the code on the wall of a class, and who came by it."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer
from api.classes.wall_endpoints import VisitId, visit_answer, wall_answer
from api.http import Reader, ServiceNow, Writer, language_of
from api.pages.forms import go
from api.pages.templates import drawing, me_of, page
from api.people.codes import code_svg
from api.people.sight import visible_visits
from api.problems import NotHere
from api.storage.model import SignIn

router = APIRouter()


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
            svg=drawing(code_svg(shown.url, language_of(request).text("Code for the wall"))),
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
