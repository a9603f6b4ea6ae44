"""Pages: every version of a plan, and what changed from one to another."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from api.http import Reader, ServiceNow, language_of
from api.pages.plan_drawing import drawn_plan
from api.pages.templates import me_of, page
from api.people.sight import visible_people
from api.plans.endpoints import PlanId, plan_answer
from api.plans.service import classes_by_version, seen_plan, version_of
from api.problems import NotHere
from reconcile.plan_text import read_plan

router = APIRouter()

Version = Annotated[int, Path(ge=1, le=2**31 - 1)]
LINES_AROUND = 3


@dataclass(frozen=True)
class ComparedLine:
    """A line of two texts, with its number in each: `same`, `gone` or `new`; `gap` for more."""

    kind: str
    before: int | None
    after: int | None
    text: str


def compared(before: str, after: str) -> list[ComparedLine]:
    """What went and what came, with a few lines around; empty where nothing changed."""
    old, new = before.rstrip("\n").split("\n"), after.rstrip("\n").split("\n")
    matcher = difflib.SequenceMatcher(a=old, b=new, autojunk=False)
    lines: list[ComparedLine] = []
    for group in matcher.get_grouped_opcodes(LINES_AROUND):
        if lines:
            lines.append(ComparedLine("gap", None, None, ""))
        for kind, a, a_end, b, b_end in group:
            if kind == "equal":
                lines += [
                    ComparedLine("same", a + step + 1, b + step + 1, old[a + step])
                    for step in range(a_end - a)
                ]
                continue
            lines += [ComparedLine("gone", n + 1, None, old[n]) for n in range(a, a_end)]
            lines += [ComparedLine("new", None, n + 1, new[n]) for n in range(b, b_end)]
    return lines


@router.get("/plans/{plan_id}/versions")
def versions_page(
    request: Request, service: ServiceNow, subject: Reader, plan_id: PlanId
) -> Response:
    """Every version: when, by whom, and which classes were held by it."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        _, versions = seen_plan(session, subject, plan_id)
        names = {person.id: person.name for person in session.scalars(visible_people(subject))}
        return page(
            request,
            "plan_versions",
            me=me_of(session, subject),
            plan=plan_answer(session, subject, plan_id),
            versions=[(row, names.get(row.made_by or "")) for row in versions],
            classes=classes_by_version(session, subject, plan_id),
        )


@router.get("/plans/{plan_id}/versions/{number}")
def version_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    plan_id: PlanId,
    number: Version,
    since: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """One version, drawn, beside an earlier one: what changed from that."""
    if not subject.coaches:
        raise NotHere
    language = language_of(request)
    with service.database.reading() as session:
        after = version_of(session, subject, plan_id, number)
        earlier = since if since is not None else max(1, number - 1)
        before = version_of(session, subject, plan_id, earlier)
        return page(
            request,
            "plan_version",
            me=me_of(session, subject),
            plan=plan_answer(session, subject, plan_id),
            version=after,
            earlier=earlier,
            lines=compared(before.text, after.text),
            drawn_before=drawn_plan(read_plan(before.text), language),
            drawn=drawn_plan(read_plan(after.text), language),
            faults=[],
        )
