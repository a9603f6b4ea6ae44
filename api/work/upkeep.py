"""What is done from time to time: retention, orphans, what has run out."""

from __future__ import annotations

import time
from datetime import timedelta

from sqlalchemy import delete, or_, select

from api.people.retention import past_keeping
from api.recordings.columns import KIND
from api.recordings.service import BYTES, drop_bytes
from api.recordings.shared import sweep_shared
from api.service import Service
from api.storage.audit import write_line
from api.storage.model import Done, Gym, Recording, SignIn, SignInLink
from api.storage.moments import now
from api.work.stale import raise_floor, touch_class

EVERY_S = 3600.0
KEYS_LAST = timedelta(days=1)
FINISHED_LAST = timedelta(days=30)


class Upkeep:
    """Does the upkeep once an hour, at the first call too."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.due = 0.0

    def when_due(self) -> None:
        """Do it where an hour has gone by."""
        if time.monotonic() >= self.due:
            self.due = time.monotonic() + EVERY_S
            keep_up(self.service)


def keep_up(service: Service) -> None:
    """Delete recordings past each gym's retention, and forget what has run out."""
    past_retention(service)
    moment = now()
    with service.database.writing() as session:
        session.execute(delete(Done).where(Done.made_at < moment - KEYS_LAST))
        old = moment - FINISHED_LAST
        session.execute(delete(SignIn).where(or_(SignIn.expires_at < old, SignIn.ended_at < old)))
        session.execute(delete(SignInLink).where(SignInLink.expires_at < old))
    drop_orphans(service)
    sweep_shared(service)


def past_retention(service: Service) -> None:
    """Delete the recordings of classes that are longer ago than the gym keeps them."""
    gone = []
    with service.database.writing() as session:
        gyms = session.scalars(select(Gym).where(Gym.retention_days.is_not(None)))
        for gym in gyms.all():
            rows = session.scalars(past_keeping(gym.id, gym.retention_days or 0)).all()
            for row in rows:
                gone.append((row.gym_id, row.sha256, row.id))
                session.delete(row)
            session.flush()
            for class_id in sorted({row.class_id for row in rows}):
                touch_class(session, service, class_id)
                raise_floor(session, class_id)
                write_line(
                    session, gym_id=gym.id, actor=None, action="recordings.retention",
                    about=class_id,
                )  # fmt: skip
    for gym_id, sha256, recording_id in gone:
        drop_bytes(service, gym_id, sha256, recording_id)


def drop_orphans(service: Service) -> None:
    """Forget bytes that no row has: of an upload that was cut off before it was noted.

    In a transaction that keeps uploads out: one that is under way has put its bytes already.
    """
    if service.database.engine.dialect.name != "sqlite":
        return  # on PostgreSQL uploads do not exclude each other; its orphans wait for a restore
    with service.database.writing() as session:
        kept = {
            BYTES: set(session.scalars(select(Recording.sha256))),
            KIND: set(session.scalars(select(Recording.id))),
        }
        for kind, names in kept.items():
            for place in list(service.store.raw_names(kind)):
                _, gym_id, _, name = place.split("/")
                if name not in names:
                    service.store.drop(gym_id, kind, name)
