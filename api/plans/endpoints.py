"""Plans over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response
from sqlalchemy.orm import Session

from api.http import (
    CursorNow,
    LimitNow,
    OnceNow,
    Reader,
    ServiceNow,
    Writer,
    declared,
    page_of,
)
from api.people.sight import visible_plans
from api.people.subject import Subject
from api.plans.schemas import (
    PlanAnswer,
    PlanBody,
    PlanPage,
    StepAnswer,
    TimelineAnswer,
    VersionAnswer,
    VersionList,
)
from api.plans.service import (
    add_plan,
    class_length_s,
    edit_plan,
    plan_of,
    seen_plan,
    task_words,
    version_count,
    version_of,
)
from api.problems import NotHere
from api.storage.model import Plan, PlanVersion
from reconcile.timeline import unfold

router = APIRouter(tags=["plans"])

PlanId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A plan's identifier.")]


def plan_answer(session: Session, subject: Subject, plan_id: str) -> PlanAnswer:
    """Describe a plan by the newest version that the person may see."""
    row, versions = seen_plan(session, subject, plan_id)
    newest = versions[0]
    return PlanAnswer(
        id=row.id,
        title=newest.title,
        text=newest.text,
        version=newest.number,
        versions=version_count(session, row.id) if subject.coaches else len(versions),
        made_at=newest.made_at,
    )


@router.post(
    "/plans",
    status_code=201,
    summary="Write a plan",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=PlanAnswer,
)
def create_plan(subject: Writer, once: OnceNow, body: PlanBody) -> Response:
    """Keep a plan; its mistakes come back with line and column."""
    if not subject.coaches:
        raise NotHere

    def act(session: Session) -> PlanAnswer:
        row, _ = add_plan(
            session,
            gym_id=subject.gym_id,
            maker_id=subject.person_id,
            actor=subject.audit_mark,
            text=body.text,
        )
        return plan_answer(session, subject, row.id)

    return once.run(subject, body, act)


@router.post(
    "/timeline",
    summary="Unfold a plan without keeping it",
    responses=declared(400, 401, 403, 413, 422),
)
def timeline(subject: Reader, body: PlanBody) -> TimelineAnswer:  # noqa: ARG001
    """Every step on the clock of its block, and how long the class will be."""
    return timeline_answer(body.text)


def timeline_answer(text: str) -> TimelineAnswer:
    """Unfold a plan's text."""
    plan = plan_of(text)
    least, most = class_length_s(plan)
    return TimelineAnswer(
        title=plan.title,
        options=list(plan.options),
        least_s=least,
        most_s=most,
        steps=[
            StepAnswer(
                block=step.block,
                round=step.round,
                step=step.step,
                kind=step.kind,
                start_s=step.start_s,
                end_s=step.end_s,
                tasks=[task_words(task) for task in step.tasks],
            )
            for steps in unfold(plan).values()
            for step in steps
        ],
    )


@router.get("/plans", summary="Plans", responses=declared(401, 403, 422))
def list_plans(
    service: ServiceNow, subject: Reader, cursor: CursorNow = None, limit: LimitNow = 50
) -> PlanPage:
    """A coach sees the gym's plans; an athlete those of classes attended."""
    with service.database.reading() as session:
        rows, following = page_of(session, visible_plans(subject), Plan.id, cursor, limit)
        return PlanPage(
            items=[plan_answer(session, subject, row.id) for row in rows], next=following
        )


@router.get("/plans/{plan_id}", summary="One plan", responses=declared(401, 403, 404, 422))
def read_one(service: ServiceNow, subject: Reader, plan_id: PlanId) -> PlanAnswer:
    """The newest version that the person may see."""
    with service.database.reading() as session:
        return plan_answer(session, subject, plan_id)


@router.put(
    "/plans/{plan_id}",
    summary="Edit a plan",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def update_plan(
    service: ServiceNow, subject: Writer, plan_id: PlanId, body: PlanBody
) -> PlanAnswer:
    """Keep a new version. Classes without recordings follow; classes that were held do not."""
    with service.database.writing() as session:
        edit_plan(session, service, subject, plan_id, body.text)
        answer = plan_answer(session, subject, plan_id)
    service.work.wake()
    return answer


def version_answer(found: PlanVersion) -> VersionAnswer:
    """Describe a version."""
    return VersionAnswer(
        number=found.number, title=found.title, text=found.text, made_at=found.made_at
    )


@router.get(
    "/plans/{plan_id}/versions",
    summary="Every version of a plan",
    responses=declared(401, 403, 404, 422),
)
def list_versions(service: ServiceNow, subject: Reader, plan_id: PlanId) -> VersionList:
    """Newest first; an athlete sees those of classes attended."""
    with service.database.reading() as session:
        _, versions = seen_plan(session, subject, plan_id)
        return VersionList(items=[version_answer(row) for row in versions])


@router.get(
    "/plans/{plan_id}/versions/{number}",
    summary="One version of a plan",
    responses=declared(401, 403, 404, 422),
)
def read_version(
    service: ServiceNow,
    subject: Reader,
    plan_id: PlanId,
    number: Annotated[int, Path(ge=1, le=2**31 - 1, description="Counted from 1.")],
) -> VersionAnswer:
    """What the plan said then."""
    with service.database.reading() as session:
        return version_answer(version_of(session, subject, plan_id, number))
