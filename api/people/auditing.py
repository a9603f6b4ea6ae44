"""The audit log to read: what was done, by whom, when; filtered, and as a sheet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Select
from sqlalchemy.orm import Session

from api.people.sight import (
    visible_audit,
    visible_classes,
    visible_people,
    visible_plan_versions,
)
from api.people.subject import Subject
from api.results.tables import safe_cell
from api.storage.model import Audit, PlanVersion, TrainingClass

# What a sheet holds at most; whoever needs more asks for a stretch of time.
MOST_LINES = 50_000
HEADINGS = ("at", "actor", "actor_name", "action", "about", "about_name", "detail")


@dataclass(frozen=True)
class AuditFilter:
    """Which lines: None is all. actor is a mark; until is not included."""

    action: str | None = None
    actor: str | None = None
    since: datetime | None = None
    until: datetime | None = None


def audit_rows(subject: Subject, chosen: AuditFilter) -> Select[Audit]:
    """The lines that the person may see and has chosen, in no order yet."""
    rows = visible_audit(subject)
    if chosen.action is not None:
        rows = rows.where(Audit.action == chosen.action)
    if chosen.actor is not None:
        rows = rows.where(Audit.actor == chosen.actor)
    if chosen.since is not None:
        rows = rows.where(Audit.at >= chosen.since)
    if chosen.until is not None:
        rows = rows.where(Audit.at < chosen.until)
    return rows


@dataclass(frozen=True)
class Names:
    """What marks and identifiers in the log stand for, as far as there still is anything.

    people: names by audit mark. things: titles of classes and plans by identifier.
    """

    people: dict[str, str]
    things: dict[str, str]

    def of(self, about: str | None) -> str | None:
        """The name of whom or what a line is about."""
        return self.people.get(about or "") or self.things.get(about or "")


def names_in_log(session: Session, subject: Subject, lines: Iterable[Audit]) -> Names:
    """Look up whom and what lines are about."""
    people = {p.audit_mark: p.name for p in session.scalars(visible_people(subject))}
    about = {line.about for line in lines if line.about is not None} - people.keys()
    things = plan_titles(session, subject, about) | class_titles(session, subject, about)
    return Names(people, things)


def plan_titles(session: Session, subject: Subject, ids: set[str]) -> dict[str, str]:
    """The newest titles of plans."""
    rows = session.execute(
        visible_plan_versions(subject)
        .where(PlanVersion.plan_id.in_(ids))
        .order_by(PlanVersion.number)
        .with_only_columns(PlanVersion.plan_id, PlanVersion.title)
    )
    return {row.plan_id: row.title for row in rows}


def class_titles(session: Session, subject: Subject, ids: set[str]) -> dict[str, str]:
    """Classes by title and day."""
    rows = session.execute(
        visible_classes(subject)
        .join(PlanVersion, PlanVersion.id == TrainingClass.plan_version_id)
        .where(TrainingClass.id.in_(ids))
        .with_only_columns(TrainingClass.id, PlanVersion.title, TrainingClass.start)
    )
    return {row.id: f"{row.title}, {row.start.date().isoformat()}" for row in rows}


def audit_sheet(session: Session, subject: Subject, chosen: AuditFilter) -> str:
    """The chosen lines as CSV, newest first; text that a spreadsheet would run is quoted away."""
    lines = session.scalars(
        audit_rows(subject, chosen).order_by(Audit.id.desc()).limit(MOST_LINES)
    ).all()
    names = names_in_log(session, subject, lines)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    for line in lines:
        cells = (
            line.at.isoformat(), line.actor, names.people.get(line.actor or ""), line.action,
            line.about, names.of(line.about),
            json.dumps(line.detail, sort_keys=True) if line.detail else None,
        )  # fmt: skip
        writer.writerow([safe_cell(cell) for cell in cells])
    return stream.getvalue()
