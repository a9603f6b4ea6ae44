"""Pages: one class, the whole of it to a coach and their own part to an athlete."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer
from api.http import Reader, ServiceNow, language_of
from api.language import deferred
from api.pages import class_words
from api.pages.class_files import class_files, offers
from api.pages.class_sheet import in_order, sheet_of
from api.pages.own_sheet_page import own_sheet
from api.pages.plan_words import SCORES
from api.pages.question_page import OUTCOMES, QUICK, score_questions
from api.pages.templates import me_of, page
from api.people.sight import visible_pins, visible_recordings, visible_visits
from api.people.subject import Subject
from api.problems import NotReady
from api.questions.endpoints import pin_answer
from api.results.drawings import Drawings
from api.results.pages import labels_of
from api.results.reading import class_result, record_without_signals
from api.results.record import read_inputs
from api.results.service import seen_drawings, seen_result, state_answer
from api.service import Service
from api.sheet import words
from api.storage.model import Pin, Recording, SignIn

router = APIRouter()

TABLES = {
    "sheet": deferred("class sheet"),
    "scores": deferred("scores"),
    "done": deferred("planned and done"),
    "energy": deferred("energy"),
    "files": deferred("files"),
}

SortColumn = Annotated[str, Query(pattern="^[a-z0-9-]{1,12}$")]


@router.get("/classes/{class_id}")
def class_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    sort: SortColumn = "roster",
    of: int = 1,
    falling: bool = False,
) -> Response:
    """The class sheet to a coach, their own to an athlete.

    sort, of, falling: by which column the table of which block stands in order, and which way.
    """
    with service.database.reading() as session:
        if not subject.coaches:
            return own_sheet(request, session, service, subject, class_id)
        found = classes.seen_class(session, subject, class_id)
        state = state_answer(session, found)
        language = language_of(request)
        visits = session.scalars(
            visible_visits(subject, class_id).where(
                SignIn.ended_at.is_(None), SignIn.confirmed_at.is_(None)
            )
        ).all()
        values = sheet_values(session, subject, class_id)
        return page(
            request,
            "class_coach",
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            state=state,
            fresh=state.state in ("done", "failed"),
            visits=visits,
            order={"sort": sort, "of": of, "falling": falling},
            in_order=in_order,
            words=words,
            load_words=class_words.LOADS,
            advice_words=class_words.ADVICE,
            measures=class_words.MEASURES,
            score_words=lambda rule: language.text(SCORES[rule.measure, rule.take]),
            in_hundred=partial(class_words.in_hundred, language),
            outcomes=OUTCOMES,
            quick=QUICK,
            table_names=TABLES,
            evidence_words=partial(
                class_words.evidence_words,
                language,
                drawings_beside_result(session, service, subject, class_id),
                values["names"],
            ),
            **values,
        )


def drawings_beside_result(
    session: Session, service: Service, subject: Subject, class_id: str
) -> Drawings:
    """What is kept beside the class's result; nothing where there is none yet."""
    try:
        seen = seen_result(session, subject, class_id)
    except NotReady:
        return Drawings()
    return seen_drawings(service, session, subject, seen)


def sheet_values(session: Session, subject: Subject, class_id: str) -> dict[str, Any]:
    """What the class's result has to say; `sheet` is None where there is none yet."""
    inputs = read_inputs(session, class_id)
    assert inputs is not None
    labels = labels_of({person.handle: person.name for _, person in inputs.people})
    names = {person.handle: labels[person.handle] for _, person in inputs.people}
    values: dict[str, Any] = {
        "sheet": None,
        "questions": (),
        "files": (),
        "offers": (),
        "names": names,
    }
    try:
        document = seen_result(session, subject, class_id).document
    except NotReady:
        return values
    result = class_result(document)
    record = record_without_signals(inputs)
    names |= {a.athlete: a.athlete for a in result.athletes if a.athlete not in names}
    pins = session.scalars(
        visible_pins(subject, class_id).where(Pin.undone_at.is_(None)).order_by(Pin.id)
    )
    recordings = session.execute(
        visible_recordings(subject)
        .where(Recording.class_id == class_id)
        .with_only_columns(Recording.file, Recording.id)
    )
    files = class_files(
        record,
        result,
        [pin_answer(session, subject, pin) for pin in pins],
        {row.file: row.id for row in recordings},
    )
    return values | {
        "sheet": sheet_of(record, result, names),
        "questions": score_questions(session, subject, class_id, result, names),
        "files": files,
        "offers": offers(files),
    }
