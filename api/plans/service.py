"""What can be done with plans: write, edit, read, unfold."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.language import Sentence
from api.people.sight import (
    led_plans,
    visible_classes,
    visible_plan_versions,
    visible_plans,
)
from api.people.subject import Subject
from api.problems import Fault, NotHere, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Plan as PlanRow
from api.storage.model import PlanVersion, Recording, TrainingClass
from api.work.stale import touch_class
from reconcile.errors import InputError, Mistake
from reconcile.plan import FreeBlock, Plan, Task
from reconcile.plan_text import read_plan


def fault_of(mistake: Mistake) -> Fault:
    """Give a mistake's place, what is wrong, and the remedy."""
    what = Sentence("{message}; {remedy}", message=mistake.message, remedy=mistake.remedy)
    return Fault(mistake.place, what, mistake.code)


def refused_plan(error: InputError) -> Refused:
    """Say what is wrong with a plan, line by line."""
    count = len(error.mistakes)
    where = Sentence("line {line}", line=error.line) if error.line else Sentence("the plan")
    return Refused(
        Sentence("The plan cannot be used yet: look at {where}.", where=where)
        if count == 1
        else Sentence(
            "The plan cannot be used yet: {count} places need a look, the first at {where}.",
            count=count,
            where=where,
        ),
        developer=f"{error.first.place}: {error.code}",
        code="bad_plan",
        faults=[fault_of(mistake) for mistake in error.mistakes],
    )


def plan_of(text: str) -> Plan:
    """Read a plan; raises Refused with a fault for each mistake."""
    try:
        return read_plan(text)
    except InputError as error:
        raise refused_plan(error) from error


def add_plan(
    session: Session, *, gym_id: str, maker_id: str, actor: str, text: str
) -> tuple[PlanRow, PlanVersion]:
    """Keep a new plan; raises Refused for one that cannot be read."""
    plan = plan_of(text)
    row = PlanRow(gym_id=gym_id)
    session.add(row)
    session.flush()
    version = PlanVersion(
        plan_id=row.id, number=1, title=plan.title[:200], text=text, made_by=maker_id
    )
    session.add(version)
    session.flush()
    write_line(session, gym_id=gym_id, actor=actor, action="plan.add", about=row.id)
    return row, version


def edit_plan(
    session: Session, service: Service, subject: Subject, plan_id: str, text: str
) -> PlanVersion:
    """Keep a new version; classes of the plan that were not held yet follow it.

    A class that was held (a recording or a block's start says so) keeps the version that it was
    held by, until a coach moves it on.
    """
    row = session.scalar(led_plans(subject).where(PlanRow.id == plan_id).with_for_update())
    if row is None:
        raise NotHere
    plan = plan_of(text)
    last = newest_version(session, plan_id)
    if last.text == text:
        return last
    version = PlanVersion(
        plan_id=row.id,
        number=last.number + 1,
        title=plan.title[:200],
        text=text,
        made_by=subject.person_id,
    )
    session.add(version)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="plan.edit",
        about=row.id, version=version.number,
    )  # fmt: skip
    unheld = session.scalars(
        select(TrainingClass)
        .join(PlanVersion, PlanVersion.id == TrainingClass.plan_version_id)
        .where(
            PlanVersion.plan_id == row.id,
            ~select(Recording.id).where(Recording.class_id == TrainingClass.id).exists(),
        )
    )
    for found in unheld:
        if found.starts:
            continue
        found.plan_version_id = version.id
        session.flush()
        touch_class(session, service, found.id)
    return version


def newest_version(session: Session, plan_id: str) -> PlanVersion:
    """The last version of a plan."""
    return session.scalars(
        select(PlanVersion)
        .where(PlanVersion.plan_id == plan_id)
        .order_by(PlanVersion.number.desc())
        .limit(1)
    ).one()


def seen_plan(
    session: Session, subject: Subject, plan_id: str
) -> tuple[PlanRow, list[PlanVersion]]:
    """A plan and the versions of it that the person may see, newest first; raises NotHere."""
    row = session.scalar(visible_plans(subject).where(PlanRow.id == plan_id))
    if row is None:
        raise NotHere
    versions = session.scalars(
        visible_plan_versions(subject)
        .where(PlanVersion.plan_id == plan_id)
        .order_by(PlanVersion.number.desc())
    )
    return row, list(versions)


def version_of(session: Session, subject: Subject, plan_id: str, number: int) -> PlanVersion:
    """What a plan said in one version; raises NotHere."""
    found = session.scalar(
        visible_plan_versions(subject).where(
            PlanVersion.plan_id == plan_id, PlanVersion.number == number
        )
    )
    if found is None:
        raise NotHere
    return found


def classes_by_version(
    session: Session, subject: Subject, plan_id: str
) -> dict[int, list[TrainingClass]]:
    """The classes that go by each version of a plan, as far as the person may see."""
    rows = session.execute(
        visible_classes(subject)
        .join(PlanVersion, PlanVersion.id == TrainingClass.plan_version_id)
        .where(PlanVersion.plan_id == plan_id)
        .order_by(TrainingClass.start)
        .with_only_columns(PlanVersion.number, TrainingClass)
    )
    found: dict[int, list[TrainingClass]] = {}
    for number, row in rows:
        found.setdefault(number, []).append(row)
    return found


def version_count(session: Session, plan_id: str) -> int:
    """How many versions a plan has."""
    statement = select(func.count()).where(PlanVersion.plan_id == plan_id)
    return session.scalar(statement) or 0


def class_length_s(plan: Plan) -> tuple[float, float]:
    """How long the class will be, from least to most, in seconds."""
    least = most = 0.0
    for block in plan.blocks:
        if isinstance(block, FreeBlock):
            least, most = least + block.low_s, most + block.high_s
        else:
            least, most = least + block.duration_s, most + block.duration_s
    return least, most


def task_words(task: Task) -> str:
    """Say a task in a few words, in the units of the plan."""
    words = task.movement
    if task.most and task.measure:
        words = f"{words}, as many {task.measure} as possible"
    elif task.measure and task.amount is not None:
        words = f"{task.amount:g} {task.measure} {words}"
    for quantity in (task.load, task.height):
        if quantity is not None:
            men, women = float(quantity.men), float(quantity.women)
            both = f"{men:g}" if men == women else f"{men:g} (women {women:g})"
            words = f"{words}, {both} {quantity.unit}"
    return words
