"""What goes in and out about people."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field

from api.http import Answer, Strict
from api.language import MassUnit
from api.storage.moments import time_zone_names

RoleName = Literal["athlete", "coach", "owner"]
ScopeName = Literal["read", "upload", "write", "people"]
LocaleName = Literal["en_GB", "en_US", "de_DE", "de_AT", "de_CH"]
PurposeName = Literal["recordings", "class-table", "original-files"]
Handle = Annotated[
    str,
    Field(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$",
        description="The athlete's name in class folders.",
        examples=["a03"],
    ),
]
Name = Annotated[str, Field(min_length=1, max_length=200, examples=["Runa Fjell"])]
Mail = Annotated[str, Field(pattern=r"^[^@\s]{1,64}@[^@\s]{1,180}$", examples=["runa@gym.example"])]


def a_time_zone(name: str) -> str:
    """Refuse what is no place's clock."""
    if name not in time_zone_names():
        raise ValueError("an IANA time zone, such as Europe/Oslo")
    return name


def a_moment(text: object) -> object:
    """Refuse what is not written out: a bare number would count as seconds since 1970."""
    if not isinstance(text, str) or not re.match(r"(199|20\d|21\d)\d-\d\d-\d\d[Tt]", text):
        raise ValueError("a moment of the years 1990 to 2199, such as 2026-03-09T18:30:00+01:00")
    return text


AskedMoment = Annotated[AwareDatetime, BeforeValidator(a_moment)]


class SignInBody(Strict):
    """A password sign-in."""

    mail: Mail
    password: Annotated[str, Field(min_length=1, max_length=200)]


class LinkSignInBody(Strict):
    """A sign-in by a personal link; an invited coach sets a password with it."""

    secret: Annotated[str, Field(min_length=1, max_length=200)]
    password: Annotated[str, Field(min_length=1, max_length=200)] | None = None


class MeAnswer(Answer):
    """Who is signed in."""

    id: str
    handle: str
    name: str
    roles: list[RoleName]
    scopes: list[ScopeName]
    gym: str
    visiting: bool = Field(description="Here by the code on the wall, not confirmed by a coach.")


class PreferencesBody(Strict):
    """How a person reads pages: null leaves the language to the browser, and masses in kg."""

    locale: LocaleName | None = None
    mass_unit: MassUnit | None = None


class PreferencesAnswer(Answer):
    """How a person reads pages."""

    locale: str | None
    mass_unit: MassUnit | None


class Body(Strict):
    """What is known of a body; null where not said."""

    sex: Literal["m", "f"] | None = None
    birth_year: Annotated[int, Field(ge=1900, le=2100)] | None = None
    mass_kg: Annotated[float, Field(ge=20, le=400)] | None = None
    resting_hr: Annotated[float, Field(ge=20, le=150)] | None = None
    max_hr: Annotated[float, Field(ge=80, le=250)] | None = None
    vo2max: Annotated[float, Field(ge=5, le=100)] | None = None


class NewPerson(Body):
    """Somebody new in the gym."""

    name: Name
    handle: Handle | None = None
    mail: Mail | None = None
    roles: Annotated[
        list[RoleName],
        Field(min_length=1, max_length=3, default_factory=lambda: ["athlete"]),
    ]


class PersonChange(Body):
    """What to change about somebody; what is left out stays."""

    name: Name | None = None


class PersonAnswer(Answer):
    """Somebody in the gym. The body's figures are shown to coaches and to the person only."""

    id: str
    handle: str
    name: str
    mail: str | None
    roles: list[RoleName]
    sex: str | None
    birth_year: int | None
    mass_kg: float | None
    resting_hr: float | None
    max_hr: float | None
    vo2max: float | None
    made_at: datetime


class PeoplePage(Answer):
    """A page of people."""

    items: list[PersonAnswer]
    next: str | None


class RolesBody(Strict):
    """What somebody is in the gym."""

    roles: Annotated[list[RoleName], Field(min_length=1, max_length=3)]


class LinkAnswer(Answer):
    """A link to give to somebody, once: the service keeps only its hash."""

    id: str
    url: str
    svg: str = Field(description="The same as a code to be photographed.")
    expires_at: datetime


class LiveLinkAnswer(Answer):
    """A link that nobody has used yet; the service does not know its secret."""

    id: str
    person_id: str
    name: str
    kind: Literal["sign-in", "invite"]
    made_at: datetime
    expires_at: datetime


class LinkList(Answer):
    """Links that are out."""

    items: list[LiveLinkAnswer]


class NewToken(Strict):
    """A token for a program."""

    name: Annotated[str, Field(min_length=1, max_length=100, examples=["board computer"])]
    scopes: Annotated[
        list[ScopeName], Field(min_length=1, max_length=4, default_factory=lambda: ["read"])
    ]
    days: Annotated[int, Field(ge=1, le=366)] = 30


class PasswordToken(NewToken):
    """A token for a program, asked for with a password."""

    mail: Mail
    password: Annotated[str, Field(min_length=1, max_length=200)]


class TokenAnswer(Answer):
    """A token; `secret` is shown once."""

    id: str
    name: str
    scopes: list[ScopeName]
    expires_at: datetime
    secret: str | None = None


class TokenList(Answer):
    """The person's own tokens that are alive."""

    items: list[TokenAnswer]


class ConsentAnswer(Answer):
    """One question, and what was answered last: null where never asked."""

    purpose: PurposeName
    version: int
    words: str
    agreed: bool | None
    at: datetime | None
    stated_by_coach: bool


class ConsentList(Answer):
    """Every question."""

    items: list[ConsentAnswer]


class ConsentBody(Strict):
    """An answer to a question, in the version of its words that was read."""

    agreed: bool
    version: Annotated[int, Field(ge=1, le=1000)]


class GymAnswer(Answer):
    """The gym and its settings."""

    id: str
    name: str
    retention_days: int | None
    time_zone: str


class GymChange(Strict):
    """What to change about the gym; what is left out stays."""

    name: Name | None = None
    retention_days: Annotated[int, Field(ge=1, le=36500)] | None = Field(
        default=None, description="How long recordings are kept; null for as long as the gym."
    )
    time_zone: Annotated[str, Field(max_length=64), AfterValidator(a_time_zone)] | None = Field(
        default=None, description="The IANA name of the clock by which classes are made."
    )


class AuditLine(Answer):
    """What was done, by whom, to what."""

    id: str
    at: datetime
    actor: str | None
    actor_name: str | None
    action: str
    about: str | None
    about_name: str | None
    detail: dict[str, object]


class AuditPage(Answer):
    """A page of the audit log, newest first."""

    items: list[AuditLine]
    next: str | None


class DoneAnswer(Answer):
    """It is done."""

    done: Literal[True] = True
