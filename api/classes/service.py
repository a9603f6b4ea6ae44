"""What can be done with classes: hold, change, say who took part, log scores."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from api.classes.starts import checked_starts, record_starts
from api.folder.scores import read_scores
from api.language import deferred
from api.people.sight import (
    led_classes,
    led_plans,
    visible_classes,
    visible_scores,
    visible_visits,
)
from api.people.signing_in import person_roles
from api.people.subject import Subject
from api.plans.service import newest_version
from api.problems import Conflict, Fault, NotHere, Refused
from api.service import Service
from api.storage.audit import write_line
from api.storage.identity import new_code
from api.storage.model import (
    Attendance,
    Person,
    PlanVersion,
    Reconciliation,
    Recording,
    Score,
    SignIn,
    TrainingClass,
)
from api.storage.model import Plan as PlanRow
from api.storage.moments import now, offset_s
from api.work.engine import ENGINE_VERSION
from api.work.stale import touch_class
from reconcile.classes import LoggedScore
from reconcile.plan import Plan
from reconcile.plan_text import read_plan


def seen_class(session: Session, subject: Subject, class_id: str) -> TrainingClass:
    """The class, where the person may see it; raises NotHere."""
    found = session.scalar(visible_classes(subject).where(TrainingClass.id == class_id))
    if found is None:
        raise NotHere
    return found


def led_class(session: Session, subject: Subject, class_id: str) -> TrainingClass:
    """The class, where the person may change it, held until the transaction ends; or NotHere."""
    found = session.scalar(
        led_classes(subject).where(TrainingClass.id == class_id).with_for_update()
    )
    if found is None:
        raise NotHere
    return found


def class_plan(session: Session, found: TrainingClass) -> Plan:
    """The plan that the class was held by."""
    return read_plan(session.get_one(PlanVersion, found.plan_version_id).text)


def add_class(
    session: Session,
    service: Service,
    subject: Subject,
    *,
    plan_id: str,
    start: datetime,
    place: str,
    start_tolerance_s: float,
    starts: dict[str, datetime],
) -> TrainingClass:
    """Make a class by the newest version of a plan; a coach's to do."""
    plan = session.scalar(led_plans(subject).where(PlanRow.id == plan_id))
    if plan is None:
        raise NotHere
    version = newest_version(session, plan.id)
    found = TrainingClass(
        gym_id=subject.gym_id,
        plan_version_id=version.id,
        coach_id=subject.person_id,
        start=start,
        start_offset_s=offset_s(start),
        start_tolerance_s=start_tolerance_s,
        starts=checked_starts(read_plan(version.text), starts),
        place=place,
        wall_code=new_code(),
    )
    session.add(found)
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="class.add",
        about=found.id,
    )  # fmt: skip
    service.work.ask(session, found.id)
    return found


def change_class(
    session: Session, service: Service, subject: Subject, class_id: str,
    changes: dict[str, object],
) -> TrainingClass:  # fmt: skip
    """Change a class; a coach's to do."""
    found = led_class(session, subject, class_id)
    if changes.get("plan_version") is not None:
        plan_id = session.get_one(PlanVersion, found.plan_version_id).plan_id
        version = session.scalar(
            select(PlanVersion).where(
                PlanVersion.plan_id == plan_id, PlanVersion.number == changes["plan_version"]
            )
        )
        if version is None:
            what = deferred("The plan has no such version.")
            raise Refused(what, code="no_version", faults=[Fault("plan_version", what, "number")])
        found.plan_version_id = version.id
        names = {block.name for block in class_plan(session, found).timed_blocks}
        found.starts = {block: text for block, text in found.starts.items() if block in names}
        found.hand_starts = [block for block in found.hand_starts if block in names]
    if isinstance(changes.get("start"), datetime):
        found.start = changes["start"]  # type: ignore[assignment]
        found.start_offset_s = offset_s(found.start)
    if changes.get("place") is not None:
        found.place = str(changes["place"])
    if changes.get("start_tolerance_s") is not None:
        found.start_tolerance_s = float(str(changes["start_tolerance_s"]))
    if changes.get("starts") is not None:
        starts: dict[str, datetime] = changes["starts"]  # type: ignore[assignment]
        found.starts = checked_starts(class_plan(session, found), starts)
        found.hand_starts = []
    session.flush()
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="class.change",
        about=found.id, fields=sorted(changes),
    )  # fmt: skip
    touch_class(session, service, found.id)
    session.refresh(found)
    return found


