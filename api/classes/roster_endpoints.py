"""Who took part in a class, over HTTP."""

from __future__ import annotations

from fastapi import APIRouter, Response
from sqlalchemy.orm import Session

from api.classes import taking_part
from api.classes.endpoints import ClassId
from api.classes.schemas import AttendanceAnswer, RosterAnswer, RosterBody
from api.classes.sheets import CSV_ANSWER, SheetBody, sheet_text
from api.http import Reader, ServiceNow, Writer, declared
from api.people.subject import Subject
from api.problems import NotHere, Refused
from api.storage.moments import with_offset
from api.transfer.sheets import roster_sheet
from reconcile.classes import Athlete

router = APIRouter(tags=["classes"])


def roster_answer(
    session: Session, subject: Subject, class_id: str, problems: tuple[str, ...] = ()
) -> RosterAnswer:
    """Describe who took part."""
    return RosterAnswer(
        athletes=[
            AttendanceAnswer(
                athlete=person.handle,
                person_id=person.id,
                name=person.name,
                sex=row.sex,
                birth_year=row.birth_year,
                mass_kg=row.mass_kg,
                resting_hr=row.resting_hr,
                max_hr=row.max_hr,
                vo2max=row.vo2max,
                delay_s=row.delay_s,
                station=row.station,
                start=with_offset(row.start, row.start_offset_s) if row.start else None,
            )
            for row, person in taking_part.roster_rows(session, subject, class_id)
        ],
        problems=list(problems),
    )


@router.get(
    "/classes/{class_id}/roster", summary="Who took part", responses=declared(401, 403, 404, 422)
)
def read_roster(service: ServiceNow, subject: Reader, class_id: ClassId) -> RosterAnswer:
    """A coach sees the roster, an athlete their own row."""
    with service.database.reading() as session:
        return roster_answer(session, subject, class_id)


@router.put(
    "/classes/{class_id}/roster",
    summary="Say who took part",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
)
def set_roster(
    service: ServiceNow, subject: Writer, class_id: ClassId, body: RosterBody
) -> RosterAnswer:
    """The whole roster, in order. Whom the gym does not know becomes a new athlete."""
    athletes = [
        Athlete(**{**row.model_dump(), "start": row.start, "delay_s": float(row.delay_s)})
        for row in body.athletes
    ]
    with service.database.writing() as session:
        taking_part.set_roster(session, service, subject, class_id, athletes)
        answer = roster_answer(session, subject, class_id)
    service.work.wake()
    return answer


@router.get(
    "/classes/{class_id}/roster.csv",
    summary="Who took part, as a sheet",
    response_class=Response,
    responses={**CSV_ANSWER, **declared(401, 403, 404, 422)},
)
def read_roster_sheet(service: ServiceNow, subject: Reader, class_id: ClassId) -> Response:
    """The roster as in a class folder."""
    with service.database.reading() as session:
        rows = taking_part.roster_rows(session, subject, class_id)
        return Response(roster_sheet(rows), media_type="text/csv")


@router.put(
    "/classes/{class_id}/roster.csv",
    summary="Say who took part, as a sheet",
    responses=declared(400, 401, 403, 404, 409, 413, 415, 422),
)
def set_roster_sheet(
    service: ServiceNow, subject: Writer, class_id: ClassId, data: SheetBody
) -> RosterAnswer:
    """The roster as in a class folder; `problems` tells of cells that were left out."""
    if not subject.coaches:
        raise NotHere
    athletes, problems = taking_part.roster_text_of(sheet_text(data))
    for athlete in athletes:
        if len(athlete.athlete) > 64 or "/" in athlete.athlete:
            raise Refused("An athlete's name here has at most 64 letters.", code="long_name")
    with service.database.writing() as session:
        taking_part.set_roster(session, service, subject, class_id, athletes)
        answer = roster_answer(session, subject, class_id, problems)
    service.work.wake()
    return answer
