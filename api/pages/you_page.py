"""Pages: the person who asks: figures, agreements, settings, devices, and everything of theirs."""

from __future__ import annotations

from typing import Annotated, Any

from babel import Locale
from fastapi import APIRouter, Form, Request, Response
from pydantic import ValidationError

from api.addresses import link_address, public_address
from api.folder.sheets import read_number
from api.http import Keeper, Reader, Sender, ServiceNow, language_of
from api.language import LOCALES, MASS_UNITS, Language, Preferences, deferred
from api.pages.forms import FormNow, go
from api.pages.templates import drawing, me_of, page
from api.people import service as people
from api.people.codes import code_svg
from api.people.endpoints import person_answer
from api.people.erasure import erase_person
from api.people.own_access import end_own_sign_in, own_link, own_sign_ins
from api.people.own_endpoints import consent_list
from api.people.schemas import PersonChange, PurposeName
from api.people.sight import visible_tokens
from api.people.subject import SCOPES, Subject
from api.people.token_endpoints import TokenId
from api.problems import NotHere
from api.service import Service
from api.storage.model import ApiToken, Gym, Person
from api.storage.moments import now

router = APIRouter()

FIGURES = ("birth_year", "mass_kg", "resting_hr", "max_hr", "vo2max")
# What a field takes, told where it is refused.
TAKES = {
    "name": deferred("Write a name of at most 200 letters."),
    "birth_year": deferred("Write a year from 1900 to 2100."),
    "mass_kg": deferred("Write a mass that a person has."),
    "resting_hr": deferred("Write beats a minute, from 20 to 150."),
    "max_hr": deferred("Write beats a minute, from 80 to 250."),
    "vo2max": deferred("Write ml a kilogram and minute, from 5 to 100."),
}
SCOPE_WORDS = {
    "read": deferred("read"),
    "upload": deferred("upload and log"),
    "write": deferred("change classes and plans"),
    "people": deferred("people and keys"),
}
TOKEN_DAYS = 90


@router.get("/you")
def you_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """What the person agreed to, and everything of theirs."""
    return drawn_you(request, service, subject)


def drawn_you(
    request: Request, service: Service, subject: Subject, *, status: int = 200,
    typed: dict[str, str] | None = None, wrong: dict[str, str] | None = None,
    shown: dict[str, Any] | None = None,
) -> Response:  # fmt: skip
    """Draw the page; typed, wrong: figures that were refused; shown: a secret, this once."""
    language = language_of(request)
    with service.database.reading() as session:
        person = session.get_one(Person, subject.person_id)
        answer = person_answer(session, subject, person)
        tokens = session.scalars(
            visible_tokens(subject)
            .where(ApiToken.revoked_at.is_(None), ApiToken.expires_at > now())
            .order_by(ApiToken.id)
        )
        return page(
            request,
            "you",
            status=status,
            me=me_of(session, subject),
            person=answer,
            gym=session.get_one(Gym, subject.gym_id).name,
            consents=consent_list(session, person.id).items,
            typed=typed if typed is not None else figures_of(language, person),
            faults={name: language.text(said) for name, said in (wrong or {}).items()},
            locales=[(name, locale_name(name)) for name in LOCALES],
            mass_units=MASS_UNITS,
            chosen=(person.locale, person.mass_unit),
            sign_ins=own_sign_ins(session, subject),
            here_by=subject.sign_in_id,
            tokens=list(tokens),
            scopes={name: SCOPE_WORDS[name] for name in SCOPES},
            shown=shown,
        )


def locale_name(name: str) -> str:
    """A locale in its own language, as an entry of a list begins."""
    said = str(Locale.parse(name).get_display_name())
    return said[0].upper() + said[1:]


def figures_of(language: Language, person: Person) -> dict[str, str]:
    """The person's figures as fields hold them; a mass in their own unit."""
    figures = {name: getattr(person, name) for name in FIGURES}
    figures["mass_kg"] = language.mass_number(person.mass_kg)
    return {
        "name": person.name,
        "sex": person.sex or "",
        **{name: "" if value is None else f"{value:g}" for name, value in figures.items()},
    }


