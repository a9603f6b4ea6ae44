"""Earlier classes of an athlete, as lines beside a sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.people.sight import visible_classes
from api.people.subject import Subject
from api.problems import NotReady
from api.results.reading import athlete_result
from api.results.service import seen_result
from api.storage.model import Attendance, PlanVersion, TrainingClass
from api.storage.moments import with_offset
from reconcile.result import AthleteResult, Energy, Interval, ScoreResult

MOST = 5


@dataclass(frozen=True)
class EarlierClass:
    """One earlier class; same: by the same plan, whatever its version.

    power_w: mean over the work on machines.
    """

    id: str
    title: str
    start: datetime
    same: bool
    scores: tuple[ScoreResult, ...]
    energy: Energy | None
    power_w: float | None


def earlier_classes(
    session: Session, subject: Subject, found: TrainingClass, person_id: str, handle: str
) -> tuple[EarlierClass, ...]:
    """The latest classes before this one that the athlete attended and that have a result."""
    rows = session.scalars(
        visible_classes(subject)
        .where(
            TrainingClass.id.in_(
                select(Attendance.class_id).where(Attendance.person_id == person_id)
            ),
            TrainingClass.start < found.start,
        )
        .order_by(TrainingClass.start.desc())
        .limit(MOST)
    ).all()
    plan_id = session.get_one(PlanVersion, found.plan_version_id).plan_id
    told = []
    for row in rows:
        try:
            document = seen_result(session, subject, row.id).document
        except NotReady:
            continue
        entry = next((each for each in document["athletes"] if each["athlete"] == handle), None)
        if entry is not None:
            told.append(earlier_class(session, row, plan_id, athlete_result(entry)))
    return tuple(told)


def earlier_class(
    session: Session, row: TrainingClass, plan_id: str, athlete: AthleteResult
) -> EarlierClass:
    """One line."""
    version = session.get_one(PlanVersion, row.plan_version_id)
    return EarlierClass(
        id=row.id,
        title=version.title,
        start=with_offset(row.start, row.start_offset_s),
        same=version.plan_id == plan_id,
        scores=athlete.scores,
        energy=summed(athlete.intervals),
        power_w=mean_power(athlete.intervals),
    )


def summed(intervals: tuple[Interval, ...]) -> Energy | None:
    """Energy of every step that has one, ranges added as they are; None without any."""
    known = [step.energy for step in intervals if step.energy is not None]
    if not known:
        return None
    return Energy(
        math.fsum(part.kcal for part in known),
        math.fsum(part.low for part in known),
        math.fsum(part.high for part in known),
        "+".join(dict.fromkeys(name for part in known for name in part.method.split("+"))),
    )


def mean_power(intervals: tuple[Interval, ...]) -> float | None:
    """Mean power over the time on machines in work steps; None without any."""
    pulled = [
        (step.mean_power_w, step.machine_active_s)
        for step in intervals
        if step.kind == "work" and step.mean_power_w is not None and step.machine_active_s
    ]
    seconds = math.fsum(active_s for _, active_s in pulled)
    return math.fsum(power * active_s for power, active_s in pulled) / seconds if seconds else None
