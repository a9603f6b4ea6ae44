"""Pages: the gym's people, one of them, and the links by which they sign in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response

from api.addresses import link_address, public_address
from api.http import CursorNow, Keeper, Reader, ServiceNow, Writer, language_of, page_of
from api.language import Language, deferred
from api.pages.forms import FormNow, go
from api.pages.templates import drawing, me_of, page
from api.people import service as people
from api.people.codes import code_svg
from api.people.endpoints import PersonId, person_answer
from api.people.erasure import erase_person
from api.people.link_endpoints import LinkId
from api.people.schemas import PersonChange
from api.people.sight import visible_people
from api.people.subject import ROLES, Subject
from api.problems import NotHere, Refused
from api.service import Service
from api.storage.model import Person

router = APIRouter()

ROLE_WORDS = {
    "athlete": deferred("athlete"),
    "coach": deferred("coach"),
    "owner": deferred("owner"),
}


@router.get("/people")
def people_page(
    request: Request, service: ServiceNow, subject: Keeper, cursor: CursorNow = None
) -> Response:
    """The gym's people, and the links that are out."""
    if not (subject.coaches or subject.owns):
        raise NotHere
    with service.database.reading() as session:
        rows, following = page_of(session, visible_people(subject), Person.id, cursor, 200)
        found = [person_answer(session, subject, row) for row in rows]
        return page(
            request,
            "people",
            me=me_of(session, subject),
            people=sorted(found, key=lambda each: each.name.casefold()),
            following=following,
            links=people.live_links(session, subject),
            role_words=ROLE_WORDS,
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
    if role != "athlete" and not mail.strip():
        raise Refused("Coaches and owners sign in with a mail address: give one.")
    with service.database.writing() as session:
        person = people.add_person(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, name=name,
            handle=handle or None, mail=mail or None, roles=(role,), body={},
        )  # fmt: skip
    return go(f"/people/{person.id}", "kept")


def drawn_person(
    request: Request, service: Service, subject: Subject, person_id: str, **values: Any
) -> Response:
    """Draw one person, and a link just made for them."""
    if not (subject.coaches or subject.owns):
        raise NotHere
    with service.database.reading() as session:
        row = people.person_seen(session, subject, person_id)
        person = person_answer(session, subject, row)
        leads = bool(set(person.roles) - {"athlete"})
        return page(
            request,
            "person",
            me=me_of(session, subject),
            person=person,
            role_words=ROLE_WORDS,
            may_invite=subject.owns or not leads or person.id == subject.person_id,
            **{"link": None, **values},
        )


@router.get("/people/{person_id}")
def person_page(
    request: Request, service: ServiceNow, subject: Reader, person_id: PersonId
) -> Response:
    """One person: name, figures, roles, ways to sign in."""
    return drawn_person(request, service, subject, person_id)


@router.post("/people/{person_id}")
def keep_person(
    request: Request, service: ServiceNow, subject: Writer, person_id: PersonId, form: FormNow
) -> Response:
    """Keep a name and the figures that the next roster begins with; a coach's to do."""
    if not subject.coaches:
        raise NotHere
    figures = PersonChange(
        name=str(form.get("name", "")).strip()[:200] or None,
        **figures_of({name: str(value) for name, value in form.items()}, language_of(request)),
    )
    with service.database.writing() as session:
        people.change_person(session, subject, person_id, figures.model_dump())
    return go(f"/people/{person_id}", "kept")


def figures_of(form: dict[str, str], language: Language) -> dict[str, Any]:
    """The body's figures as a form has them; raises Refused for what no body has."""
    sex = form.get("sex", "")
    birth_year = figure(form, "birth_year", 1900, 2100)
    mass_kg = language.mass_kg(figure(form, "mass", 20, 900))
    if mass_kg is not None and not 20 <= mass_kg <= 400:
        raise Refused("A mass is between 20 and 400 kg.")
    return {
        "sex": sex if sex in ("m", "f") else None,
        "birth_year": int(birth_year) if birth_year is not None else None,
        "mass_kg": mass_kg,
        "resting_hr": figure(form, "resting_hr", 20, 150),
        "max_hr": figure(form, "max_hr", 80, 250),
        "vo2max": figure(form, "vo2max", 5, 100),
    }


def figure(form: dict[str, str], name: str, least: float, most: float) -> float | None:
    """A number of a form, with a point or a comma; None for blank. Raises Refused."""
    text = form.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError as error:
        raise Refused("One of the figures is not a number.") from error
    if not least <= value <= most:
        raise Refused("One of the figures is beyond what a body has.")
    return value


@router.post("/people/{person_id}/roles")
def set_roles(service: ServiceNow, subject: Keeper, person_id: PersonId, form: FormNow) -> Response:
    """Say what somebody is in the gym; an owner's to do."""
    roles = [role for role in ROLES if role in form.getlist("role")]
    if not subject.owns:
        raise NotHere
    if not roles:
        raise Refused("Everybody in a gym is something: athlete, coach or owner.")
    with service.database.writing() as session:
        people.set_roles(session, subject, person_id, roles)
    return go(f"/people/{person_id}", "kept")


@router.post("/people/{person_id}/links")
def make_link(
    request: Request, service: ServiceNow, subject: Keeper, person_id: PersonId
) -> Response:
    """Make a personal link, and show it once."""
    with service.database.writing() as session:
        found, secret = people.invite(session, service, subject, person_id)
    address = link_address(public_address(request, service.settings), secret)
    link = {
        "url": address,
        "svg": drawing(code_svg(address, language_of(request).text("Personal link"))),
        "expires_at": found.expires_at,
        "invite": found.kind == "invite",
    }
    return drawn_person(request, service, subject, person_id, link=link)


@router.post("/links/{link_id}/revoke")
def revoke_link(service: ServiceNow, subject: Keeper, link_id: LinkId) -> Response:
    """Make a link useless that the person made."""
    with service.database.writing() as session:
        people.revoke_link(session, subject, link_id)
    return go("/people", "deleted")


@router.post("/people/{person_id}/sign-outs")
def sign_out_everywhere(service: ServiceNow, subject: Keeper, person_id: PersonId) -> Response:
    """Sign somebody out everywhere; an owner's to do here."""
    if not subject.owns:
        raise NotHere
    with service.database.writing() as session:
        people.end_sign_ins(session, subject, person_id)
    return go(f"/people/{person_id}", "kept")


@router.post("/people/{person_id}/erasure")
def erase(
    service: ServiceNow, subject: Keeper, person_id: PersonId, sure: Annotated[str, Form()] = ""
) -> Response:
    """Erase somebody; an owner's to do here."""
    if not subject.owns:
        raise NotHere
    if sure != "erase":
        return go(f"/people/{person_id}", "sure")
    erase_person(service, subject, person_id)
    return go("/people", "erased")
