"""Pages: plans as text, with their timeline drawn beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request, Response

from api.http import CursorNow, Reader, ServiceNow, Writer, language_of, page_of
from api.language import Language, deferred
from api.pages.forms import Text, go
from api.pages.plan_drawing import DrawnPlan, drawn_plan
from api.pages.templates import me_of, page
from api.people.sight import visible_plans
from api.people.subject import Subject
from api.plans.endpoints import PlanId, plan_answer
from api.plans.service import add_plan, edit_plan, newest_version, version_of
from api.problems import NotHere, Refused
from api.service import Service
from api.storage.model import Plan
from reconcile.errors import InputError
from reconcile.plan_text import read_plan

router = APIRouter()

NEW_PLAN = """\
title: A new plan
options: [prescribed, lighter]
blocks:
  - name: main
    rounds: 4
    steps:
      - work: 90s
        tasks:
          - {movement: box step-up, reps: 12, height_cm: 40}
          - {movement: machine, most: calories, intended: 30s..50s}
      - rest: 90s
    score: {measure: calories, take: total}
"""
NEW_TITLE = deferred("A new plan")

Of = Annotated[str | None, Query(pattern="^[0-9a-f]{32}$", description="A plan to begin with.")]
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1, description="Of that version.")]


@dataclass(frozen=True)
class PlanFault:
    """A mistake in a plan's text, with its line as it stands there."""

    line: int | None
    column: int | None
    text: str
    message: str
    remedy: str


def drawing_of(text: str, language: Language) -> tuple[DrawnPlan | None, list[PlanFault]]:
    """A plan drawn, or what keeps it from being drawn, in the order of the text."""
    try:
        return drawn_plan(read_plan(text), language), []
    except InputError as error:
        lines = text.split("\n")
        return None, [
            PlanFault(
                line=mistake.line,
                column=mistake.column,
                text=quoted(lines, mistake.line),
                message=language.text(mistake.message),
                remedy=language.text(mistake.remedy) if mistake.remedy else "",
            )
            for mistake in sorted(error.mistakes, key=lambda each: each.line or 0)
        ]


def quoted(lines: list[str], line: int | None) -> str:
    """A line as it stands, counted from 1; blank where there is none."""
    if line is None or not 1 <= line <= len(lines):
        return ""
    return lines[line - 1].strip()[:80]


def plain_lines(text: str) -> str:
    """What a browser's form sends, with the line ends that plans have."""
    return text.replace("\r\n", "\n")


@router.get("/plans")
def plans_page(
    request: Request, service: ServiceNow, subject: Reader, cursor: CursorNow = None
) -> Response:
    """Every plan that the person may see."""
    with service.database.reading() as session:
        rows, following = page_of(session, visible_plans(subject), Plan.id, cursor, 100)
        return page(
            request,
            "plans",
            me=me_of(session, subject),
            plans=[plan_answer(session, subject, row.id) for row in rows],
            following=following,
        )


def drawn_plan_page(
    request: Request, service: Service, subject: Subject, text: str, title: str,
    status: int = 200, **values: Any,
) -> Response:  # fmt: skip
    """Draw a plan's text with its timeline, or with its mistakes."""
    drawn, faults = drawing_of(text, language_of(request))
    with service.database.reading() as session:
        me = me_of(session, subject)
    return page(
        request, "plan", me=me, text=text, title=title, drawn=drawn, faults=faults,
        status=status, **{"plan_id": None, **values},
    )  # fmt: skip


@router.post("/plans/drawing")
def draw(request: Request, subject: Writer, text: Text = "") -> Response:
    """The drawing of a text alone, for the page to put beside it as one types."""
    if not subject.coaches:
        raise NotHere
    drawn, faults = drawing_of(plain_lines(text), language_of(request))
    return page(request, "plan_drawn", drawn=drawn, faults=faults)


@router.get("/plans/new")
def new_plan_page(
    request: Request, service: ServiceNow, subject: Writer, of: Of = None
) -> Response:
    """A plan to begin with: a small one, or the text of another."""
    if not subject.coaches:
        raise NotHere
    text = NEW_PLAN
    if of is not None:
        with service.database.reading() as session:
            text = plan_answer(session, subject, of).text
    return drawn_plan_page(request, service, subject, text, language_of(request).text(NEW_TITLE))


@router.post("/plans/new")
def make_plan(
    request: Request,
    service: ServiceNow,
    subject: Writer,
    text: Text = "",
    do: Annotated[str, Form()] = "keep",
) -> Response:
    """Keep a new plan, or draw it."""
    if not subject.coaches:
        raise NotHere
    text = plain_lines(text)
    title = language_of(request).text(NEW_TITLE)
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, title)
    try:
        with service.database.writing() as session:
            row, _ = add_plan(
                session, gym_id=subject.gym_id, maker_id=subject.person_id,
                actor=subject.audit_mark, text=text,
            )  # fmt: skip
    except Refused:
        return drawn_plan_page(request, service, subject, text, title, 422)
    return go(f"/plans/{row.id}", "kept")


@router.get("/plans/{plan_id}")
def plan_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    plan_id: PlanId,
    number: Number = None,
) -> Response:
    """A plan: its timeline, and for a coach its text to edit, or that of an earlier version."""
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
        text = found.text
        if number is not None:
            text = version_of(session, subject, plan_id, number).text
    return drawn_plan_page(
        request, service, subject, text, found.title, plan_id=plan_id, versions=found.versions,
        version=found.version, made_at=found.made_at,
    )  # fmt: skip


@router.post("/plans/{plan_id}")
def keep_plan(
    request: Request,
    service: ServiceNow,
    subject: Writer,
    plan_id: PlanId,
    text: Text = "",
    do: Annotated[str, Form()] = "keep",
) -> Response:
    """Keep a new version, or draw it."""
    text = plain_lines(text)
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
        before = newest_version(session, plan_id).text
    if not subject.coaches:
        raise NotHere
    values: dict[str, Any] = {
        "plan_id": plan_id, "versions": found.versions, "version": found.version,
        "made_at": found.made_at,
    }  # fmt: skip
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, found.title, **values)
    try:
        with service.database.writing() as session:
            # A browser's form changes nothing but line ends; that is no new version.
            same = text.rstrip("\n") == before.rstrip("\n")
            edit_plan(session, service, subject, plan_id, before if same else text)
    except Refused:
        return drawn_plan_page(request, service, subject, text, found.title, 422, **values)
    service.work.wake()
    return go(f"/plans/{plan_id}", "kept")
