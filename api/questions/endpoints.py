"""Pins and decisions over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response
from sqlalchemy.orm import Session

from api.classes.endpoints import ClassId
from api.classes.service import seen_class
from api.http import OnceNow, Reader, Sender, ServiceNow, Writer, declared
from api.people.schemas import DoneAnswer
from api.people.sight import visible_decisions, visible_pins
from api.people.signing_in import person_roles
from api.people.subject import Subject
from api.questions import disputes
from api.questions import service as questions
from api.questions.disputes import standing_disputes
from api.questions.schemas import (
    DecisionAnswer,
    DecisionBody,
    DecisionList,
    DisputeBody,
    PinAnswer,
    PinBody,
    PinList,
    QuestionAnswer,
    QuestionList,
)
from api.results.service import seen_result
from api.storage.model import Decision, Person, Pin, Recording

router = APIRouter(tags=["questions"])

DisputeId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A dispute's identifier.")]
PinId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A pin's identifier.")]


def pin_answer(session: Session, subject: Subject, pin: Pin) -> PinAnswer:
    """Describe a pin; an athlete reads nobody's name but their own."""
    name = session.get_one(Recording, pin.recording_id).file
    seen = subject.coaches or pin.owner_id == subject.person_id
    owner = session.get(Person, pin.owner_id) if pin.owner_id and seen else None
    return PinAnswer(
        id=pin.id,
        file=f"{name}/{pin.member}" if pin.member else name,
        block=pin.block,
        start_s=pin.start_s,
        owner=owner.handle if owner else None,
        by_coach=by_coach(session, pin),
        made_at=pin.made_at,
    )


def by_coach(session: Session, pin: Pin) -> bool:
    """Whether somebody who leads made a pin, or it came with a class folder."""
    return pin.made_by is None or "coach" in person_roles(session, pin.made_by)


@router.post(
    "/classes/{class_id}/pins",
    status_code=201,
    summary="Pin a start or an owner",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
    response_model=PinAnswer,
)
def add_pin(
    service: ServiceNow, subject: Sender, once: OnceNow, class_id: ClassId, body: PinBody
) -> Response:
    """Fix by hand where a block begins on a file, or whose the file is; a coach's to do.

    An athlete may fix starts on their own uploads, where no coach has.
    """

    def act(session: Session) -> PinAnswer:
        pin = questions.add_pin(
            session,
            service,
            subject,
            class_id,
            file=body.file,
            block=body.block,
            start_s=body.start_s,
            owner=body.owner,
        )
        return pin_answer(session, subject, pin)

    return once.run(subject, body, act)


@router.get("/classes/{class_id}/pins", summary="Pins", responses=declared(401, 403, 404, 422))
def list_pins(service: ServiceNow, subject: Reader, class_id: ClassId) -> PinList:
    """The pins that stand: a coach sees the class's, an athlete those on their own uploads."""
    with service.database.reading() as session:
        seen_class(session, subject, class_id)
        rows = session.scalars(
            visible_pins(subject, class_id).where(Pin.undone_at.is_(None)).order_by(Pin.id)
        )
        return PinList(items=[pin_answer(session, subject, row) for row in rows])


@router.delete(
    "/classes/{class_id}/pins/{pin_id}",
    summary="Undo a pin",
    responses=declared(401, 403, 404, 422),
)
def undo_pin(service: ServiceNow, subject: Sender, class_id: ClassId, pin_id: PinId) -> DoneAnswer:
    """Undo a pin (an athlete: their own); the class is worked out again without it."""
    with service.database.writing() as session:
        questions.undo_pin(session, service, subject, class_id, pin_id)
    service.work.wake()
    return DoneAnswer()


def decision_answer(row: Decision, handle: str) -> DecisionAnswer:
    """Describe a decision."""
    return DecisionAnswer(
        id=row.id,
        athlete=handle,
        block=row.block,
        outcome=row.outcome,  # type: ignore[arg-type]
        reason=row.reason,
        made_at=row.made_at,
    )


@router.get(
    "/classes/{class_id}/questions",
    summary="Scores to ask about",
    responses=declared(401, 403, 404, 409, 422),
)
def list_questions(service: ServiceNow, subject: Reader, class_id: ClassId) -> QuestionList:
    """Flagged and disputed scores, likeliest explanation first, with the decision if any."""
    with service.database.reading() as session:
        seen = seen_result(session, subject, class_id)
        decided = questions.standing_decisions(session, subject, class_id)
        disputed = standing_disputes(session, subject, class_id)
        items = []
        for athlete, score in questions.open_questions(seen.document, disputed):
            found = decided.get((athlete, score["block"]))
            said = disputed.get((athlete, score["block"]))
            items.append(
                QuestionAnswer(
                    athlete=athlete,
                    block=score["block"],
                    verdict=score["verdict"],
                    logged=score["logged"],
                    recorded=score["recorded"],
                    explanations=score["explanations"],
                    decision=decision_answer(*found) if found else None,
                    dispute=decision_answer(*said) if said else None,
                )
            )
        return QuestionList(items=items)


@router.post(
    "/classes/{class_id}/decisions",
    status_code=201,
    summary="Settle a question",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=DecisionAnswer,
)
def decide(subject: Writer, once: OnceNow, class_id: ClassId, body: DecisionBody) -> Response:
    """Say how a question was settled, and why; a coach's to do. Scores are changed by logging."""

    def act(session: Session) -> DecisionAnswer:
        row = questions.decide(
            session,
            subject,
            class_id,
            athlete=body.athlete,
            block=body.block,
            outcome=body.outcome,
            reason=body.reason,
        )
        return decision_answer(row, body.athlete)

    return once.run(subject, body, act)


@router.get(
    "/classes/{class_id}/decisions", summary="Decisions", responses=declared(401, 403, 404, 422)
)
def list_decisions(service: ServiceNow, subject: Reader, class_id: ClassId) -> DecisionList:
    """Every decision: a coach sees the class's, an athlete those about themselves."""
    with service.database.reading() as session:
        seen_class(session, subject, class_id)
        rows = session.scalars(
            visible_decisions(subject, class_id).order_by(Decision.id.desc()).limit(500)
        )
        return DecisionList(
            items=[
                decision_answer(row, session.get_one(Person, row.person_id).handle) for row in rows
            ]
        )


@router.post(
    "/classes/{class_id}/disputes",
    status_code=201,
    summary="Dispute a verdict",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=DecisionAnswer,
)
def dispute(subject: Sender, once: OnceNow, class_id: ClassId, body: DisputeBody) -> Response:
    """Say that the verdict on your own score is wrong, and why; your coach is asked to look."""

    def act(session: Session) -> DecisionAnswer:
        row = disputes.dispute(session, subject, class_id, block=body.block, reason=body.reason)
        return decision_answer(row, subject.handle)

    return once.run(subject, body, act)


@router.delete(
    "/classes/{class_id}/disputes/{dispute_id}",
    summary="Take a dispute back",
    responses=declared(401, 403, 404, 422),
)
def take_back(
    service: ServiceNow, subject: Sender, class_id: ClassId, dispute_id: DisputeId
) -> DoneAnswer:
    """Take back what you said of a verdict."""
    with service.database.writing() as session:
        seen_class(session, subject, class_id)
        disputes.take_back(session, subject, class_id, dispute_id)
    return DoneAnswer()
