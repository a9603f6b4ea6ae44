"""Pages: settling the questions of a class."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Response
from sqlalchemy.orm import Session

from api.classes.endpoints import (
    ClassId,
)
from api.http import ServiceNow, Writer
from api.pages.forms import go
from api.people.sight import (
    visible_people,
)
from api.people.subject import Subject
from api.problems import NotReady, Refused
from api.questions import service as questions
from api.questions.endpoints import decision_answer
from api.results.service import seen_result
from api.transfer.sheets import number_text

router = APIRouter()

OUTCOMES = {"stands": "stands", "corrected": "was corrected", "set aside": "is set aside"}


def question_rows(session: Session, subject: Subject, class_id: str) -> list[dict[str, Any]]:
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
