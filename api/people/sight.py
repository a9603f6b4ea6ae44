"""What a person may see and change: every read of the service starts here.

Athletes see their own recordings, scores and results. Coaches see the classes of their gym.
Owners see accounts, settings and the audit log, and nothing of a body unless they coach too.
Who is here by the code on the wall sees that class, and of it what they uploaded themselves.
Nobody sees another gym.
"""

from __future__ import annotations

from sqlalchemy import Exists, ScalarSelect, Select, exists, false, func, or_, select

from api.people.consents import BY_NAME
from api.people.subject import Subject
from api.storage.model import (
    ApiToken,
    Attendance,
    Audit,
    Consent,
    Decision,
    Person,
    Pin,
    Plan,
    PlanVersion,
    Recording,
    Score,
    SignIn,
    SignInLink,
    TrainingClass,
    Uploader,
)


def visible_classes(subject: Subject) -> Select[TrainingClass]:
    """A coach: those of the gym. An athlete: those attended. A visitor: the one on the wall."""
    classes = select(TrainingClass).where(TrainingClass.gym_id == subject.gym_id)
    if subject.coaches:
        return classes
    attended = exists().where(
        Attendance.class_id == TrainingClass.id, Attendance.person_id == subject.person_id
    )
    classes = classes.where(attended)
    if subject.visiting:
        classes = classes.where(TrainingClass.id == subject.visit_class_id)
    return classes


def led_classes(subject: Subject) -> Select[TrainingClass]:
    """The classes that the person may change: a coach's gym's."""
    classes = select(TrainingClass).where(TrainingClass.gym_id == subject.gym_id)
    return classes if subject.coaches else classes.where(false())


def visible_plans(subject: Subject) -> Select[Plan]:
    """A coach: those of the gym. An athlete: those of classes attended."""
    plans = select(Plan).where(Plan.gym_id == subject.gym_id)
    if subject.coaches:
        return plans
    classes = visible_classes(subject).with_only_columns(TrainingClass.plan_version_id)
    return plans.where(exists().where(PlanVersion.plan_id == Plan.id, PlanVersion.id.in_(classes)))


def led_plans(subject: Subject) -> Select[Plan]:
    """The plans that the person may change: a coach's gym's."""
    plans = select(Plan).where(Plan.gym_id == subject.gym_id)
    return plans if subject.coaches else plans.where(false())


def visible_plan_versions(subject: Subject) -> Select[PlanVersion]:
    """A coach: all. An athlete: those that a class attended was held by."""
    versions = select(PlanVersion).join(Plan).where(Plan.gym_id == subject.gym_id)
    if subject.coaches:
        return versions
    classes = visible_classes(subject).with_only_columns(TrainingClass.plan_version_id)
    return versions.where(PlanVersion.id.in_(classes))


def visible_people(subject: Subject) -> Select[Person]:
    """Coaches and owners: the gym's. Everybody: themselves."""
    people = select(Person).where(Person.gym_id == subject.gym_id)
    if subject.coaches or subject.owns:
        return people
    return people.where(Person.id == subject.person_id)


def visible_attendances(subject: Subject, class_id: str) -> Select[Attendance]:
    """A coach: the class's roster. An athlete: their own row. A visitor: none; it tells a body."""
    rows = (
        select(Attendance)
        .join(TrainingClass, TrainingClass.id == Attendance.class_id)
        .where(Attendance.class_id == class_id, TrainingClass.gym_id == subject.gym_id)
    )
    if subject.coaches:
        return rows
    rows = rows.where(Attendance.person_id == subject.person_id)
    return rows.where(false()) if subject.visiting else rows


def visible_scores(subject: Subject, class_id: str) -> Select[Score]:
    """A coach: the class's, replaced ones too. An athlete: their own. A visitor: none."""
    rows = (
        select(Score)
        .join(TrainingClass, TrainingClass.id == Score.class_id)
        .where(Score.class_id == class_id, TrainingClass.gym_id == subject.gym_id)
    )
    if subject.coaches:
        return rows
    rows = rows.where(Score.person_id == subject.person_id)
    return rows.where(false()) if subject.visiting else rows


def visible_recordings(subject: Subject) -> Select[Recording]:
    """A coach: those of the gym. An athlete: their own uploads. A visitor: this sign-in's."""
    rows = select(Recording).where(Recording.gym_id == subject.gym_id)
    if subject.coaches:
        return rows
    if subject.visiting:
        return rows.where(Recording.sign_in_id == subject.sign_in_id)
    return rows.where(own_upload(subject.person_id))


