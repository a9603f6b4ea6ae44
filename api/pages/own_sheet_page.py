"""An athlete's own sheet of a class."""

from __future__ import annotations

from typing import Any

from fastapi import Request, Response
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import (
    class_answer,
    table_rows,
)
from api.pages.templates import me_of, page, sheet_piece
from api.people.sight import (
    visible_recordings,
)
from api.people.subject import Subject
from api.problems import NotReady
from api.recordings.service import recording_answer
from api.results.service import seen_result, seen_sheets, state_answer
from api.service import Service
from api.sheet.words import STATUSES
from api.storage.model import Recording


def class_values(
    session: Session, service: Service, subject: Subject, class_id: str
) -> dict[str, Any]:
    """What a class's page shows to anybody who may see it."""
    found = classes.seen_class(session, subject, class_id)
    state = state_answer(session, found)
    rows = session.scalars(
        visible_recordings(subject)
        .where(Recording.class_id == class_id)
        .order_by(Recording.file)
        .limit(500)
    )
    try:
        sheet = seen_sheets(service, session, subject, class_id)
    except NotReady:
        sheet = None
    return {
        "me": me_of(session, subject),
        "found": class_answer(session, subject, found),
        "state": state,
        "fresh": state.state in ("done", "failed"),
        "files": [recording_answer(session, row) for row in rows],
        **sheet_piece(sheet),
    }


def own_sheet(
    request: Request, session: Session, service: Service, subject: Subject, class_id: str
) -> Response:
    """Draw an athlete's sheet of a class."""
    values = class_values(session, service, subject, class_id)
    return page(
        request,
        "class_athlete",
        table=table_rows(session, subject, class_id),
        visiting=subject.visiting,
        statuses=STATUSES | {"aligned": "it fits this class."},
        uploads=own_uploads(session, subject, class_id),
        **values,
    )


def own_uploads(session: Session, subject: Subject, class_id: str) -> list[dict[str, Any]]:
    """What came of the person's uploads, as far as they may see."""
    try:
        document = seen_result(session, subject, class_id).document
    except NotReady:
        return []
    return [r for entry in document["athletes"] for r in entry["recordings"]]
