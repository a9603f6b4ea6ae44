"""Which recordings a gym no longer keeps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from api.storage.model import Recording, TrainingClass
from api.storage.moments import now


@dataclass(frozen=True)
class PastKeeping:
    """How many recordings of how many classes are past keeping."""

    recordings: int
    classes: int


def past_keeping(gym_id: str, days: int) -> Select[Recording]:
    """The recordings of classes longer ago than so many days, that came in longer ago too."""
    last = now() - timedelta(days=days)
    return (
        select(Recording)
        .join(TrainingClass, TrainingClass.id == Recording.class_id)
        .where(
            Recording.gym_id == gym_id,
            TrainingClass.start < last,
            Recording.received_at < last,
        )
    )


def count_past_keeping(session: Session, gym_id: str, days: int) -> PastKeeping:
    """What would be deleted with the next upkeep, were recordings kept for so many days."""
    rows = past_keeping(gym_id, days).with_only_columns(
        func.count(Recording.id), func.count(func.distinct(Recording.class_id))
    )
    recordings, classes = session.execute(rows).one()
    return PastKeeping(recordings, classes)
