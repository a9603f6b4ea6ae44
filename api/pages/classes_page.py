"""Pages: every class, and making one."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from starlette.datastructures import UploadFile

from api.classes import service as classes
from api.classes.endpoints import (
    class_answer,
)
from api.http import CursorNow, Reader, ServiceNow, Writer, page_of
from api.pages.forms import FormNow, go
from api.pages.templates import me_of, page
from api.people.consents import BY_NAME
from api.people.sight import (
    visible_classes,
    visible_plans,
)
from api.plans.endpoints import plan_answer
from api.problems import NotHere, Refused
from api.storage.model import Plan, TrainingClass
from api.storage.moments import with_offset
from api.transfer.service import read_zip, take_in

router = APIRouter()


@router.get("/classes")
def classes_page(
    request: Request, service: ServiceNow, subject: Reader, cursor: CursorNow = None
) -> Response:
    """Every class that the person may see."""
    with service.database.reading() as session:
        rows, following = page_of(session, visible_classes(subject), TrainingClass.id, cursor, 50)
        plans, _ = page_of(session, visible_plans(subject), Plan.id, None, 200)
        newest = rows[0].start if rows else datetime.now().astimezone()
        text = with_offset(newest, rows[0].start_offset_s if rows else 0).isoformat()[-6:]
        return page(
            request,
            "classes",
            me=me_of(session, subject),
            classes=[class_answer(session, subject, row) for row in rows],
            following=following,
            plans=[plan_answer(session, subject, row.id) for row in plans],
            offset=text,
        )


@router.post("/classes")
def make_class(
    service: ServiceNow,
    subject: Writer,
    plan_id: Annotated[str, Form()],
    start: Annotated[str, Form()],
    offset: Annotated[str, Form()],
    place: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make a class."""
    try:
        moment = datetime.fromisoformat(f"{start}{offset}")
    except ValueError as error:
        raise Refused("That is no time: write date, time and offset.") from error
    if moment.tzinfo is None or not 1990 <= moment.year < 2200:
        raise Refused("That is no time: write date, time and offset.")
    with service.database.writing() as session:
        found = classes.add_class(
            session, service, subject, plan_id=plan_id, start=moment, place=place,
            start_tolerance_s=600.0, starts={},
        )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{found.id}/roster")


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
