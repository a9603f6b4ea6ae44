"""Classes one after another: of one athlete, and of all that were held by one plan.

Only like is set beside like: blocks with the same steps and score, and for an athlete the same
option and machine. Nothing is added up over time and nobody gets a number for form or load.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.http import page_of
from api.people.sight import visible_classes, visible_people, visible_plans, visible_scores
from api.people.subject import Subject
from api.problems import NotHere, NotReady
from api.results.reading import class_result
from api.results.record import logged_of
from api.results.service import seen_result
from api.sheet.rows import Row, block_row, block_table, logged_score, placement_sd, shown_blocks
from api.storage.model import Attendance, Person, Plan, PlanVersion, Score, TrainingClass
from api.storage.moments import with_offset
from reconcile.classes import ClassRecord
from reconcile.compliance import Compliance, block_compliance
from reconcile.plan import DurationRange, Task, TimedBlock
from reconcile.plan import Plan as PlanValue
from reconcile.plan_text import read_plan
from reconcile.result import ClassResult

MOST_CLASSES = 24


@dataclass(frozen=True)
class Held:
    """A class that was held: when, by which version of which plan."""

    class_id: str
    title: str
    start: datetime
    plan_id: str


@dataclass(frozen=True)
class OwnBlock:
    """One block of one class as one athlete did it; done is None where nothing is known."""

    held: Held
    block: TimedBlock
    row: Row
    done: Compliance | None
    load_kg: float | None


@dataclass(frozen=True)
class OwnGroup:
    """The same block with the same option and machine, the latest first."""

    block: TimedBlock
    option: str | None
    equipment: str | None
    times: tuple[OwnBlock, ...]


@dataclass(frozen=True)
class ClassBlock:
    """One block of one class; rows are its athletes', together what they did in the mean."""

    held: Held
    rows: tuple[Row, ...]
    intended: DurationRange | None
    together: Compliance | None


@dataclass(frozen=True)
class ClassGroup:
    """The same block in the classes by one plan, the latest first."""

    block: TimedBlock
    times: tuple[ClassBlock, ...]


def athlete_over_time(
    session: Session, subject: Subject, person_id: str, cursor: str | None = None
) -> tuple[Person, tuple[OwnGroup, ...], str | None]:
    """An athlete's classes in groups of like blocks, and the cursor of earlier ones.

    A coach sees anybody of the gym, an athlete themselves. Raises NotHere.
    """
    person = session.scalar(visible_people(subject).where(Person.id == person_id))
    if person is None or subject.visiting:
        raise NotHere
    if person.id != subject.person_id and not subject.coaches:
        raise NotHere
    attended = select(Attendance.class_id).where(Attendance.person_id == person.id)
    classes, following = page_of(
        session,
        visible_classes(subject).where(TrainingClass.id.in_(attended)),
        TrainingClass.id,
        cursor,
        MOST_CLASSES,
    )
    groups: dict[Hashable, list[OwnBlock]] = {}
    for found in sorted(classes, key=lambda row: row.start, reverse=True):
        for own in own_blocks(session, subject, found, person.handle):
            key = (likeness(own.block, own.row.option), own.row.option, own.row.equipment)
            groups.setdefault(key, []).append(own)
    return (
        person,
        tuple(
            OwnGroup(each[0].block, each[0].row.option, each[0].row.equipment, tuple(each))
            for each in groups.values()
        ),
        following,
    )


def own_blocks(
    session: Session, subject: Subject, found: TrainingClass, handle: str
) -> list[OwnBlock]:
    """What one athlete did in one class; nothing where there is no result."""
    told = class_told(session, subject, found, only=handle)
    if told is None:
        return []
    held, record, result = told
    athlete = next((each for each in result.athletes if each.athlete == handle), None)
    if athlete is None:
        return []
    own = []
    for block in shown_blocks(record.plan):
        row = block_row(record, athlete, block, ())
        logged = logged_score(record, handle, block)
        done = (
            block_compliance(row.intervals, placement_sd(result, handle, block.name))
            if row.rounds_done is not None
            else None
        )
        own.append(OwnBlock(held, block, row, done, logged.load_kg if logged else None))
    return own


