"""Every table of the service. Times are UTC, identifiers sort by the time they were made."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from api.storage.identity import new_id
from api.storage.moments import Moment, now

ID = String(32)
HASH = String(64)


class Base(DeclarativeBase):
    """Names every constraint, so that a migration can name it too."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


def key() -> Mapped[str]:
    """Make an identifier column that is the table's key."""
    return mapped_column(ID, primary_key=True, default=new_id)


def of(target: str, *, nullable: bool = False, ondelete: str = "CASCADE") -> Mapped[Any]:
    """Make an identifier of a row elsewhere; gone with it, or emptied by it."""
    return mapped_column(ID, ForeignKey(target, ondelete=ondelete), nullable=nullable, index=True)


class Gym(Base):
    """A gym; nothing crosses from one to another. time_zone: its IANA name, for new classes."""

    __tablename__ = "gym"

    id: Mapped[str] = key()
    name: Mapped[str] = mapped_column(String(200))
    retention_days: Mapped[int | None] = mapped_column(Integer)
    time_zone: Mapped[str] = mapped_column(String(64), default="UTC", server_default="UTC")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Person(Base):
    """Somebody in a gym. `handle` is the athlete's name in class folders.

    audit_mark stands for the person in the audit log and nowhere else: it goes with this row, and
    what the log says then belongs to nobody. The body's figures are what the next roster begins
    with; a class keeps its own. locale and mass_unit: how they read, None where the browser says.
    """

    __tablename__ = "person"
    __table_args__ = (UniqueConstraint("gym_id", "handle"),)

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    handle: Mapped[str] = mapped_column(String(64))
    name: Mapped[str] = mapped_column(String(200))
    mail: Mapped[str | None] = mapped_column(String(254), unique=True)
    password_hash: Mapped[str | None] = mapped_column(String(255))
    audit_mark: Mapped[str] = mapped_column(ID, default=new_id)
    sex: Mapped[str | None] = mapped_column(String(1))
    birth_year: Mapped[int | None] = mapped_column(Integer)
    mass_kg: Mapped[float | None] = mapped_column(Float)
    resting_hr: Mapped[float | None] = mapped_column(Float)
    max_hr: Mapped[float | None] = mapped_column(Float)
    vo2max: Mapped[float | None] = mapped_column(Float)
    locale: Mapped[str | None] = mapped_column(String(16))
    mass_unit: Mapped[str | None] = mapped_column(String(2))
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Role(Base):
    """What a person is in the gym: athlete, coach, owner; one row each."""

    __tablename__ = "role"

    person_id: Mapped[str] = mapped_column(
        ID, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True
    )
    role: Mapped[str] = mapped_column(String(16), primary_key=True)


class SignInLink(Base):
    """A personal link or an invitation: short-lived, single use, revocable; kept as a hash."""

    __tablename__ = "sign_in_link"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    person_id: Mapped[str] = of("person.id")
    token_hash: Mapped[str] = mapped_column(HASH, unique=True)
    kind: Mapped[str] = mapped_column(String(16))
    made_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)
    expires_at: Mapped[datetime] = mapped_column(Moment)
    used_at: Mapped[datetime | None] = mapped_column(Moment)
    revoked_at: Mapped[datetime | None] = mapped_column(Moment)


class SignIn(Base):
    """A sign-in that lasts; one by the code on the wall has `class_id` and needs a coach's word."""

    __tablename__ = "sign_in"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    person_id: Mapped[str] = of("person.id")
    token_hash: Mapped[str] = mapped_column(HASH, unique=True)
    class_id: Mapped[str | None] = of("class.id", nullable=True)
    confirmed_at: Mapped[datetime | None] = mapped_column(Moment)
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)
    expires_at: Mapped[datetime] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment)


class ApiToken(Base):
    """A program's key: hashed, for some scopes, for some time."""

    __tablename__ = "api_token"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    person_id: Mapped[str] = of("person.id")
    token_hash: Mapped[str] = mapped_column(HASH, unique=True)
    name: Mapped[str] = mapped_column(String(100))
    scopes: Mapped[list[str]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)
    expires_at: Mapped[datetime] = mapped_column(Moment)
    revoked_at: Mapped[datetime | None] = mapped_column(Moment)


class Attempt(Base):
    """A wrong password; `about` is a keyed hash of the address or of the machine it came from."""

    __tablename__ = "attempt"

    id: Mapped[str] = key()
    about: Mapped[str] = mapped_column(HASH, index=True)
    at: Mapped[datetime] = mapped_column(Moment, default=now)


