"""Pages: the scores from the board, typed or pasted into one grid for the whole class."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes import taking_part
from api.classes.endpoints import ClassId, class_answer
from api.http import Reader, ServiceNow, Writer, language_of
from api.language import Language
from api.pages.board import (
    EQUIPMENT,
    BoardBlock,
    BoardRow,
    board_row,
    drawn_board,
    field_name,
    read_row,
    typed_board,
)
from api.pages.forms import FormNow, go
from api.pages.plan_words import SCORES
from api.pages.templates import me_of, page
from api.people.subject import Subject
from api.problems import NotHere
from api.service import Service
from api.storage.model import Score
from reconcile.plan import Plan

router = APIRouter()


@router.get("/classes/{class_id}/board")
def board_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The grid with what is logged so far; a coach's."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        plan, board = board_now(session, subject, class_id, language_of(request))
        return drawn(request, session, subject, class_id, plan, board)


@router.post("/classes/{class_id}/board")
def keep_board(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, form: FormNow
) -> Response:
    """Log every row that says something new; where cells cannot be read, show them again."""
    if not subject.coaches:
        raise NotHere
    language = language_of(request)
    with service.database.writing() as session:
        plan, board = board_now(session, subject, class_id, language)
        typed = typed_board(board, form)
        kept = tuple(
            replace(
                grid,
                rows=tuple(
                    keep_row(session, service, subject, class_id, row, grid, plan, language)
                    for row in grid.rows
                ),
            )
            for grid in typed
        )
    service.work.wake()
    if not any(row.faults for grid in kept for row in grid.rows):
        return go(f"/classes/{class_id}", "kept")
    with service.database.reading() as session:
        return drawn(request, session, subject, class_id, plan, kept, status=422)


def keep_row(
    session: Session, service: Service, subject: Subject, class_id: str, row: BoardRow,
    grid: BoardBlock, plan: Plan, language: Language,
) -> BoardRow:  # fmt: skip
    """Log what a row says, if it is new and whole; gives the row with its faults."""
    was = session.scalar(select(Score).where(Score.id == row.was, Score.class_id == class_id))
    if row.cells == board_row(row.handle, row.name, was, grid.block, language).cells:
        return row
    logged, faults = read_row(row, grid, plan, language)
    if faults:
        return replace(row, faults=faults)
    logged = classes.checked_score(plan, logged)
    found = classes.log_score(session, service, subject, class_id, row.handle, logged)
    return replace(row, was=found.id)


def board_now(
    session: Session, subject: Subject, class_id: str, language: Language
) -> tuple[Plan, tuple[BoardBlock, ...]]:
    """The plan and the grids as logged."""
    plan = classes.class_plan(session, classes.seen_class(session, subject, class_id))
    people = [
        (person.handle, person.name)
        for _, person in taking_part.roster_rows(session, subject, class_id)
    ]
    scores = classes.score_rows(session, subject, class_id, replaced=False)
    return plan, drawn_board(plan, people, scores, language)


def drawn(
    request: Request, session: Session, subject: Subject, class_id: str, plan: Plan,
    board: tuple[BoardBlock, ...], status: int = 200,
) -> Response:  # fmt: skip
    """Draw the grids."""
    language = language_of(request)
    return page(
        request,
        "board",
        status=status,
        me=me_of(session, subject),
        found=class_answer(session, subject, classes.seen_class(session, subject, class_id)),
        board=board,
        faults=sum(len(row.faults) for grid in board for row in grid.rows),
        options=plan.options,
        equipment=EQUIPMENT,
        field_name=field_name,
        score_words=lambda rule: language.text(SCORES[rule.measure, rule.take]),
    )
