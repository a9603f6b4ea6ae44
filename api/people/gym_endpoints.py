"""The gym over HTTP: its settings and its audit log."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from sqlalchemy import select

from api.http import CursorNow, Keeper, LimitNow, Reader, ServiceNow, declared, page_of
from api.people import service as people
from api.people.auditing import AuditFilter, audit_rows, audit_sheet, names_in_log
from api.people.schemas import AskedMoment, AuditLine, AuditPage, GymAnswer, GymChange
from api.problems import NotHere
from api.storage.model import Audit, Gym

router = APIRouter(tags=["people"])


def gym_answer(gym: Gym) -> GymAnswer:
    """Describe the gym."""
    return GymAnswer(
        id=gym.id, name=gym.name, retention_days=gym.retention_days, time_zone=gym.time_zone
    )


@router.get("/gym", summary="The gym", responses=declared(401, 403))
def read_gym(service: ServiceNow, subject: Reader) -> GymAnswer:
    """The gym and its settings."""
    with service.database.reading() as session:
        gym = session.scalars(select(Gym).where(Gym.id == subject.gym_id)).one()
        return gym_answer(gym)


@router.patch(
    "/gym",
    summary="Change the gym's settings",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_gym(service: ServiceNow, subject: Keeper, body: GymChange) -> GymAnswer:
    """An owner's to do."""
    with service.database.writing() as session:
        gym = people.change_gym(session, subject, body.model_dump(exclude_unset=True))
        return gym_answer(gym)


def audit_filter(
    action: Annotated[str | None, Query(max_length=64, description="What was done.")] = None,
    actor: Annotated[
        str | None, Query(pattern="^[0-9a-f]{32}$", description="The mark of who did it.")
    ] = None,
    since: Annotated[AskedMoment | None, Query(description="From then on.")] = None,
    until: Annotated[AskedMoment | None, Query(description="Before then.")] = None,
) -> AuditFilter:
    """Give which lines of the log are asked for."""
    return AuditFilter(action, actor, since, until)


AuditFilterNow = Annotated[AuditFilter, Depends(audit_filter)]


@router.get("/audit", summary="The audit log", responses=declared(401, 403, 404, 422))
def read_audit(
    service: ServiceNow,
    subject: Keeper,
    chosen: AuditFilterNow,
    cursor: CursorNow = None,
    limit: LimitNow = 50,
) -> AuditPage:
    """What was done, newest first; an owner's to read."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, audit_rows(subject, chosen), Audit.id, cursor, limit)
        names = names_in_log(session, subject, rows)
        return AuditPage(
            items=[
                AuditLine(
                    id=row.id,
                    at=row.at,
                    actor=row.actor,
                    actor_name=names.people.get(row.actor or ""),
                    action=row.action,
                    about=row.about,
                    about_name=names.of(row.about),
                    detail=row.detail,
                )
                for row in rows
            ],
            next=following,
        )


@router.get(
    "/audit.csv",
    summary="The audit log, as a sheet",
    response_class=Response,
    responses={
        200: {"content": {"text/csv": {}}, "description": "A sheet (CSV)"},
        **declared(401, 403, 404, 422),
    },
)
def read_audit_sheet(service: ServiceNow, subject: Keeper, chosen: AuditFilterNow) -> Response:
    """The same as CSV, at most 50,000 lines."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        text = audit_sheet(session, subject, chosen)
    return Response(
        text,
        media_type="text/csv",
        headers={"Content-Disposition": 'attachment; filename="audit.csv"'},
    )
