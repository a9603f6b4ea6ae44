"""Classes over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.schemas import ClassAnswer, ClassChange, ClassPage, NewClass, StartsChange
from api.http import CursorNow, LimitNow, OnceNow, Reader, ServiceNow, Writer, declared, page_of
from api.people.schemas import DoneAnswer
from api.people.sight import visible_classes
from api.people.subject import Subject
from api.recordings.service import drop_bytes
from api.storage.model import Attendance, PlanVersion, TrainingClass
from api.storage.moments import with_offset

router = APIRouter(tags=["classes"])

ClassId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A class's identifier.")]


def class_answer(session: Session, subject: Subject, found: TrainingClass) -> ClassAnswer:
    """Describe a class."""
    version = session.get_one(PlanVersion, found.plan_version_id)
    run = classes.class_state(session, found)
    count = session.scalar(
        select(func.count()).select_from(Attendance).where(Attendance.class_id == found.id)
    )
    return ClassAnswer(
        id=found.id,
        title=version.title,
        start=with_offset(found.start, found.start_offset_s),
        place=found.place,
        start_tolerance_s=found.start_tolerance_s,
        starts=found.starts,  # type: ignore[arg-type]
        hand_starts=found.hand_starts,
        plan_id=version.plan_id,
        plan_version=version.number,
        athletes=count if subject.coaches else None,
        state=run.state if run else "waiting",  # type: ignore[arg-type]
    )


@router.post(
    "/classes",
    status_code=201,
    summary="Make a class",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=ClassAnswer,
)
def create_class(service: ServiceNow, subject: Writer, once: OnceNow, body: NewClass) -> Response:
    """A class by the newest version of a plan; a coach's to make."""

    def act(session: Session) -> ClassAnswer:
        found = classes.add_class(
            session,
            service,
            subject,
            plan_id=body.plan_id,
            start=body.start,
            place=body.place,
            start_tolerance_s=float(body.start_tolerance_s),
            starts=body.starts,
        )
        return class_answer(session, subject, found)

    return once.run(subject, body, act)


@router.get("/classes", summary="Classes", responses=declared(401, 403, 422))
def list_classes(
    service: ServiceNow, subject: Reader, cursor: CursorNow = None, limit: LimitNow = 50
) -> ClassPage:
    """A coach sees the gym's classes; an athlete those attended."""
    with service.database.reading() as session:
        rows, following = page_of(
            session, visible_classes(subject), TrainingClass.id, cursor, limit
        )
        return ClassPage(
            items=[class_answer(session, subject, row) for row in rows], next=following
        )


@router.get("/classes/{class_id}", summary="One class", responses=declared(401, 403, 404, 422))
def read_class(service: ServiceNow, subject: Reader, class_id: ClassId) -> ClassAnswer:
    """When, where, by which plan, and whether the result is up to date."""
    with service.database.reading() as session:
        return class_answer(session, subject, classes.seen_class(session, subject, class_id))


@router.patch(
    "/classes/{class_id}",
    summary="Change a class",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_class(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: ClassChange
) -> ClassAnswer:
    """Change start, place, tolerance, plan version or recorded block starts."""
    changes = {name: getattr(body, name) for name in body.model_fields_set}
    with service.database.writing() as session:
        found = classes.change_class(session, service, subject, class_id, changes)
        answer = class_answer(session, subject, found)
    service.work.wake()
    return answer


@router.patch(
    "/classes/{class_id}/starts",
    summary="Record when blocks began",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_starts(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: StartsChange
) -> ClassAnswer:
    """What the clock in the gym saw; sending it again changes nothing."""
    with service.database.writing() as session:
        found = classes.change_starts(
            session, service, subject, class_id, body.starts, by_hand=body.by_hand
        )
        answer = class_answer(session, subject, found)
    service.work.wake()
    return answer


@router.delete(
    "/classes/{class_id}", summary="Delete a class", responses=declared(401, 403, 404, 422)
)
def delete_class(service: ServiceNow, subject: Writer, class_id: ClassId) -> DoneAnswer:
    """Delete a class with its recordings, scores and results. Not to be undone."""
    with service.database.writing() as session:
        gone = classes.drop_class(session, subject, class_id)
    for gym_id, sha256, recording_id in gone:
        drop_bytes(service, gym_id, sha256, recording_id)
    return DoneAnswer()
