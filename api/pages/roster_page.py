"""Pages: who took part in a class."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.classes import service as classes
from api.classes.endpoints import (
    ClassId,
    sheet_text,
)
from api.http import Reader, ServiceNow, Writer
from api.pages.forms import Text, go
from api.pages.sheet_text import drawn_sheet
from api.problems import NotHere, ServiceError

router = APIRouter()


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
