"""Pages: plans as text with their timeline."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response

from api.http import (
    Reader,
    ServiceNow,
    Writer,
    page_of,
)
from api.pages.forms import Text, go
from api.pages.plan_drawing import drawn_plan
from api.pages.templates import me_of, page
from api.people.sight import (
    visible_plans,
)
from api.people.subject import Subject
from api.plans.endpoints import PlanId, plan_answer
from api.plans.service import add_plan, edit_plan, newest_version, plan_of
from api.problems import (
    Fault,
    NotHere,
    Refused,
)
from api.service import Service
from api.storage.model import (
    Plan,
)

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


@router.get("/plans")
def plans_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """Every plan that the person may see."""
    with service.database.reading() as session:
        rows, _ = page_of(session, visible_plans(subject), Plan.id, None, 200)
        return page(
            request,
            "plans",
            me=me_of(session, subject),
            plans=[plan_answer(session, subject, row.id) for row in rows],
        )


def drawn_plan_page(
    request: Request, service: Service, subject: Subject, text: str, title: str,
    status: int = 200, **values: Any,
) -> Response:  # fmt: skip
    """Draw a plan's text with its timeline, or with its mistakes."""
    faults: tuple[Fault, ...] = ()
    drawn = None
    try:
        drawn = drawn_plan(plan_of(text))
    except Refused as error:
        faults = error.faults
    with service.database.reading() as session:
        me = me_of(session, subject)
    return page(
        request, "plan", me=me, text=text, title=title, drawn=drawn, faults=faults,
        status=status, **{"versions": 0, "version": 0, **values},
    )  # fmt: skip


@router.get("/plans/new")
def new_plan_page(request: Request, service: ServiceNow, subject: Writer) -> Response:
    """A plan to begin with."""
    if not subject.coaches:
        raise NotHere
    return drawn_plan_page(request, service, subject, NEW_PLAN, "A new plan")


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
    text = text.replace("\r\n", "\n")
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, "A new plan")
    try:
        with service.database.writing() as session:
            row, _ = add_plan(
                session, gym_id=subject.gym_id, maker_id=subject.person_id,
                actor=subject.audit_mark, text=text,
            )  # fmt: skip
    except Refused:
        return drawn_plan_page(request, service, subject, text, "A new plan", 422)
    return go(f"/plans/{row.id}", "kept")


@router.get("/plans/{plan_id}")
def plan_page(request: Request, service: ServiceNow, subject: Reader, plan_id: PlanId) -> Response:
    """A plan: its timeline, and for a coach its text to edit."""
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
    return drawn_plan_page(
        request, service, subject, found.text, found.title, versions=found.versions,
        version=found.version,
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
    text = text.replace("\r\n", "\n")
    with service.database.reading() as session:
        found = plan_answer(session, subject, plan_id)
        before = newest_version(session, plan_id).text
    if not subject.coaches:
        raise NotHere
    versions = {"versions": found.versions, "version": found.version}
    if do != "keep":
        return drawn_plan_page(request, service, subject, text, found.title, **versions)
    try:
        with service.database.writing() as session:
            # A browser's form changes nothing but line ends; that is no new version.
            same = text.rstrip("\n") == before.rstrip("\n")
            edit_plan(session, service, subject, plan_id, before if same else text)
    except Refused:
        return drawn_plan_page(request, service, subject, text, found.title, 422, **versions)
    service.work.wake()
    return go(f"/plans/{plan_id}", "kept")
