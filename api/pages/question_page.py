"""Pages: settling the questions of a class, and saying whose a file is; each can be undone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from pydantic import StringConstraints
from sqlalchemy.orm import Session

from api.classes.endpoints import ClassId
from api.http import ServiceNow, Writer, language_of
from api.language import deferred
from api.pages.forms import go
from api.people.subject import Subject
from api.problems import Refused
from api.questions import service as questions
from api.questions.disputes import standing_disputes
from api.questions.endpoints import PinId, decision_answer
from api.questions.schemas import DecisionAnswer
from reconcile.result import ClassResult, ScoreResult

router = APIRouter()

FileName = Annotated[str, StringConstraints(min_length=1, max_length=500)]
Owner = Annotated[str, StringConstraints(min_length=1, max_length=64)]

OUTCOMES = {
    "stands": deferred("the score stands"),
    "corrected": deferred("the score was corrected"),
    "set aside": deferred("the score is set aside"),
}


@dataclass(frozen=True)
class QuickReason:
    """A reason that one click gives, and what becomes of the score."""

    outcome: str
    words: str


QUICK = {
    "done": QuickReason("stands", deferred("Asked: it was done as logged")),
    "display": QuickReason("stands", deferred("The display was read a moment late")),
    "recording": QuickReason("stands", deferred("The recording misses part of it")),
    "written": QuickReason("corrected", deferred("It was written down wrongly")),
    "unclear": QuickReason("set aside", deferred("It cannot be told any more")),
}


@dataclass(frozen=True)
class ScoreQuestion:
    """A score to ask about: flagged, or its verdict disputed by the athlete.

    decision: how it was settled, None where it is open. dispute: what the athlete says.
    """

    athlete: str
    name: str
    score: ScoreResult
    decision: DecisionAnswer | None
    dispute: DecisionAnswer | None


def score_questions(
    session: Session,
    subject: Subject,
    class_id: str,
    result: ClassResult,
    labels: Mapping[str, str],
) -> tuple[ScoreQuestion, ...]:
    """The scores to ask about, open ones first."""
    decided = questions.standing_decisions(session, subject, class_id)
    disputed = standing_disputes(session, subject, class_id)
    found = []
    for athlete in result.athletes:
        for score in athlete.scores:
            settled = decided.get((athlete.athlete, score.block))
            dispute = disputed.get((athlete.athlete, score.block))
            if score.flag or dispute:
                found.append(
                    ScoreQuestion(
                        athlete.athlete,
                        labels[athlete.athlete],
                        score,
                        decision_answer(*settled) if settled and not dispute else None,
                        decision_answer(*dispute) if dispute else None,
                    )
                )
    return tuple(sorted(found, key=lambda question: question.decision is not None))


@router.post("/classes/{class_id}/decisions")
def settle(
    request: Request,
    service: ServiceNow,
    subject: Writer,
    class_id: ClassId,
    athlete: Annotated[str, Form(max_length=64)],
    block: Annotated[str, Form(max_length=200)],
    quick: Annotated[str, Form(max_length=20)] = "",
    outcome: Annotated[str, Form(max_length=20)] = "",
    reason: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """Settle a question: by a quick reason, or by an outcome with a reason of one's own."""
    if quick in QUICK:
        outcome, reason = QUICK[quick].outcome, language_of(request).text(QUICK[quick].words)
    if outcome not in OUTCOMES or not reason.strip():
        raise Refused("Say what becomes of the score, and why.")
    with service.database.writing() as session:
        questions.decide(
            session, subject, class_id, athlete=athlete, block=block, outcome=outcome,
            reason=reason,
        )  # fmt: skip
    return go(f"/classes/{class_id}", "settled")


@router.post("/classes/{class_id}/decisions/undo")
def ask_again(
    service: ServiceNow,
    subject: Writer,
    class_id: ClassId,
    athlete: Annotated[str, Form(max_length=64)],
    block: Annotated[str, Form(max_length=200)],
) -> Response:
    """Undo a decision: the question is open again."""
    with service.database.writing() as session:
        questions.reopen(session, subject, class_id, athlete=athlete, block=block)
    return go(f"/classes/{class_id}", "undone")


@router.post("/classes/{class_id}/owners")
def say_owner(
    service: ServiceNow,
    subject: Writer,
    class_id: ClassId,
    file: Annotated[list[FileName], Form(max_length=500)],
    owner: Annotated[list[Owner], Form(max_length=500)],
) -> Response:
    """Say whose files are, one owner a file: a swap is accepted, or refused for their uploaders."""
    if len(file) != len(owner):
        raise Refused("Say of each file whose it is.")
    with service.database.writing() as session:
        for name, whose in zip(file, owner, strict=True):
            questions.add_pin(
                session, service, subject, class_id, file=name, block=None, start_s=None,
                owner=whose,
            )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{class_id}", "kept")


@router.post("/classes/{class_id}/owners/{pin_id}/undo")
def undo_owner(service: ServiceNow, subject: Writer, class_id: ClassId, pin_id: PinId) -> Response:
    """Undo what was said of a file's owner."""
    with service.database.writing() as session:
        questions.undo_pin(session, service, subject, class_id, pin_id)
    service.work.wake()
    return go(f"/classes/{class_id}", "undone")
