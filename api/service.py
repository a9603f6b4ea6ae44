"""What one running service is made of, handed to every request."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from sqlalchemy.orm import Session

from api.metrics import Metrics
from api.settings import Settings
from api.storage.database import Database
from api.storage.keys import Keys
from api.storage.store import Store


class Work(Protocol):
    """Whoever reconciles classes: in this process, or by a queue."""

    def ask(self, session: Session, class_id: str) -> None:
        """Ask for a class, within the transaction of the change."""

    def wake(self) -> None:
        """Say, after the commit, that there may be something to do."""


@dataclass(frozen=True)
class Service:
    """Settings and the open parts; plain values, no global state."""

    settings: Settings
    database: Database
    keys: Keys
    store: Store
    work: Work
    metrics: Metrics
