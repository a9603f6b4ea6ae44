"""What goes in and out about classes, rosters and scores."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, Field

from api.http import Answer, Strict
from api.people.schemas import Body, Handle

YEARS = range(1990, 2200)


def in_this_century(moment: datetime) -> datetime:
    """Refuse years in which no class was held, and offsets that no clock has."""
    if moment.year not in YEARS:
        raise ValueError(f"a year from {YEARS.start} to {YEARS.stop - 1}")
    offset = moment.utcoffset()
    if offset is None or offset.total_seconds() % 60 or abs(offset.total_seconds()) > 16 * 3600:
        raise ValueError("an offset of whole minutes, at most 16 hours")
    return moment.replace(microsecond=moment.microsecond)


def tidy(value: float) -> float:
    """Keep six decimals: what a class folder can carry."""
    return round(value, 6)


Start = Annotated[
    AwareDatetime,
    Field(strict=False, examples=["2026-03-09T18:30:00+01:00"]),
    AfterValidator(in_this_century),
]
PlanIdText = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
Amount = Annotated[float, Field(ge=0, le=1_000_000), AfterValidator(tidy)]
Label = Annotated[str, Field(min_length=1, max_length=200)]


class NewClass(Strict):
    """A class by the newest version of a plan."""

    plan_id: PlanIdText
    start: Start
    place: Annotated[str, Field(max_length=200)] = ""
    start_tolerance_s: Annotated[int, Field(ge=0, le=86400)] = 600
    starts: dict[Label, Start] = Field(
        default_factory=dict,
        description="When a clock page saw a block begin, by the block's name.",
    )


class ClassChange(Strict):
    """What to change about a class; what is left out stays."""

    plan_version: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = Field(
        default=None, description="The version of the plan that the class was held by."
    )
    start: Start | None = None
    place: Annotated[str, Field(max_length=200)] | None = None
    start_tolerance_s: Annotated[int, Field(ge=0, le=86400)] | None = None
    starts: dict[Label, Start] | None = None


class StartsChange(Strict):
    """When blocks began, as a merge patch (RFC 7396): null clears, what is left out stays."""

    starts: Annotated[dict[Label, Start | None], Field(min_length=1, max_length=200)]
    by_hand: bool = Field(
        default=False, description="A coach's own words, rather than what a clock recorded."
    )


StateName = Literal["waiting", "working", "done", "failed"]


class ClassAnswer(Answer):
    """A class."""

    id: str
    title: str
    start: datetime
    place: str
    start_tolerance_s: float
    starts: dict[str, datetime] = Field(
        description="When timed blocks began, as a clock recorded it or a coach set it."
    )
    hand_starts: list[str] = Field(description="Those of `starts` that a coach set by hand.")
    plan_id: str
    plan_version: int
    athletes: int | None = Field(description="How many took part; coaches see it.")
    state: StateName


class ClassPage(Answer):
    """A page of classes."""

    items: list[ClassAnswer]
    next: str | None


class AttendanceBody(Body):
    """Somebody who took part, with the body's figures of the day."""

    athlete: Handle
    delay_s: Annotated[int, Field(ge=0, le=43200)] = 0
    station: Annotated[int, Field(ge=1, le=200)] | None = None
    start: Start | None = Field(default=None, description="When done alone, at home for instance.")
    mass_kg: Annotated[float, Field(ge=20, le=350), AfterValidator(tidy)] | None = None
    resting_hr: Annotated[float, Field(ge=25, le=130), AfterValidator(tidy)] | None = None
    max_hr: Annotated[float, Field(ge=90, le=250), AfterValidator(tidy)] | None = None
    vo2max: Annotated[float, Field(ge=5, le=100), AfterValidator(tidy)] | None = None


class RosterBody(Strict):
    """The whole roster, in order; whom the gym does not know yet becomes a new athlete."""

    athletes: Annotated[list[AttendanceBody], Field(max_length=500)]


class AttendanceAnswer(Answer):
    """Somebody who took part."""

    athlete: str
    person_id: str
    name: str
    sex: str | None
    birth_year: int | None
    mass_kg: float | None
    resting_hr: float | None
    max_hr: float | None
    vo2max: float | None
    delay_s: float
    station: int | None
    start: datetime | None


class RosterAnswer(Answer):
    """Who took part, as far as the person may see."""

    athletes: list[AttendanceAnswer]
    problems: list[str] = Field(
        default=[], description="Cells of a sheet that could not be taken as they stand."
    )


class ScoreBody(Strict):
    """What an athlete logged for a block; null where not said."""

    block: Label | None = Field(default=None, description="May be left out where one is scored.")
    option: Label | None = None
    equipment: Literal["rower", "ski", "bike", "none"] | None = None
    score: Amount | None = None
    rounds: Annotated[list[Amount], Field(min_length=1, max_length=200)] | None = None
    load_kg: Annotated[float, Field(ge=0, le=1000), AfterValidator(tidy)] | None = None
    notes: Annotated[str, Field(max_length=2000)] = ""


class ScoreAnswer(Answer):
    """A logged score; `replaced_at` is null for the one that counts."""

    id: str
    athlete: str
    block: str | None
    option: str | None
    equipment: str | None
    score: float | None
    rounds: list[float] | None
    load_kg: float | None
    notes: str
    logged_at: datetime
    replaced_at: datetime | None


class ScoreList(Answer):
    """Logged scores, as far as the person may see."""

    items: list[ScoreAnswer]
    problems: list[str] = Field(
        default=[], description="Rows and cells of a sheet that were left out."
    )


class TableRow(Answer):
    """One row of the class table as classmates see it."""

    athlete: str
    name: str
    option: str | None
    equipment: str | None
    block: str | None
    score: float | None
    rounds: list[float] | None


class TableAnswer(Answer):
    """The class table: those who agreed to be in it, and oneself."""

    items: list[TableRow]


class WallAnswer(Answer):
    """The code for the wall."""

    url: str
    svg: str


class VisitAnswer(Answer):
    """Somebody who signed in by the code on the wall."""

    id: str
    athlete: str
    name: str
    at: datetime
    confirmed_at: datetime | None


class VisitList(Answer):
    """Who signed in by the code on the wall."""

    items: list[VisitAnswer]


class WallNames(Answer):
    """The names to pick from."""

    title: str
    start: datetime
    athletes: dict[str, str] = Field(description="Handle to name.")


class WallPick(Strict):
    """The name picked."""

    athlete: Handle
