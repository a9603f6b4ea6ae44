"""Pages: an athlete over time, and the classes by one plan over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from api.http import CursorNow, Reader, ServiceNow, language_of
from api.over_time import service as over_time
from api.over_time.service import ClassBlock, OwnBlock, OwnGroup
from api.pages import class_words
from api.pages.class_sheet import LoadLine, load_line
from api.pages.plan_words import SCORES
from api.pages.round_strip import PlanBands, RoundStrip, plan_bands, round_strips
from api.pages.templates import me_of, page
from api.people.endpoints import PersonId
from api.people.subject import Subject
from api.plans.endpoints import PlanId, plan_answer
from api.sheet import words
from reconcile.result import ScoreResult

router = APIRouter()


@dataclass(frozen=True)
class Point:
    """A score in the chart, in per cent: x of the time shown; y from below, with its range."""

    x: float
    y: float | None
    low: float | None
    high: float | None
    logged: float | None


@dataclass(frozen=True)
class Chart:
    """Scores of like blocks over time, on a scale from 0 to `most`."""

    points: tuple[Point, ...]
    most: float


@dataclass(frozen=True)
class OwnLine:
    """One class in an athlete's table."""

    own: OwnBlock
    strips: tuple[RoundStrip, ...]


@dataclass(frozen=True)
class OwnTable:
    """Like blocks of an athlete; number tells the tables of a page apart."""

    number: int
    group: OwnGroup
    bands: PlanBands
    lines: tuple[OwnLine, ...]
    chart: Chart | None


@dataclass(frozen=True)
class ClassLine:
    """One class in a plan's table: the group's time on the machine where some is intended."""

    one: ClassBlock
    load: LoadLine | None


@router.get("/people/{person_id}/over-time")
def athlete_over_time_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    person_id: PersonId,
    cursor: CursorNow = None,
) -> Response:
    """An athlete's classes, like beside like; theirs and their coaches' to see."""
    with service.database.reading() as session:
        person, groups, following = over_time.athlete_over_time(session, subject, person_id, cursor)
        tables = [own_table(number, group) for number, group in enumerate(groups, start=1)]
        return drawn(
            request, session, subject, "athlete_over_time", person=person, tables=tables,
            following=following,
        )  # fmt: skip


@router.get("/plans/{plan_id}/over-time")
def plan_over_time_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    plan_id: PlanId,
    cursor: CursorNow = None,
) -> Response:
    """The classes by one plan; a coach's to see."""
    with service.database.reading() as session:
        groups, following = over_time.plan_over_time(session, subject, plan_id, cursor)
        tables = [
            (group, [ClassLine(one, load_line(one.rows, None)) for one in group.times])
            for group in groups
        ]
        return drawn(
            request, session, subject, "plan_over_time",
            plan=plan_answer(session, subject, plan_id), tables=tables, following=following,
            counts=over_time.verdict_counts,
        )  # fmt: skip


def drawn(
    request: Request, session: Session, subject: Subject, template: str, **values: Any
) -> Response:
    """Draw a page over time."""
    language = language_of(request)
    return page(
        request,
        template,
        me=me_of(session, subject),
        words=words,
        load_words=class_words.LOADS,
        measures=class_words.MEASURES,
        score_words=lambda rule: language.text(SCORES[rule.measure, rule.take]),
        efforts_by_round=over_time.efforts_by_round,
        **values,
    )


def own_table(number: int, group: OwnGroup) -> OwnTable:
    """A group as a table with a strip a round, and a chart where there is something to compare."""
    return OwnTable(
        number,
        group,
        plan_bands(group.block),
        tuple(OwnLine(own, round_strips(own.block, own.row.intervals)) for own in group.times),
        chart_of(group.times),
    )


def chart_of(times: Sequence[OwnBlock]) -> Chart | None:
    """Scores over the days from first to last; None for fewer than two."""
    scored = [
        (own.held.start.timestamp(), own.row.score)
        for own in times
        if own.row.score is not None
        and (own.row.score.recorded is not None or own.row.score.logged is not None)
    ]
    if len(scored) < 2 or len({score.measure for _, score in scored}) > 1:
        return None
    first, last = min(moment for moment, _ in scored), max(moment for moment, _ in scored)
    most = max(highest(score) for _, score in scored) * 1.1 or 1.0

    def height(value: float | None) -> float | None:
        return None if value is None else round(value / most * 100, 1)

    return Chart(
        tuple(
            Point(
                round(4 + 92 * (moment - first) / ((last - first) or 1.0), 1),
                height(score.recorded),
                height(score.low),
                height(score.high),
                height(score.logged),
            )
            for moment, score in sorted(scored, key=lambda pair: pair[0])
        ),
        most,
    )


def highest(score: ScoreResult) -> float:
    """The largest number that a score has to show."""
    return max(value or 0.0 for value in (score.recorded, score.high, score.logged))
