"""Logged scores and the class table over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import ClassId
from api.classes.schemas import ScoreAnswer, ScoreBody, ScoreList, TableAnswer, TableRow
from api.classes.sheets import CSV_ANSWER, SheetBody, sheet_text
from api.http import Reader, Sender, ServiceNow, Writer, declared
from api.people.sight import class_table_people
from api.people.subject import Subject
from api.problems import NotHere
from api.storage.model import Score
from api.transfer.sheets import score_sheet
from reconcile.classes import LoggedScore

router = APIRouter(tags=["classes"])

AthleteHandle = Annotated[
    str, Path(min_length=1, max_length=64, description="The athlete's name in class folders.")
]


def score_answer(row: Score, handle: str) -> ScoreAnswer:
    """Describe a logged score."""
    return ScoreAnswer(
        id=row.id,
        athlete=handle,
        block=row.block,
        option=row.option,
        equipment=row.equipment,
        score=row.score,
        rounds=row.rounds,
        load_kg=row.load_kg,
        notes=row.notes,
        logged_at=row.logged_at,
        replaced_at=row.replaced_at,
    )


@router.get(
    "/classes/{class_id}/scores", summary="Logged scores", responses=declared(401, 403, 404, 422)
)
def read_scores(
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    replaced: Annotated[bool, Query(description="Also those that were changed since.")] = False,
) -> ScoreList:
    """A coach sees all, an athlete their own."""
    with service.database.reading() as session:
        rows = classes.score_rows(session, subject, class_id, replaced=replaced)
        return ScoreList(items=[score_answer(row, handle) for row, handle in rows])


@router.put(
    "/classes/{class_id}/scores/{athlete}",
    summary="Log a score",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def log_score(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    athlete: AthleteHandle,
    body: ScoreBody,
) -> ScoreAnswer:
    """Log or change a score: an athlete's own, or a coach for anybody. Earlier ones are kept."""
    with service.database.writing() as session:
        found = classes.seen_class(session, subject, class_id)
        logged = classes.checked_score(
            classes.class_plan(session, found),
            LoggedScore(
                athlete=athlete,
                block=body.block,
                option=body.option,
                equipment=body.equipment,
                score=body.score,
                rounds=tuple(body.rounds) if body.rounds is not None else None,
                load_kg=body.load_kg,
                notes=body.notes,
            ),
        )
        row = classes.log_score(session, service, subject, class_id, athlete, logged)
        answer = score_answer(row, athlete)
    service.work.wake()
    return answer


@router.get(
    "/classes/{class_id}/scores.csv",
    summary="Logged scores, as a sheet",
    response_class=Response,
    responses={**CSV_ANSWER, **declared(401, 403, 404, 422)},
)
def read_score_sheet(service: ServiceNow, subject: Reader, class_id: ClassId) -> Response:
    """The scores as in a class folder."""
    with service.database.reading() as session:
        rows = classes.score_rows(session, subject, class_id, replaced=False)
        return Response(score_sheet(rows), media_type="text/csv")


@router.put(
    "/classes/{class_id}/scores.csv",
    summary="Log scores from a sheet",
    responses=declared(400, 401, 403, 404, 413, 415, 422),
)
def log_score_sheet(
    service: ServiceNow, subject: Writer, class_id: ClassId, data: SheetBody
) -> ScoreList:
    """Scores as in a class folder; `problems` tells of rows and cells that were left out."""
    if not subject.coaches:
        raise NotHere
    with service.database.writing() as session:
        problems = classes.log_sheet(session, service, subject, class_id, sheet_text(data))
        rows = classes.score_rows(session, subject, class_id, replaced=False)
        answer = ScoreList(
            items=[score_answer(row, handle) for row, handle in rows], problems=list(problems)
        )
    service.work.wake()
    return answer


@router.get(
    "/classes/{class_id}/table", summary="The class table", responses=declared(401, 403, 404, 422)
)
def read_table(service: ServiceNow, subject: Reader, class_id: ClassId) -> TableAnswer:
    """Logged scores of those who agreed to be seen by their classmates, and one's own."""
    with service.database.reading() as session:
        classes.seen_class(session, subject, class_id)
        return TableAnswer(items=table_rows(session, subject, class_id))


def table_rows(session: Session, subject: Subject, class_id: str) -> list[TableRow]:
    """The rows that the person may see."""
    rows = []
    for person in session.scalars(class_table_people(subject, class_id)):
        rows_or_none: list[Score | None] = list(
            session.scalars(
                select(Score)
                .where(
                    Score.class_id == class_id,
                    Score.person_id == person.id,
                    Score.replaced_at.is_(None),
                )
                .order_by(Score.position)
            )
        ) or [None]
        rows += [
            TableRow(
                athlete=person.handle,
                name=person.name,
                option=row.option if row is not None else None,
                equipment=row.equipment if row is not None else None,
                block=row.block if row is not None else None,
                score=row.score if row is not None else None,
                rounds=row.rounds if row is not None else None,
            )
            for row in rows_or_none
        ]
    return rows