def plan_over_time(
    session: Session, subject: Subject, plan_id: str, cursor: str | None = None
) -> tuple[tuple[ClassGroup, ...], str | None]:
    """The classes held by a plan in groups of like blocks, and the cursor; a coach's to see."""
    plan = session.scalar(visible_plans(subject).where(Plan.id == plan_id))
    if plan is None or not subject.coaches:
        raise NotHere
    versions = select(PlanVersion.id).where(PlanVersion.plan_id == plan.id)
    classes, following = page_of(
        session,
        visible_classes(subject).where(TrainingClass.plan_version_id.in_(versions)),
        TrainingClass.id,
        cursor,
        MOST_CLASSES,
    )
    groups: dict[Hashable, list[tuple[TimedBlock, ClassBlock]]] = {}
    for found in sorted(classes, key=lambda row: row.start, reverse=True):
        told = class_told(session, subject, found)
        if told is None:
            continue
        held, record, result = told
        for block in shown_blocks(record.plan):
            table = block_table(record, result, block, ())
            one = ClassBlock(held, table.rows, table.intended, table.together)
            groups.setdefault(likeness(block), []).append((block, one))
    return (
        tuple(ClassGroup(each[0][0], tuple(one for _, one in each)) for each in groups.values()),
        following,
    )


def class_told(
    session: Session, subject: Subject, found: TrainingClass, only: str | None = None
) -> tuple[Held, ClassRecord, ClassResult] | None:
    """A class with its result, as much as the person may see; None where there is none yet.

    only: an athlete whose steps are wanted; of others their files stay, which may be theirs.
    """
    try:
        document = seen_result(session, subject, found.id).document
    except NotReady:
        return None
    if only is not None:
        nothing: dict[str, Any] = {"intervals": [], "scores": [], "advice": []}
        document["athletes"] = [
            entry if entry["athlete"] == only else entry | nothing for entry in document["athletes"]
        ]
    version = session.get_one(PlanVersion, found.plan_version_id)
    start = with_offset(found.start, found.start_offset_s)
    held = Held(found.id, version.title, start, version.plan_id)
    logged = session.execute(
        visible_scores(subject, found.id)
        .where(Score.replaced_at.is_(None))
        .join(Person, Person.id == Score.person_id)
        .add_columns(Person.handle)
        .order_by(Score.position, Score.id)
    )
    record = ClassRecord(
        plan=plan_of(version.text),
        start=start,
        start_tolerance_s=found.start_tolerance_s,
        athletes=(),
        scores=tuple(logged_of(row, handle) for row, handle in logged),
        uploads=(),
    )
    return held, record, class_result(document)


@lru_cache(maxsize=128)
def plan_of(text: str) -> PlanValue:
    """A plan read once: many classes are held by the same text."""
    return read_plan(text)


def likeness(block: TimedBlock, option: str | None = None) -> Hashable:
    """What two blocks have to share to be set side by side: steps, tasks of the option, score.

    Loads may differ: they stand beside each class.
    """
    steps = tuple(
        (
            step.kind,
            step.duration_s,
            tuple(task_likeness(task.instead.get(option or "", task)) for task in step.tasks),
        )
        for step in block.steps
    )
    return block.rounds, steps, block.score, block.rotate


def task_likeness(task: Task) -> Hashable:
    """What two tasks have to share."""
    return task.movement, task.measure, task.amount, task.most, task.effort


def efforts_by_round(done: Compliance | None) -> tuple[str, Sequence[float | None]]:
    """Mean power of each round, or mean heart rate where no machine tells; the unit first."""
    if done is None:
        return "", ()
    powers = [effort.mean_power_w for effort in done.rounds]
    if any(value is not None for value in powers):
        return "W", powers
    beats = [effort.mean_hr for effort in done.rounds]
    return ("bpm", beats) if any(value is not None for value in beats) else ("", ())


def verdict_counts(rows: Sequence[Row]) -> Mapping[str, int]:
    """How often each verdict was given."""
    counts: dict[str, int] = {}
    for row in rows:
        if row.score is not None:
            counts[row.score.verdict] = counts.get(row.score.verdict, 0) + 1
    return counts