def drop_class(session: Session, subject: Subject, class_id: str) -> list[tuple[str, str, str]]:
    """Delete a class with everything in it; gives the recordings whose bytes are to go.

    Each is its gym, its content's address and its identifier.
    """
    found = led_class(session, subject, class_id)
    gone = [
        (row.gym_id, row.sha256, row.id)
        for row in session.scalars(select(Recording).where(Recording.class_id == found.id))
    ]
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="class.delete",
        about=found.id, files=len(gone),
    )  # fmt: skip
    session.execute(delete(TrainingClass).where(TrainingClass.id == found.id))
    return gone


def change_starts(
    session: Session, service: Service, subject: Subject, class_id: str,
    starts: Mapping[str, datetime | None], *, by_hand: bool,
) -> TrainingClass:  # fmt: skip
    """Set or clear when some blocks began; a coach's to do, and their clock's."""
    found = led_class(session, subject, class_id)
    record_starts(session, service, subject, found, starts, by_hand=by_hand)
    session.refresh(found)
    return found


def class_state(session: Session, found: TrainingClass) -> Reconciliation | None:
    """The run over the class's present inputs, done, failed or at work; None where one waits."""
    runs = session.scalars(
        select(Reconciliation)
        .where(
            Reconciliation.class_id == found.id,
            Reconciliation.engine_version == ENGINE_VERSION,
            (Reconciliation.inputs_version == found.inputs_version)
            | (Reconciliation.state == "working"),
        )
        .order_by(Reconciliation.id.desc())
    ).all()
    finished = [run for run in runs if run.state in ("done", "failed")]
    return next(iter([*finished, *runs]), None)


# ---- scores


def scored_block(plan: Plan, block: str | None) -> str | None:
    """The block that a score is about; the only scored one where left out. Raises Refused."""
    scored = [found.name for found in plan.timed_blocks if found.score is not None]
    if block is None and len(scored) <= 1:
        return scored[0] if scored else None
    if block not in scored:
        what = deferred("Say which scored block of the plan this is about.")
        raise Refused(what, code="unknown_block", faults=[Fault("block", what, "block")])
    return block


def log_score(
    session: Session,
    service: Service,
    subject: Subject,
    class_id: str,
    handle: str,
    logged: LoggedScore,
) -> Score:
    """Log a score: an athlete's own, or a coach's to do. The one before is kept, dated.

    Who is here by the code on the wall may log the first one and change none.
    """
    found = seen_class(session, subject, class_id)
    if not subject.coaches and handle != subject.handle:
        raise NotHere
    person = session.scalar(
        select(Person)
        .join(Attendance, Attendance.person_id == Person.id)
        .where(
            Attendance.class_id == found.id,
            Person.handle == handle,
            Person.gym_id == subject.gym_id,
        )
    )
    if person is None:
        raise NotHere
    session.execute(select(TrainingClass.id).where(TrainingClass.id == found.id).with_for_update())
    row, changed = put_score(
        session, class_id=found.id, person_id=person.id, by=subject.person_id, logged=logged,
        replace=not subject.visiting,
    )  # fmt: skip
    if changed:
        write_line(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, action="score.log",
            about=person.audit_mark, class_id=found.id,
        )  # fmt: skip
        touch_class(session, service, found.id)
    return row


def checked_score(plan: Plan, logged: LoggedScore) -> LoggedScore:
    """A score in the words of the plan; raises Refused for an option or block it does not have."""
    if logged.option is not None and logged.option not in plan.options:
        what = deferred("The plan has no such option.")
        raise Refused(what, code="unknown_option", faults=[Fault("option", what, "option")])
    notes = "".join(c if c.isprintable() else " " for c in logged.notes).strip()
    return LoggedScore(
        athlete=logged.athlete,
        block=scored_block(plan, logged.block),
        option=logged.option,
        equipment=logged.equipment,
        score=logged.score,
        rounds=logged.rounds,
        load_kg=logged.load_kg,
        notes=notes,
    )


