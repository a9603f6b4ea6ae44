"""What people are asked to agree to: purposes in plain words, versioned, withdrawable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.language import deferred
from api.storage.model import Consent


@dataclass(frozen=True)
class Purpose:
    """One question of consent. A new version of the words is a new question."""

    name: str
    version: int
    words: str


PURPOSES = (
    Purpose(
        "recordings",
        1,
        deferred(
            "The gym may work out my intervals from the files that I upload: heart rate, machine "
            "work, energy, and whether my score fits. My coaches see what comes out. Without this "
            "nothing that I upload is used."
        ),
    ),
    Purpose(
        "class-table",
        1,
        deferred(
            "Others who were in the same class may see my name, my option and my logged score in "
            "the class's table. They never see my heart rate."
        ),
    ),
    Purpose(
        "original-files",
        1,
        deferred(
            "When a coach takes a class out of the service as a folder, my files may go along "
            "just as I uploaded them. They can hold more than the intervals: places, and names of "
            "devices."
        ),
    ),
)
BY_NAME = {purpose.name: purpose for purpose in PURPOSES}


@dataclass(frozen=True)
class Answer:
    """What a person answered last: None where never asked, or asked in other words."""

    purpose: Purpose
    agreed: bool | None
    at: datetime | None
    stated_by: str | None


def answers(session: Session, person_id: str) -> tuple[Answer, ...]:
    """The person's latest answer to each question."""
    rows = session.scalars(
        select(Consent).where(Consent.person_id == person_id).order_by(Consent.id)
    )
    latest = {(row.purpose, row.version): row for row in rows}
    found = []
    for purpose in PURPOSES:
        row = latest.get((purpose.name, purpose.version))
        found.append(
            Answer(
                purpose,
                row.agreed if row else None,
                row.at if row else None,
                row.stated_by if row else None,
            )
        )
    return tuple(found)


def answer_of(session: Session, person_id: str, purpose: str) -> bool | None:
    """The latest answer to one question; None where never asked."""
    return next(a.agreed for a in answers(session, person_id) if a.purpose.name == purpose)


def latest_answers(session: Session, person_ids: Sequence[str], purpose: str) -> dict[str, bool]:
    """Who answered a question, and what, at last."""
    last = (
        select(func.max(Consent.id))
        .where(
            Consent.person_id.in_(person_ids),
            Consent.purpose == purpose,
            Consent.version == BY_NAME[purpose].version,
        )
        .group_by(Consent.person_id)
    )
    rows = session.execute(select(Consent.person_id, Consent.agreed).where(Consent.id.in_(last)))
    return {row.person_id: row.agreed for row in rows}


def note_answer(
    session: Session, *, person_id: str, purpose: str, agreed: bool, stated_by: str | None = None
) -> None:
    """Keep an answer; `stated_by` is a coach who says that the athlete gave it."""
    session.add(
        Consent(
            person_id=person_id,
            purpose=purpose,
            version=BY_NAME[purpose].version,
            agreed=agreed,
            stated_by=stated_by,
        )
    )
