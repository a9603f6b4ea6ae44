"""The pages' templates; every value is escaped, a name that is not there is an error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup
from sqlalchemy.orm import Session

from api.http import language_of
from api.language import Language, deferred
from api.people.subject import Subject
from api.storage.model import Person

SAID = {
    "kept": deferred("That is kept."),
    "sent": deferred("That is in."),
    "held": deferred("That file was here already, so nothing changed."),
    "deleted": deferred("That is deleted."),
    "settled": deferred("That is settled."),
    "undone": deferred("That is undone."),
    "pinned": deferred("It is placed by hand, and the class is worked out again."),
    "told": deferred("Your coach is asked to look."),
    "confirmed": deferred("That is confirmed."),
    "erased": deferred("Everything of that person is erased."),
    "signed-out": deferred("You are signed out."),
    "wrong-password": deferred("That mail address and password do not fit together."),
    "sure": deferred("Write the word to go on."),
}
WRONG = {"wrong-password", "sure"}

# Nothing but our own files runs or is fetched, and nobody frames a page or learns its address.
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": (
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
        "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}


@dataclass(frozen=True)
class Me:
    """Who looks at a page, and where they can go: addresses with what they are called."""

    id: str
    name: str
    coaches: bool
    owns: bool
    visiting: bool
    way: tuple[tuple[str, str], ...]


def me_of(session: Session, subject: Subject) -> Me:
    """Gather what a page shows of who looks at it."""
    way = [("/classes", deferred("Classes"))]
    if subject.coaches:
        way.append(("/plans", deferred("Plans")))
    if subject.coaches or subject.owns:
        way.append(("/people", deferred("People")))
    if subject.owns:
        way.append(("/gym", deferred("The gym")))
    way.append(("/you", deferred("You")))
    return Me(
        id=subject.person_id,
        name=session.get_one(Person, subject.person_id).name,
        coaches=subject.coaches,
        owns=subject.owns,
        visiting=subject.visiting,
        way=tuple(way),
    )


# How values are written, each by the method of Language that has its name.
WRITTEN = (
    "number", "whole", "percent", "date", "time_of_day", "moment", "seconds", "duration", "mass",
    "mass_number", "with_unit", "listed", "told",
)  # fmt: skip


@cache
def environment() -> Environment:
    """Make the environment once; a page's language comes with its values, as `language`."""
    made = Environment(
        loader=PackageLoader("api.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.filters.update({name: written(name) for name in WRITTEN})
    made.globals.update({"_": say, "plural": say_plural, "gettext": message, "ngettext": messages})
    return made


def written(name: str) -> Callable[..., Any]:
    """Make the filter that writes a value in the page's language."""

    @pass_context
    def write(context: Context, value: Any, *options: Any, **named: Any) -> Any:
        return getattr(context["language"], name)(value, *options, **named)

    return write


@pass_context
def say(context: Context, message: str, /, **values: Any) -> str:
    """`_("Hello {name}", name=…)`: a sentence in the page's language."""
    spoken: Language = context["language"]
    return spoken.text(message, **values)


@pass_context
def say_plural(context: Context, one: str, many: str, /, count: int, **values: Any) -> str:
    """`plural("{count} round", "{count} rounds", n)`: the same, about so many things."""
    spoken: Language = context["language"]
    return spoken.plural(one, many, count, **values)


@pass_context
def message(context: Context, text: str) -> str:
    """What `{% trans %}` looks up: for sentences with markup in them."""
    spoken: Language = context["language"]
    return spoken.translations.gettext(text)


@pass_context
def messages(context: Context, one: str, many: str, count: int) -> str:
    """What `{% trans %}` with `{% pluralize %}` looks up."""
    spoken: Language = context["language"]
    return spoken.translations.ngettext(one, many, count)


def page(
    request: Request, template: str, *, me: Me | None = None, status: int = 200, **values: Any
) -> Response:
    """Draw a page in the language of who looks; what was done before it is said on top."""
    said = request.query_params.get("said", "")
    spoken = language_of(request)
    values = {
        "said": spoken.text(SAID[said]) if said in SAID else "",
        "wrong": said in WRONG,
        "language": spoken,
        **values,
    }
    drawn = environment().get_template(f"{template}.html.jinja")
    text = drawn.render(me=me, here=request.url.path, **values)
    return HTMLResponse(text, status_code=status, headers=HEADERS)


def drawing(svg: str) -> Markup:
    """A drawing of our own making, as it is."""
    return Markup(svg)  # noqa: S704
