"""Pages: who took part in a class, ticked, typed, or as a sheet."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from sqlalchemy import select

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer, sheet_text
from api.classes.taking_part import tick_roster
from api.http import Reader, ServiceNow, Writer
from api.pages.forms import FormNow, Text, go
from api.pages.templates import me_of, page
from api.people.sight import visible_people
from api.people.subject import Subject
from api.problems import Conflict, NotHere, Refused, ServiceError
from api.service import Service
from api.storage.model import Person, Role
from api.transfer.sheets import roster_sheet

router = APIRouter()


def drawn_roster(
    request: Request, service: Service, subject: Subject, class_id: str, *,
    ticked: set[str] | None = None, typed: str = "", problem: str = "", status: int = 200,
) -> Response:  # fmt: skip
    """The gym's athletes, those who took part ticked."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        row = classes.seen_class(session, subject, class_id)
        there = classes.roster_rows(session, subject, class_id)
        on = {person.handle for _, person in there}
        athletes = session.scalars(
            visible_people(subject)
            .where(
                Person.id.in_(select(Role.person_id).where(Role.role == "athlete"))
                | Person.handle.in_(on)
            )
            .order_by(Person.name, Person.id)
        )
        return page(
            request,
            "roster",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, row),
            athletes=list(athletes),
            ticked=on if ticked is None else ticked,
            typed=typed,
            problem=problem,
        )


@router.get("/classes/{class_id}/roster")
def roster_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """Who took part, to tick or to type."""
    return drawn_roster(request, service, subject, class_id)


@router.post("/classes/{class_id}/roster")
def keep_roster(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, form: FormNow
) -> Response:
    """Keep who took part; a name that nobody has becomes a new athlete."""
    handles = [str(value) for value in form.getlist("athlete")]
    typed = str(form.get("names", ""))
    names = [line.strip()[:200] for line in typed.splitlines() if line.strip()]
    try:
        with service.database.writing() as session:
            tick_roster(session, service, subject, class_id, handles=handles, names=names)
    except (Conflict, Refused) as error:
        return drawn_roster(
            request, service, subject, class_id, ticked=set(handles), typed=typed,
            problem=error.detail, status=422,
        )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{class_id}", "kept")


def drawn_sheet(
    request: Request, service: Service, subject: Subject, class_id: str, *,
    text: str | None = None, problems: tuple[str, ...] = (), status: int = 200,
) -> Response:  # fmt: skip
    """The roster as a sheet to edit, with waves, stations and the figures of the day."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        row = classes.seen_class(session, subject, class_id)
        if text is None:
            text = roster_sheet(classes.roster_rows(session, subject, class_id))
        return page(
            request,
            "roster_sheet",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, row),
            text=text,
            problems=problems,
        )


@router.get("/classes/{class_id}/roster/sheet")
def roster_sheet_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The roster as a sheet."""
    return drawn_sheet(request, service, subject, class_id)


@router.post("/classes/{class_id}/roster/sheet")
def keep_roster_sheet(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, text: Text = ""
) -> Response:
    """Keep the roster's sheet."""
    if not subject.coaches:
        raise NotHere
    try:
        athletes, problems = classes.roster_text_of(sheet_text(text.encode()))
        with service.database.writing() as session:
            classes.set_roster(session, service, subject, class_id, athletes)
    except NotHere:
        raise
    except ServiceError as error:
        faults = tuple(f"{fault.where}: {fault.what}" for fault in error.faults)
        return drawn_sheet(
            request, service, subject, class_id, text=text, problems=(error.detail, *faults),
            status=422,
        )  # fmt: skip
    service.work.wake()
    if problems:
        return drawn_sheet(request, service, subject, class_id, text=text, problems=problems)
    return go(f"/classes/{class_id}", "kept")