class Consent(Base):
    """One answer to one question of consent; the latest counts, the earlier ones stay."""

    __tablename__ = "consent"

    id: Mapped[str] = key()
    person_id: Mapped[str] = of("person.id")
    purpose: Mapped[str] = mapped_column(String(32))
    version: Mapped[int] = mapped_column(Integer)
    agreed: Mapped[bool] = mapped_column(Boolean)
    stated_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    at: Mapped[datetime] = mapped_column(Moment, default=now)


class Plan(Base):
    """A session plan; what it says is in its versions."""

    __tablename__ = "plan"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class PlanVersion(Base):
    """What a plan said from one edit to the next; never changed."""

    __tablename__ = "plan_version"
    __table_args__ = (UniqueConstraint("plan_id", "number"),)

    id: Mapped[str] = key()
    plan_id: Mapped[str] = of("plan.id")
    number: Mapped[int] = mapped_column(Integer)
    title: Mapped[str] = mapped_column(String(200))
    text: Mapped[str] = mapped_column(Text)
    made_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class TrainingClass(Base):
    """One class: a plan's version at a time and a place.

    inputs_version grows with every change to anything that the result rests on. floor_version is
    the least that a result may rest on: it rises when something is taken away for good. history
    is what earlier classes taught, sealed, as the class folder has it. hand_starts: those of
    `starts` that a coach set by hand, rather than the clock.
    """

    __tablename__ = "class"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    plan_version_id: Mapped[str] = of("plan_version.id", ondelete="RESTRICT")
    coach_id: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    start: Mapped[datetime] = mapped_column(Moment)
    start_offset_s: Mapped[int] = mapped_column(Integer, default=0)
    start_tolerance_s: Mapped[float] = mapped_column(Float, default=600.0)
    starts: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    hand_starts: Mapped[list[str]] = mapped_column(JSON, default=list, server_default="[]")
    place: Mapped[str] = mapped_column(String(200), default="")
    history: Mapped[bytes | None] = mapped_column(LargeBinary)
    wall_code: Mapped[str] = mapped_column(String(16), unique=True)
    inputs_version: Mapped[int] = mapped_column(Integer, default=1)
    floor_version: Mapped[int] = mapped_column(Integer, default=0)
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Attendance(Base):
    """Somebody took part; the body's figures as they were that day, None where not said."""

    __tablename__ = "attendance"
    __table_args__ = (UniqueConstraint("class_id", "person_id"),)

    id: Mapped[str] = key()
    class_id: Mapped[str] = of("class.id")
    person_id: Mapped[str] = of("person.id")
    position: Mapped[int] = mapped_column(Integer)
    sex: Mapped[str | None] = mapped_column(String(1))
    birth_year: Mapped[int | None] = mapped_column(Integer)
    mass_kg: Mapped[float | None] = mapped_column(Float)
    resting_hr: Mapped[float | None] = mapped_column(Float)
    max_hr: Mapped[float | None] = mapped_column(Float)
    vo2max: Mapped[float | None] = mapped_column(Float)
    delay_s: Mapped[float] = mapped_column(Float, default=0.0)
    station: Mapped[int | None] = mapped_column(Integer)
    start: Mapped[datetime | None] = mapped_column(Moment)
    start_offset_s: Mapped[int] = mapped_column(Integer, default=0)


class Score(Base):
    """A row of the score sheet as logged once; a change makes a new row and dates the old one."""

    __tablename__ = "score"

    id: Mapped[str] = key()
    class_id: Mapped[str] = of("class.id")
    person_id: Mapped[str] = of("person.id")
    position: Mapped[int] = mapped_column(Integer)
    block: Mapped[str | None] = mapped_column(String(200))
    option: Mapped[str | None] = mapped_column(String(200))
    equipment: Mapped[str | None] = mapped_column(String(16))
    score: Mapped[float | None] = mapped_column(Float)
    rounds: Mapped[list[float] | None] = mapped_column(JSON(none_as_null=True))
    load_kg: Mapped[float | None] = mapped_column(Float)
    notes: Mapped[str] = mapped_column(Text, default="")
    logged_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    logged_at: Mapped[datetime] = mapped_column(Moment, default=now)
    replaced_at: Mapped[datetime | None] = mapped_column(Moment)


