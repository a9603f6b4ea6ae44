"""The pages' templates; every value is escaped, a name that is not there is an error."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from sqlalchemy.orm import Session

from api.people.subject import Subject
from api.results.pages import piece
from api.storage.model import Person

SAID = {
    "kept": "That is kept.",
    "sent": "That is in.",
    "deleted": "That is deleted.",
    "settled": "That is settled.",
    "confirmed": "That is confirmed.",
    "erased": "Everything of that person is erased.",
    "signed-out": "You are signed out.",
    "wrong-password": "That mail address and password do not fit together.",
    "sure": "Write the word to go on.",
}
WRONG = {"wrong-password", "sure"}


@dataclass(frozen=True)
class Me:
    """Who looks at a page, and where they can go."""

    id: str
    name: str
    coaches: bool
    owns: bool
    visiting: bool
    way: tuple[tuple[str, str], ...]


def me_of(session: Session, subject: Subject) -> Me:
    """Gather what a page shows of who looks at it."""
    way = [("/classes", "Classes")]
    if subject.coaches:
        way.append(("/plans", "Plans"))
    if subject.coaches or subject.owns:
        way.append(("/people", "People"))
    if subject.owns:
        way.append(("/gym", "The gym"))
    way.append(("/you", "You"))
    return Me(
        id=subject.person_id,
        name=session.get_one(Person, subject.person_id).name,
        coaches=subject.coaches,
        owns=subject.owns,
        visiting=subject.visiting,
        way=tuple(way),
    )


@cache
def environment() -> Environment:
    """Make the environment once."""
    return Environment(
        loader=PackageLoader("api.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(
    request: Request, template: str, *, me: Me | None = None, status: int = 200, **values: Any
) -> Response:
    """Draw a page; what was done before it is said on top."""
    said = request.query_params.get("said", "")
    values = {"said": SAID.get(said, ""), "wrong": said in WRONG, **values}
    text = (
        environment().get_template(f"{template}.html.jinja").render(
            me=me, here=request.url.path, **values
        )
    )  # fmt: skip
    return HTMLResponse(text, status_code=status, headers={"Cache-Control": "no-store"})


def sheet_piece(text: str | None) -> dict[str, Any]:
    """A drawn sheet as the style and the body to put into a page; both empty where there is none.

    Both are our own template's output, escaped there.
    """
    if text is None:
        return {"style": "", "piece": ""}
    style, body = piece(text)
    return {"style": Markup(style), "piece": Markup(body)}  # noqa: S704


def drawing(svg: str) -> Markup:
    """A drawing of our own making, as it is."""
    return Markup(svg)  # noqa: S704
