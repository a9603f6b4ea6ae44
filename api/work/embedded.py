"""Reconciling in the server's own process, off the event loop: what is stale is in the database.

Nothing is queued anywhere else, so nothing is lost when the process is killed: the next one finds
the same classes stale.
"""

from __future__ import annotations

import logging
import threading

from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from api.results.reconcile import bring_up_to_date
from api.service import Service
from api.work.stale import stale_classes
from api.work.upkeep import Upkeep

log = logging.getLogger(__name__)

LOOK_EVERY_S = 2.0


class Bell:
    """Rings when there may be something to do."""

    def __init__(self) -> None:
        self.event = threading.Event()

    def ask(self, session: Session, class_id: str) -> None:
        """Nothing to note: the class is stale by what the transaction changes."""

    def wake(self) -> None:
        """Ring."""
        self.event.set()


class EmbeddedWorker:
    """A thread that brings stale classes up to date, one after another."""

    def __init__(self, service: Service, bell: Bell) -> None:
        self.service = service
        self.bell = bell
        self.stopping = threading.Event()
        self.upkeep = Upkeep(service)
        self.thread = threading.Thread(target=self.run, name="reconcile", daemon=True)

    def start(self) -> None:
        """Begin."""
        self.thread.start()

    def stop(self, wait_s: float = 30.0) -> None:
        """End after the class at hand; one that takes longer is done again by the next process."""
        self.stopping.set()
        self.bell.wake()
        self.thread.join(wait_s)

    def run(self) -> None:
        """Work until told to stop."""
        while not self.stopping.is_set():
            self.bell.event.wait(LOOK_EVERY_S)
            self.bell.event.clear()
            try:
                self.work_off()
                self.upkeep.when_due()
            except SQLAlchemyError:
                log.exception("the database did not answer; trying again")

    def work_off(self) -> None:
        """Bring every stale class up to date."""
        while not self.stopping.is_set():
            with self.service.database.reading() as session:
                stale = list(session.scalars(stale_classes()))
            self.service.metrics.waiting.set(len(stale))
            if not stale:
                return
            for class_id in stale:
                if self.stopping.is_set():
                    return
                bring_up_to_date(self.service, class_id)