class Recording(Base):
    """One uploaded file. `file` is its name in the class folder; its bytes lie in the store."""

    __tablename__ = "recording"
    __table_args__ = (
        UniqueConstraint("class_id", "file"),
        UniqueConstraint("class_id", "sha256"),
    )

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    class_id: Mapped[str] = of("class.id")
    file: Mapped[str] = mapped_column(String(255))
    source: Mapped[str] = mapped_column(String(16))
    sha256: Mapped[str] = mapped_column(HASH, index=True)
    size: Mapped[int] = mapped_column(Integer)
    sign_in_id: Mapped[str | None] = of("sign_in.id", nullable=True, ondelete="SET NULL")
    received_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    received_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Uploader(Base):
    """Whose upload a recording is; several for a machine used in turns, none where unassigned."""

    __tablename__ = "uploader"

    recording_id: Mapped[str] = mapped_column(
        ID, ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True
    )
    person_id: Mapped[str] = mapped_column(
        ID, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    position: Mapped[int] = mapped_column(Integer)


class Reconciliation(Base):
    """One run of the engine over one class. `document` is whole, or there is none."""

    __tablename__ = "reconciliation"
    __table_args__ = (Index("ix_reconciliation_class_id_state", "class_id", "state"),)

    id: Mapped[str] = key()
    class_id: Mapped[str] = of("class.id")
    inputs_version: Mapped[int] = mapped_column(Integer)
    inputs: Mapped[dict[str, Any]] = mapped_column(JSON)
    engine_version: Mapped[str] = mapped_column(String(32))
    state: Mapped[str] = mapped_column(String(16))
    stage: Mapped[str] = mapped_column(String(100), default="")
    done: Mapped[int] = mapped_column(Integer, default=0)
    total: Mapped[int] = mapped_column(Integer, default=0)
    document: Mapped[str | None] = mapped_column(Text)
    sheet: Mapped[bytes | None] = mapped_column(LargeBinary)
    digest: Mapped[str | None] = mapped_column(HASH)
    problem: Mapped[str | None] = mapped_column(Text)
    started_at: Mapped[datetime] = mapped_column(Moment, default=now)
    finished_at: Mapped[datetime | None] = mapped_column(Moment)


class Pin(Base):
    """What a coach fixed by hand: a block's start on a recording, or its owner."""

    __tablename__ = "pin"

    id: Mapped[str] = key()
    class_id: Mapped[str] = of("class.id")
    recording_id: Mapped[str] = of("recording.id")
    member: Mapped[str] = mapped_column(String(255), default="")
    block: Mapped[str | None] = mapped_column(String(200))
    start_s: Mapped[float | None] = mapped_column(Float)
    owner_id: Mapped[str | None] = of("person.id", nullable=True)
    made_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)
    undone_at: Mapped[datetime | None] = mapped_column(Moment)


class Decision(Base):
    """How a question about a score was settled: who, when, why."""

    __tablename__ = "decision"

    id: Mapped[str] = key()
    class_id: Mapped[str] = of("class.id")
    person_id: Mapped[str] = of("person.id")
    block: Mapped[str] = mapped_column(String(200))
    outcome: Mapped[str] = mapped_column(String(16))
    reason: Mapped[str] = mapped_column(Text)
    made_by: Mapped[str | None] = of("person.id", nullable=True, ondelete="SET NULL")
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Done(Base):
    """An action done under an idempotency key, with its sealed answer, for a day."""

    __tablename__ = "done"
    __table_args__ = (UniqueConstraint("subject", "idempotency_key"),)

    id: Mapped[str] = key()
    gym_id: Mapped[str] = of("gym.id")
    subject: Mapped[str] = mapped_column(String(64))
    idempotency_key: Mapped[str] = mapped_column(String(255))
    fingerprint: Mapped[str] = mapped_column(HASH)
    status: Mapped[int] = mapped_column(Integer)
    answer: Mapped[bytes] = mapped_column(LargeBinary)
    made_at: Mapped[datetime] = mapped_column(Moment, default=now)


class Audit(Base):
    """What was done, by whom (a mark), to what. Lines are added and never changed or taken away."""

    __tablename__ = "audit"

    id: Mapped[str] = key()
    gym_id: Mapped[str] = mapped_column(ID, index=True)
    at: Mapped[datetime] = mapped_column(Moment, default=now)
    actor: Mapped[str | None] = mapped_column(ID)
    action: Mapped[str] = mapped_column(String(64))
    about: Mapped[str | None] = mapped_column(ID)
    detail: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
