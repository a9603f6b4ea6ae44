"""A sheet of a class as text to edit: what the pages of scores and roster share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fastapi import Request, Response
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import class_answer
from api.classes.sheets import sheet_text
from api.language import Sentence
from api.pages.forms import go
from api.pages.templates import me_of, page
from api.people.subject import Subject
from api.problems import NotHere, ServiceError
from api.service import Service


@dataclass(frozen=True)
class Sheet:
    """One kind of sheet.

    heading, label, hint: what its page says. csv: its name in the API. written: gives its text.
    take: keeps a text, and gives the cells that it left out.
    """

    heading: str
    label: str
    hint: str
    csv: str
    written: Callable[[Session, Subject, str], str]
    take: Callable[[Session, Service, Subject, str, str], tuple[str, ...]]


def drawn_sheet(
    request: Request, service: Service, subject: Subject, class_id: str, sheet: Sheet, *,
    text: str | None = None, problems: tuple[str, ...] = (), status: int = 200,
) -> Response:  # fmt: skip
    """Draw a sheet as text to edit; a coach's to do."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        row = classes.seen_class(session, subject, class_id)
        if text is None:
            text = sheet.written(session, subject, class_id)
        return page(
            request,
            "sheet_text",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, row),
            sheet=sheet,
            text=text,
            problems=problems,
        )


def kept_sheet(
    request: Request, service: Service, subject: Subject, class_id: str, sheet: Sheet, text: str
) -> Response:
    """Keep a sheet, or draw it again with what is wrong in it."""
    if not subject.coaches:
        raise NotHere
    try:
        with service.database.writing() as session:
            problems = sheet.take(session, service, subject, class_id, sheet_text(text.encode()))
    except NotHere:
        raise
    except ServiceError as error:
        faults = tuple(
            Sentence("{where}: {what}", where=fault.where, what=fault.what)
            for fault in error.faults
        )
        return drawn_sheet(
            request, service, subject, class_id, sheet, text=text,
            problems=(error.detail, *faults), status=422,
        )  # fmt: skip
    service.work.wake()
    if problems:
        return drawn_sheet(request, service, subject, class_id, sheet, text=text, problems=problems)
    return go(f"/classes/{class_id}", "kept")
