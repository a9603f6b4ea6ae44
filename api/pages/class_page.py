"""Pages: one class, the whole of it to a coach and their own part to an athlete."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.classes.endpoints import (
    ClassId,
)
from api.http import Reader, ServiceNow
from api.pages.own_sheet_page import class_values, own_sheet
from api.pages.question_page import OUTCOMES, question_rows
from api.pages.templates import page
from api.people.sight import (
    visible_visits,
)
from api.storage.model import SignIn

router = APIRouter()


@router.get("/classes/{class_id}")
def class_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The class sheet to a coach, their own to an athlete."""
    with service.database.reading() as session:
        if not subject.coaches:
            return own_sheet(request, session, service, subject, class_id)
        return page(
            request,
            "class_coach",
            questions=question_rows(session, subject, class_id),
            outcomes=OUTCOMES,
            visits=session.scalars(
                visible_visits(subject, class_id).where(
                    SignIn.ended_at.is_(None), SignIn.confirmed_at.is_(None)
                )
            ).all(),
            **class_values(session, service, subject, class_id),
        )