def own_recordings(subject: Subject) -> Select[Recording]:
    """Uploads that are the person's own: they may have the bytes back, and may undo them."""
    rows = select(Recording).where(Recording.gym_id == subject.gym_id)
    if subject.visiting:
        return rows.where(Recording.sign_in_id == subject.sign_in_id)
    return rows.where(
        or_(
            own_upload(subject.person_id),
            (Recording.received_by == subject.person_id)
            & ~exists().where(Uploader.recording_id == Recording.id),
        )
    )


def own_upload(person_id: str) -> Exists:
    """Whether the person is one of a recording's uploaders."""
    return exists().where(Uploader.recording_id == Recording.id, Uploader.person_id == person_id)


def visible_pins(subject: Subject, class_id: str) -> Select[Pin]:
    """A coach: the class's. An athlete: those on their own uploads. A visitor: none."""
    rows = (
        select(Pin)
        .join(TrainingClass, TrainingClass.id == Pin.class_id)
        .where(Pin.class_id == class_id, TrainingClass.gym_id == subject.gym_id)
    )
    if subject.coaches:
        return rows
    own = visible_recordings(subject).with_only_columns(Recording.id)
    rows = rows.where(Pin.recording_id.in_(own))
    return rows.where(false()) if subject.visiting else rows


def visible_decisions(subject: Subject, class_id: str) -> Select[Decision]:
    """A coach: the class's. An athlete: those about themselves."""
    rows = (
        select(Decision)
        .join(TrainingClass, TrainingClass.id == Decision.class_id)
        .where(Decision.class_id == class_id, TrainingClass.gym_id == subject.gym_id)
    )
    if subject.coaches:
        return rows
    rows = rows.where(Decision.person_id == subject.person_id)
    return rows.where(false()) if subject.visiting else rows


def visible_visits(subject: Subject, class_id: str) -> Select[SignIn]:
    """A coach: who signed in by the code on the wall. Others: none."""
    rows = select(SignIn).where(SignIn.class_id == class_id, SignIn.gym_id == subject.gym_id)
    return rows if subject.coaches else rows.where(false())


def visible_tokens(subject: Subject) -> Select[ApiToken]:
    """Their own."""
    rows = select(ApiToken).where(ApiToken.person_id == subject.person_id)
    return rows.where(false()) if subject.visiting else rows


def visible_links(subject: Subject) -> Select[SignInLink]:
    """A coach or an owner: those that they made. Others: none."""
    rows = select(SignInLink).where(SignInLink.gym_id == subject.gym_id)
    if not (subject.coaches or subject.owns):
        return rows.where(false())
    return rows.where(SignInLink.made_by == subject.person_id)


def visible_audit(subject: Subject) -> Select[Audit]:
    """An owner: the gym's. Others: none."""
    rows = select(Audit).where(Audit.gym_id == subject.gym_id)
    return rows if subject.owns else rows.where(false())


def class_table_people(subject: Subject, class_id: str) -> Select[Person]:
    """Who of a class may be shown to the person: all to a coach, to others those who agreed.

    The class itself has to be visible to the person; a visitor sees no table.
    """
    people = (
        select(Person)
        .join(Attendance, Attendance.person_id == Person.id)
        .where(Attendance.class_id == class_id, Person.gym_id == subject.gym_id)
        .order_by(Attendance.position)
    )
    if subject.coaches:
        return people
    seen = visible_classes(subject).with_only_columns(TrainingClass.id)
    people = people.where(Attendance.class_id.in_(seen))
    if subject.visiting:
        return people.where(false())
    return people.where(or_(Person.id == subject.person_id, latest_answer("class-table").is_(True)))


def latest_answer(purpose: str) -> ScalarSelect[bool]:
    """A person's latest answer about a purpose, as a column; null where never asked."""
    last = (
        select(func.max(Consent.id))
        .where(
            Consent.person_id == Person.id,
            Consent.purpose == purpose,
            Consent.version == BY_NAME[purpose].version,
        )
        .correlate(Person)
        .scalar_subquery()
    )
    return select(Consent.agreed).where(Consent.id == last).correlate(Person).scalar_subquery()
