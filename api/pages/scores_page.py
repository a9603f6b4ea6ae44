"""Pages: the scores of a class as a sheet of text."""

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
from api.problems import Refused

router = APIRouter()


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
