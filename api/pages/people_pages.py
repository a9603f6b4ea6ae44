"""Pages: the gym's people, the gym itself."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response

from api.addresses import link_address, public_address
from api.http import (
    CursorNow,
    Keeper,
    ServiceNow,
    page_of,
)
from api.pages.forms import go
from api.pages.templates import drawing, me_of, page
from api.people import service as people
from api.people.codes import code_svg
from api.people.endpoints import (
    PersonId,
    person_answer,
)
from api.people.erasure import erase_person
from api.people.sight import (
    visible_audit,
    visible_people,
)
from api.people.subject import ROLES, Subject
from api.problems import (
    NotHere,
)
from api.service import Service
from api.storage.model import (
    Audit,
    Gym,
    Person,
)

router = APIRouter()


@router.get("/people")
def people_page(
    request: Request, service: ServiceNow, subject: Keeper, cursor: CursorNow = None
) -> Response:
    """The gym's people."""
    return drawn_people(request, service, subject, cursor=cursor)


def drawn_people(
    request: Request, service: Service, subject: Subject, *, cursor: str | None = None,
    link: dict[str, Any] | None = None,
) -> Response:  # fmt: skip
    """Draw the gym's people, and a link just made."""
    if not (subject.coaches or subject.owns):
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, visible_people(subject), Person.id, cursor, 200)
        return page(
            request,
            "people",
            me=me_of(session, subject),
            people=[person_answer(session, subject, row) for row in rows],
            following=following,
            link=link,
        )


@router.post("/people")
def add_person(
    service: ServiceNow,
    subject: Keeper,
    name: Annotated[str, Form(min_length=1, max_length=200)],
    handle: Annotated[str, Form(pattern=r"^([A-Za-z0-9][A-Za-z0-9_-]{0,63})?$")] = "",
    role: Annotated[str, Form()] = "athlete",
    mail: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Add somebody: a coach an athlete, an owner anybody."""
    if role not in ROLES or not (subject.owns or (subject.coaches and role == "athlete")):
        raise NotHere
    with service.database.writing() as session:
        people.add_person(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, name=name,
            handle=handle or None, mail=mail or None, roles=(role,), body={},
        )  # fmt: skip
    return go("/people", "kept")


@router.post("/people/{person_id}/links")
def make_link(
    request: Request, service: ServiceNow, subject: Keeper, person_id: PersonId
) -> Response:
    """Make a personal link, and show it once."""
    with service.database.writing() as session:
        found, secret = people.invite(session, service, subject, person_id)
        name = session.get_one(Person, person_id).name
    address = link_address(public_address(request, service.settings), secret)
    link = {
        "name": name,
        "url": address,
        "svg": drawing(code_svg(address, "Personal link")),
        "expires_at": found.expires_at,
    }
    return drawn_people(request, service, subject, link=link)


@router.post("/people/{person_id}/erasure")
def erase(
    service: ServiceNow, subject: Keeper, person_id: PersonId, sure: Annotated[str, Form()] = ""
) -> Response:
    """Erase somebody; an owner's to do here."""
    if not subject.owns:
        raise NotHere
    if sure != "erase":
        return go("/people", "sure")
    erase_person(service, subject, person_id)
    return go("/people", "erased")


@router.get("/gym")
def gym_page(
    request: Request, service: ServiceNow, subject: Keeper, cursor: CursorNow = None
) -> Response:
    """Settings and the audit log; an owner's to see."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, visible_audit(subject), Audit.id, cursor, 100)
        names = {p.audit_mark: p.name for p in session.scalars(visible_people(subject))}
        lines = [
            {
                "at": row.at, "actor": row.actor, "actor_name": names.get(row.actor or ""),
                "action": row.action, "detail": row.detail,
            }
            for row in rows
        ]  # fmt: skip
        return page(
            request,
            "gym",
            me=me_of(session, subject),
            gym=session.get_one(Gym, subject.gym_id),
            lines=lines,
            following=following,
        )


@router.post("/gym")
def keep_gym(
    service: ServiceNow,
    subject: Keeper,
    name: Annotated[str, Form(min_length=1, max_length=200)],
    retention_days: Annotated[str, Form(pattern="^([1-9][0-9]{0,4})?$")] = "",
) -> Response:
    """Keep the gym's settings."""
    changes: dict[str, object] = {
        "name": name,
        "retention_days": int(retention_days) if retention_days else None,
    }
    with service.database.writing() as session:
        people.change_gym(session, subject, changes)
    return go("/gym", "kept")
