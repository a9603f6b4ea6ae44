"""A sheet of a class as text to edit: what the pages of scores and roster share."""

from __future__ import annotations

from fastapi import Request, Response

from api.classes import service as classes
from api.classes.endpoints import (
    class_answer,
)
from api.pages.templates import me_of, page
from api.people.subject import Subject
from api.problems import NotHere
from api.service import Service
from api.transfer.sheets import roster_sheet, score_sheet


def drawn_sheet(
    request: Request, service: Service, subject: Subject, class_id: str, kind: str,
    text: str | None = None, problems: tuple[str, ...] = (), status: int = 200,
) -> Response:  # fmt: skip
    """Draw scores or roster as text to edit."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        found = classes.seen_class(session, subject, class_id)
        if text is None and kind == "scores":
            rows = classes.score_rows(session, subject, class_id, replaced=False)
            text = score_sheet(rows)
        elif text is None:
            text = roster_sheet(classes.roster_rows(session, subject, class_id))
        return page(
            request,
            "sheet_text",
            status=status,
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            heading="Scores" if kind == "scores" else "Who took part",
            hint="What the athletes logged." if kind == "scores" else "One athlete a line.",
            text=text,
            problems=problems,
        )
