"""Pages: the gym: its name and clock, how long recordings are kept, what was done."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request, Response
from sqlalchemy import select

from api.http import CursorNow, Keeper, ServiceNow, language_of, page_of
from api.pages.audit_words import ACTIONS, detail_words
from api.pages.forms import go
from api.pages.templates import me_of, page
from api.people import service as people
from api.people.auditing import AuditFilter, audit_rows, names_in_log
from api.people.retention import PastKeeping, count_past_keeping
from api.people.sight import visible_audit, visible_people
from api.people.subject import Subject
from api.problems import NotHere, Refused
from api.service import Service
from api.storage.model import Audit, Gym, Person
from api.storage.moments import time_zone, time_zone_names

router = APIRouter()

Day = Annotated[str, Query(pattern=r"^(\d{4}-\d{2}-\d{2})?$")]


def drawn_gym(
    request: Request, service: Service, subject: Subject, *, status: int = 200,
    **values: Any,
) -> Response:  # fmt: skip
    """Draw the settings; `past` is what a shorter keeping would delete at once."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        gym = session.get_one(Gym, subject.gym_id)
        shown = {
            "name": gym.name, "zone": gym.time_zone, "retention_days": gym.retention_days,
            "past": None,
        }  # fmt: skip
        return page(
            request,
            "gym",
            status=status,
            me=me_of(session, subject),
            settings=service.settings,
            zones=time_zone_names(),
            **{**shown, **values},
        )


@router.get("/gym")
def gym_page(request: Request, service: ServiceNow, subject: Keeper) -> Response:
    """The gym's settings, and what is deleted when; an owner's to see."""
    return drawn_gym(request, service, subject)


@router.post("/gym")
def keep_gym(
    request: Request,
    service: ServiceNow,
    subject: Keeper,
    name: Annotated[str, Form(min_length=1, max_length=200)],
    zone: Annotated[str, Form(max_length=64)] = "UTC",
    retention_days: Annotated[str, Form(pattern="^([1-9][0-9]{0,4})?$")] = "",
    sure: Annotated[str, Form()] = "",
) -> Response:
    """Keep the gym's settings; where that deletes recordings at once, only if that is meant."""
    if not subject.owns:
        raise NotHere
    if zone not in time_zone_names():
        raise Refused("That is no time zone.")
    days = int(retention_days) if retention_days else None
    with service.database.reading() as session:
        past = newly_past(session.get_one(Gym, subject.gym_id), days, session)
    if past.recordings and sure != "yes":
        return drawn_gym(
            request, service, subject, name=name, zone=zone, retention_days=days, past=past,
            status=422,
        )  # fmt: skip
    changes: dict[str, object] = {"name": name, "time_zone": zone, "retention_days": days}
    with service.database.writing() as session:
        people.change_gym(session, subject, changes)
    return go("/gym", "kept")


def newly_past(gym: Gym, days: int | None, session: Any) -> PastKeeping:
    """What another keeping would delete that the one before would not."""
    if days is None or (gym.retention_days is not None and days >= gym.retention_days):
        return PastKeeping(0, 0)
    return count_past_keeping(session, gym.id, days)


@router.get("/audit")
def audit_page(
    request: Request,
    service: ServiceNow,
    subject: Keeper,
    action: Annotated[str, Query(max_length=64)] = "",
    who: Annotated[str, Query(pattern="^([0-9a-f]{32})?$")] = "",
    since: Day = "",
    until: Day = "",
    cursor: CursorNow = None,
) -> Response:
    """What was done, newest first; an owner's to read."""
    if not subject.owns:
        raise NotHere
    with service.database.reading() as session:
        zone = time_zone(session.get_one(Gym, subject.gym_id).time_zone)
        chosen = AuditFilter(
            action or None, who or None, midnight(since, zone), midnight(until, zone, days=1)
        )
        rows, following = page_of(session, audit_rows(subject, chosen), Audit.id, cursor, 100)
        names = names_in_log(session, subject, rows)
        done = session.scalars(visible_audit(subject).with_only_columns(Audit.action).distinct())
        actors = session.scalars(
            visible_people(subject)
            .where(Person.audit_mark.in_(select(Audit.actor).where(Audit.gym_id == subject.gym_id)))
            .order_by(Person.name)
        )
        asked = {"action": action, "who": who, "since": since, "until": until}
        sheet = {
            "action": chosen.action, "actor": chosen.actor,
            "since": chosen.since.isoformat() if chosen.since else None,
            "until": chosen.until.isoformat() if chosen.until else None,
        }  # fmt: skip
        return page(
            request,
            "audit",
            me=me_of(session, subject),
            lines=[
                {
                    "at": row.at.astimezone(zone),
                    "who": names.people.get(row.actor or ""),
                    "erased": row.actor is not None,
                    "action": ACTIONS.get(row.action, row.action),
                    "about": names.of(row.about),
                    "detail": detail_words(language_of(request), row.detail),
                }
                for row in rows
            ],
            following=following,
            actions={name: ACTIONS.get(name, name) for name in sorted(done)},
            actors=list(actors),
            asked=asked,
            query=query_text(asked),
            sheet=query_text(sheet),
        )


def query_text(values: Mapping[str, str | None]) -> str:
    """What is asked for, as an address has it; what is not said stays away."""
    return urlencode({name: value for name, value in values.items() if value})


def midnight(day: str, zone: tzinfo, days: int = 0) -> datetime | None:
    """The beginning of a day, or of one so many days later; None where no day is said."""
    if not day:
        return None
    try:
        found = date.fromisoformat(day) + timedelta(days=days)
    except (ValueError, OverflowError) as error:
        raise Refused("That is no day.") from error
    return datetime.combine(found, time(), zone)
