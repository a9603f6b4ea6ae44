"""Over time, over HTTP: tables of an athlete's classes and of a plan's."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from api.http import CursorNow, Reader, ServiceNow, declared
from api.over_time import service as over_time
from api.over_time.service import ClassGroup, Held, OwnGroup
from api.people.endpoints import PersonId
from api.plans.endpoints import PlanId
from api.results.class_tables import Values, done_values, rounded, row_values, table_text
from api.results.endpoints import sheet_answer
from reconcile.plan import TimedBlock

router = APIRouter(tags=["over time"])

CSV: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/csv": {}}, "description": "A table (CSV)"},
    **declared(401, 403, 404, 422),
}


@router.get(
    "/people/{person_id}/over-time.csv",
    summary="An athlete over time",
    response_class=Response,
    responses=CSV,
)
def read_athlete(
    service: ServiceNow, subject: Reader, person_id: PersonId, cursor: CursorNow = None
) -> Response:
    """One row a class and block; rows with the same `like` may be compared.

    A coach reads anybody's of the gym, an athlete their own. At most two dozen classes at once,
    the latest first: `cursor` is the one of the page's link to earlier ones.
    """
    with service.database.reading() as session:
        _, groups, _ = over_time.athlete_over_time(session, subject, person_id, cursor)
    return sheet_answer(table_text(athlete_rows(groups)), "over-time.csv")


@router.get(
    "/plans/{plan_id}/over-time.csv",
    summary="The classes by a plan over time",
    response_class=Response,
    responses=CSV,
)
def read_plan(
    service: ServiceNow, subject: Reader, plan_id: PlanId, cursor: CursorNow = None
) -> Response:
    """One row a class and block, in the mean of those who came; a coach's to read."""
    with service.database.reading() as session:
        groups, _ = over_time.plan_over_time(session, subject, plan_id, cursor)
    return sheet_answer(table_text(plan_rows(groups)), "over-time.csv")


def held_values(number: int, held: Held, block: TimedBlock) -> dict[str, Any]:
    """The first columns of every row."""
    return {
        "like": number,
        "start": held.start.isoformat(),
        "class": held.title,
        "block": block.name,
    }


def athlete_rows(groups: tuple[OwnGroup, ...]) -> list[Values]:
    """An athlete's classes, like after like."""
    return [
        {
            **held_values(number, own.held, own.block),
            "option": group.option,
            "equipment": group.equipment,
            "load_kg": own.load_kg,
            **row_values(own.row),
            **done_values(own.done),
        }
        for number, group in enumerate(groups, start=1)
        for own in group.times
    ]


def plan_rows(groups: tuple[ClassGroup, ...]) -> list[Values]:
    """A plan's classes, like after like."""
    rows: list[Values] = []
    for number, group in enumerate(groups, start=1):
        for one in group.times:
            times = [row.machine_time_s for row in one.rows if row.machine_time_s is not None]
            rows.append(
                {
                    **held_values(number, one.held, group.block),
                    "athletes": len(one.rows),
                    **over_time.verdict_counts(one.rows),
                    "machine_time_mean_s": rounded(sum(times) / len(times)) if times else None,
                    "machine_time_low_s": rounded(min(times)) if times else None,
                    "machine_time_high_s": rounded(max(times)) if times else None,
                    **done_values(one.together),
                }
            )
    return rows
