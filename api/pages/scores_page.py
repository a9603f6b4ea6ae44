"""Pages: the score sheet of a class as text."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import ClassId
from api.http import Reader, ServiceNow, Writer
from api.language import deferred
from api.pages.forms import Text
from api.pages.sheet_text import Sheet, drawn_sheet, kept_sheet
from api.people.subject import Subject
from api.transfer.sheets import score_sheet

router = APIRouter()


def written(session: Session, subject: Subject, class_id: str) -> str:
    """The scores that count, as a sheet."""
    return score_sheet(classes.score_rows(session, subject, class_id, replaced=False))


SCORES = Sheet(
    heading=deferred("Scores as a sheet"),
    label=deferred("What the athletes logged"),
    hint=deferred(
        "Paste from a spreadsheet, or type: one row a line, cells parted by commas, semicolons or "
        "tabs. Masses in kg."
    ),
    csv="scores.csv",
    written=written,
    take=classes.log_sheet,
)


@router.get("/classes/{class_id}/scores")
def scores_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The score sheet to edit."""
    return drawn_sheet(request, service, subject, class_id, SCORES)


@router.post("/classes/{class_id}/scores")
def keep_scores(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, text: Text = ""
) -> Response:
    """Keep the score sheet."""
    return kept_sheet(request, service, subject, class_id, SCORES, text)