def put_score(
    session: Session,
    *,
    class_id: str,
    person_id: str,
    by: str | None,
    logged: LoggedScore,
    replace: bool = True,
) -> tuple[Score, bool]:
    """Keep a score in place of the one before; gives the row that counts, and whether it is new."""
    rows = session.scalars(
        select(Score).where(
            Score.class_id == class_id,
            Score.person_id == person_id,
            Score.replaced_at.is_(None),
        )
    ).all()
    before = next((row for row in rows if row.block == logged.block), None)
    if before is not None and same_score(before, logged):
        return before, False
    if before is not None and not replace:
        raise NotHere
    last = session.scalar(select(func.max(Score.position)).where(Score.class_id == class_id))
    position = before.position if before else (0 if last is None else last + 1)
    if before is not None:
        before.replaced_at = now()
    row = Score(
        class_id=class_id,
        person_id=person_id,
        position=position,
        block=logged.block,
        option=logged.option,
        equipment=logged.equipment,
        score=logged.score,
        rounds=list(logged.rounds) if logged.rounds is not None else None,
        load_kg=logged.load_kg,
        notes=logged.notes,
        logged_by=by,
    )
    session.add(row)
    session.flush()
    return row, True


def same_score(row: Score, logged: LoggedScore) -> bool:
    """Whether a row says what is logged again."""
    rounds = list(logged.rounds) if logged.rounds is not None else None
    return (row.option, row.equipment, row.score, row.rounds, row.load_kg, row.notes) == (
        logged.option, logged.equipment, logged.score, rounds, logged.load_kg, logged.notes
    )  # fmt: skip


def log_sheet(
    session: Session, service: Service, subject: Subject, class_id: str, text: str
) -> tuple[str, ...]:
    """Log a whole sheet; gives what could not be taken as it stands. A coach's to do."""
    found = led_class(session, subject, class_id)
    people = {
        person.handle: person
        for person in session.scalars(
            select(Person)
            .join(Attendance, Attendance.person_id == Person.id)
            .where(Attendance.class_id == found.id)
        )
    }
    scores, mistakes = read_scores(text, class_plan(session, found), list(people))
    if not scores and mistakes:
        raise Refused(
            "No score can be read from the sheet: its first line must name the columns.",
            developer=str(mistakes[0]),
            code="bad_scores",
            faults=[Fault(m.place, m.message, m.code) for m in mistakes],
        )
    changed = 0
    for logged in scores:
        if logged.athlete in people:
            _, new = put_score(
                session, class_id=found.id, person_id=people[logged.athlete].id,
                by=subject.person_id, logged=logged,
            )  # fmt: skip
            changed += new
    if changed:
        write_line(
            session, gym_id=subject.gym_id, actor=subject.audit_mark, action="score.sheet",
            about=found.id, rows=changed,
        )  # fmt: skip
        touch_class(session, service, found.id)
    return tuple(mistake.sentence for mistake in mistakes)


def score_rows(
    session: Session, subject: Subject, class_id: str, *, replaced: bool
) -> list[tuple[Score, str]]:
    """Scores that the person may see, with the athlete's handle, in the sheet's order."""
    seen_class(session, subject, class_id)
    rows = visible_scores(subject, class_id)
    if not replaced:
        rows = rows.where(Score.replaced_at.is_(None))
    found = session.scalars(rows.order_by(Score.position, Score.id))
    return [(row, session.get_one(Person, row.person_id).handle) for row in found]


# ---- the code on the wall


def new_wall_code(session: Session, subject: Subject, class_id: str) -> TrainingClass:
    """Take a new code: the one on the wall stops working, and so do its visits."""
    found = led_class(session, subject, class_id)
    found.wall_code = new_code()
    session.execute(
        update(SignIn)
        .where(SignIn.class_id == found.id, SignIn.confirmed_at.is_(None))
        .values(ended_at=now())
    )
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="wall.renew",
        about=found.id,
    )  # fmt: skip
    return found


def confirm_visit(session: Session, subject: Subject, class_id: str, visit_id: str) -> SignIn:
    """A coach's word that the visitor is who they say: from now a full sign-in of that athlete.

    Of somebody who coaches or owns it makes none: they have passwords.
    """
    visit = session.scalar(visible_visits(subject, class_id).where(SignIn.id == visit_id))
    if visit is None:
        raise NotHere
    if person_roles(session, visit.person_id) - {"athlete"}:
        raise Conflict("Coaches and owners sign in with their password.", code="has_password")
    visit.confirmed_at = visit.confirmed_at or now()
    person = session.get_one(Person, visit.person_id)
    write_line(
        session, gym_id=subject.gym_id, actor=subject.audit_mark, action="visit.confirm",
        about=person.audit_mark, class_id=class_id,
    )  # fmt: skip
    return visit