@router.post("/you/figures")
def keep_figures(request: Request, service: ServiceNow, subject: Keeper, form: FormNow) -> Response:
    """Keep what the next class's roster begins with; classes that were keep their own."""
    language = language_of(request)
    typed = {name: str(form.get(name) or "").strip() for name in ("name", "sex", *FIGURES)}
    numbers = {name: read_number(typed[name]) for name in FIGURES}
    wrong = {name: TAKES[name] for name in FIGURES if typed[name] and numbers[name] is None}
    numbers["mass_kg"] = language.mass_kg(numbers["mass_kg"])
    year = numbers.pop("birth_year")
    try:
        change = PersonChange.model_validate(
            {
                "name": typed["name"],
                "sex": typed["sex"] or None,
                "birth_year": int(year) if year is not None and year.is_integer() else year,
                **numbers,
            }
        )
    except ValidationError as error:
        wrong |= {str(found["loc"][0]): TAKES.get(str(found["loc"][0]), TAKES["name"])
                  for found in error.errors()}  # fmt: skip
    if wrong:
        return drawn_you(request, service, subject, status=422, typed=typed, wrong=wrong)
    with service.database.writing() as session:
        people.change_person(session, subject, subject.person_id, change.model_dump())
    return go("/you", "kept")


@router.post("/you/reading")
def keep_reading(
    service: ServiceNow,
    subject: Sender,
    locale: Annotated[str, Form(max_length=10)] = "",
    mass_unit: Annotated[str, Form(max_length=2)] = "",
) -> Response:
    """Keep how the person reads: language, the way of numbers and dates, and masses."""
    preferences = Preferences(
        locale=locale if locale in LOCALES else None,
        mass_unit=next((unit for unit in MASS_UNITS if unit == mass_unit), None),
    )
    with service.database.writing() as session:
        people.set_preferences(session, subject, preferences)
    return go("/you", "kept")


@router.post("/you/consents/{purpose}")
def answer(
    service: ServiceNow,
    subject: Sender,
    purpose: PurposeName,
    version: Annotated[int, Form(ge=1, le=1000)],
    agreed: Annotated[str, Form()],
) -> Response:
    """Agree, or take it back."""
    people.settle_consent(
        service, subject, purpose=purpose, version=version, agreed=agreed == "yes"
    )
    return go("/you", "kept")


@router.post("/you/links")
def make_link(request: Request, service: ServiceNow, subject: Keeper) -> Response:
    """Make a link for another device of the person's, and show it once."""
    with service.database.writing() as session:
        found, secret = own_link(session, service, subject)
        until = found.expires_at
    address = link_address(public_address(request, service.settings), secret)
    shown = {
        "link": address,
        "svg": drawing(code_svg(address, language_of(request).text("Personal link"))),
        "until": until,
    }
    return drawn_you(request, service, subject, shown=shown)


@router.post("/you/sign-ins/{sign_in_id}/end")
def end_sign_in(service: ServiceNow, subject: Keeper, sign_in_id: TokenId) -> Response:
    """Sign one device out."""
    with service.database.writing() as session:
        end_own_sign_in(session, subject, sign_in_id)
    return go("/you" if sign_in_id != subject.sign_in_id else "/sign-in", "signed-out")


@router.post("/you/sign-outs")
def sign_out_everywhere(service: ServiceNow, subject: Keeper) -> Response:
    """Sign out everywhere."""
    with service.database.writing() as session:
        people.end_sign_ins(session, subject, subject.person_id)
    return go("/sign-in", "signed-out")


@router.post("/you/keys")
def make_key(
    request: Request,
    service: ServiceNow,
    subject: Keeper,
    form: FormNow,
    name: Annotated[str, Form(min_length=1, max_length=100)],
) -> Response:
    """Make a key for a program of the person's, and show it once."""
    scopes = [scope for scope in form.getlist("scopes") if scope in SCOPES]
    if subject.visiting or not set(scopes) <= subject.scopes:
        raise NotHere
    with service.database.writing() as session:
        person = session.get_one(Person, subject.person_id)
        token, secret = people.add_token(
            session, person=person, name=name, scopes=scopes or ["read"], days=TOKEN_DAYS
        )
        until = token.expires_at
    shown = {"key": secret, "name": name, "until": until}
    return drawn_you(request, service, subject, shown=shown)


@router.post("/you/keys/{token_id}/revoke")
def revoke_key(service: ServiceNow, subject: Keeper, token_id: TokenId) -> Response:
    """Make one of the person's own keys useless."""
    with service.database.writing() as session:
        people.revoke_token(session, subject, token_id)
    return go("/you", "deleted")


@router.post("/you/erasure")
def erase_me(service: ServiceNow, subject: Keeper, sure: Annotated[str, Form()] = "") -> Response:
    """Erase the person who asks."""
    if sure.strip().lower() != "erase":
        return go("/you", "sure")
    erase_person(service, subject, subject.person_id)
    return go("/sign-in", "erased")
