"""Pages: every class, and making one."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request, Response
from sqlalchemy import tuple_
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from api.classes import service as classes
from api.classes.endpoints import class_answer
from api.classes.schemas import YEARS
from api.classes.taking_part import copy_roster
from api.http import Reader, ServiceNow, Writer, page_of
from api.language import deferred
from api.pages.forms import FormNow, go
from api.pages.templates import me_of, page
from api.people.consents import BY_NAME
from api.people.sight import visible_classes, visible_plans
from api.people.subject import Subject
from api.plans.endpoints import plan_answer
from api.problems import NotHere, Refused
from api.storage.model import Gym, Plan, TrainingClass
from api.storage.moments import now, time_zone
from api.transfer.service import read_zip, take_in

router = APIRouter()

AT_ONCE = 50
# A class of this morning is still today's; one that began longer ago is over.
LASTS = timedelta(hours=6)
STATES = {
    "waiting": deferred("waiting to be worked out"),
    "working": deferred("being worked out"),
    "done": deferred("worked out"),
    "failed": deferred("could not be worked out"),
}
TOLERANCES_MIN = (2, 5, 10, 20, 30, 60)
Id = Annotated[str | None, Query(pattern="^[0-9a-f]{32}$")]


def past_classes(
    session: Session, subject: Subject, before: str | None
) -> tuple[list[TrainingClass], str | None]:
    """Classes that are over, the latest first, and the one to go on before."""
    rows = visible_classes(subject)
    place = tuple_(TrainingClass.start, TrainingClass.id)
    if before is None:
        rows = rows.where(TrainingClass.start < now() - LASTS)
    else:
        last = classes.seen_class(session, subject, before)
        rows = rows.where(place < tuple_(last.start, last.id))
    order = (TrainingClass.start.desc(), TrainingClass.id.desc())
    found = list(session.scalars(rows.order_by(*order).limit(AT_ONCE + 1)))
    return found[:AT_ONCE], found[AT_ONCE - 1].id if len(found) > AT_ONCE else None


def coming_classes(session: Session, subject: Subject) -> list[TrainingClass]:
    """Classes of today and to come, the next first."""
    rows = visible_classes(subject).where(TrainingClass.start >= now() - LASTS)
    order = (TrainingClass.start, TrainingClass.id)
    return list(session.scalars(rows.order_by(*order).limit(AT_ONCE)))


@router.get("/classes")
def classes_page(
    request: Request, service: ServiceNow, subject: Reader, before: Id = None
) -> Response:
    """Every class that the person may see: today's and those to come, then the earlier ones."""
    with service.database.reading() as session:
        past, following = past_classes(session, subject, before)
        coming = [] if before else coming_classes(session, subject)
        return page(
            request,
            "classes",
            me=me_of(session, subject),
            coming=[class_answer(session, subject, row) for row in coming],
            past=[class_answer(session, subject, row) for row in past],
            following=following,
            states=STATES,
        )


@router.get("/classes/new")
def new_class_page(
    request: Request, service: ServiceNow, subject: Writer, plan: Id = None
) -> Response:
    """A class to make; a coach's to do."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        rows, _ = page_of(session, visible_plans(subject), Plan.id, None, 200)
        past, _ = past_classes(session, subject, None)
        recent = [*reversed(coming_classes(session, subject)), *past][:12]
        zone = session.get_one(Gym, subject.gym_id).time_zone
        return page(
            request,
            "class_new",
            me=me_of(session, subject),
            plans=[plan_answer(session, subject, row.id) for row in rows],
            chosen=plan,
            recent=[class_answer(session, subject, row) for row in recent],
            place=newest_place(session, subject),
            zone=zone,
            today=now().astimezone(time_zone(zone)).date(),
            tolerances=TOLERANCES_MIN,
        )


def newest_place(session: Session, subject: Subject) -> str:
    """Where the class made last was."""
    rows, _ = page_of(session, visible_classes(subject), TrainingClass.id, None, 1)
    return rows[0].place if rows else ""


@router.post("/classes")
def make_class(
    service: ServiceNow,
    subject: Writer,
    plan_id: Annotated[str, Form()],
    day: Annotated[str, Form()],
    time: Annotated[str, Form()],
    place: Annotated[str, Form(max_length=200)] = "",
    tolerance_min: Annotated[int, Form(ge=0, le=1440)] = 10,
    same_people: Annotated[str, Form(pattern="^([0-9a-f]{32})?$")] = "",
) -> Response:
    """Make a class, by the clock of the gym's time zone."""
    with service.database.writing() as session:
        start = moment_of(day, time, session.get_one(Gym, subject.gym_id).time_zone)
        found = classes.add_class(
            session, service, subject, plan_id=plan_id, start=start, place=place.strip(),
            start_tolerance_s=60.0 * tolerance_min, starts={},
        )  # fmt: skip
        if same_people:
            copy_roster(session, service, subject, earlier_id=same_people, class_id=found.id)
    service.work.wake()
    return go(f"/classes/{found.id}/roster")


def moment_of(day: str, time: str, zone: str) -> datetime:
    """A moment by the clock of a time zone, kept with its offset; raises Refused for none."""
    try:
        there = datetime.fromisoformat(f"{day}T{time}")
    except ValueError as error:
        raise Refused("Write a day and a time, such as 2026-03-09 and 18:30.") from error
    if there.tzinfo is not None or there.year not in YEARS:
        raise Refused("Write a day and a time, such as 2026-03-09 and 18:30.")
    there = there.replace(tzinfo=time_zone(zone))
    return datetime.fromisoformat(there.isoformat())


@router.post("/class-folders")
def take_folder(service: ServiceNow, subject: Writer, form: FormNow) -> Response:
    """Make a class of a folder."""
    if not subject.coaches:
        raise NotHere
    sent = form.get("folder")
    if not isinstance(sent, UploadFile):
        raise Refused("Choose the zip of a class folder.")
    stated = [str(value) for value in form.getlist("stated") if value in BY_NAME]
    folder = read_zip(service, sent.file.read())
    with service.database.writing() as session:
        found = take_in(session, service, subject, folder, stated)
    service.work.wake()
    return go(f"/classes/{found.id}")
