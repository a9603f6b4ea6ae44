"""Pages: who took part in a class, ticked, typed, or as a sheet."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes import taking_part
from api.classes.endpoints import ClassId, class_answer
from api.http import Reader, ServiceNow, Writer
from api.language import deferred
from api.pages.forms import FormNow, Text, go
from api.pages.sheet_text import Sheet, drawn_sheet, kept_sheet
from api.pages.templates import me_of, page
from api.people.sight import visible_people
from api.people.subject import Subject
from api.problems import Conflict, NotHere, Refused
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
        there = taking_part.roster_rows(session, subject, class_id)
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
            taking_part.tick_roster(
                session, service, subject, class_id, handles=handles, names=names
            )
    except (Conflict, Refused) as error:
        return drawn_roster(
            request, service, subject, class_id, ticked=set(handles), typed=typed,
            problem=error.detail, status=422,
        )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{class_id}", "kept")


def written(session: Session, subject: Subject, class_id: str) -> str:
    """The roster as a sheet."""
    return roster_sheet(taking_part.roster_rows(session, subject, class_id))


def take(
    session: Session, service: Service, subject: Subject, class_id: str, text: str
) -> tuple[str, ...]:
    """Keep a roster's sheet; gives the cells that it left out."""
    athletes, problems = taking_part.roster_text_of(text)
    taking_part.set_roster(session, service, subject, class_id, athletes)
    return problems


ROSTER = Sheet(
    heading=deferred("Roster as a sheet"),
    label=deferred("One athlete a line"),
    hint=deferred(
        "delay: how much later a wave began, such as 3m. station: the work step to begin at. "
        "start: for somebody who did the plan alone. Masses in kg."
    ),
    csv="roster.csv",
    written=written,
    take=take,
)


@router.get("/classes/{class_id}/roster/sheet")
def roster_sheet_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The roster as a sheet."""
    return drawn_sheet(request, service, subject, class_id, ROSTER)


@router.post("/classes/{class_id}/roster/sheet")
def keep_roster_sheet(
    request: Request, service: ServiceNow, subject: Writer, class_id: ClassId, text: Text = ""
) -> Response:
    """Keep the roster's sheet."""
    return kept_sheet(request, service, subject, class_id, ROSTER, text)
