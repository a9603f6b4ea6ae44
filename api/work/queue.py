"""Reconciling by procrastinate on PostgreSQL: a job is enqueued in the upload's own transaction."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import threading

import procrastinate
import psycopg
from procrastinate.exceptions import ConnectorException
from sqlalchemy import text
from sqlalchemy.orm import Session

from api.results.reconcile import bring_up_to_date
from api.service import Service
from api.settings import Settings
from api.work.stale import stale_classes
from api.work.upkeep import Upkeep

log = logging.getLogger(__name__)

TASK = "reconcile_class"
QUEUE = "reconcile"


def address_of(settings: Settings) -> str:
    """The database's address as libpq writes it."""
    return settings.database_url.replace("postgresql+psycopg://", "postgresql://", 1)


def lay_queue(settings: Settings) -> None:
    """Make the queue's own tables, where there are none."""
    with psycopg.connect(address_of(settings)) as connection:
        connection.execute("SELECT pg_advisory_xact_lock(710271)")
        there = connection.execute("SELECT to_regclass('procrastinate_jobs')").fetchone()
        if there is None or there[0] is None:
            app = procrastinate.App(
                connector=procrastinate.SyncPsycopgConnector(conninfo=address_of(settings))
            )
            connection.execute(app.schema_manager.get_schema())


class Queue:
    """Asks for classes within the asker's own transaction."""

    def __init__(self, settings: Settings) -> None:
        self.app = procrastinate.App(
            connector=procrastinate.SyncPsycopgConnector(conninfo=address_of(settings))
        )

    def ask(self, session: Session, class_id: str) -> None:
        """Enqueue; one class is worked on by one worker at a time."""
        connection = session.connection().connection.driver_connection
        self.app.configure_task(TASK, lock=class_id, queue=QUEUE, connection=connection).defer(
            class_id=class_id
        )

    def wake(self) -> None:
        """The database tells the workers."""


class QueueWorker:
    """A thread with an event loop of its own, in which procrastinate runs the jobs."""

    def __init__(self, service: Service, *, concurrency: int) -> None:
        self.service = service
        self.concurrency = concurrency
        self.loop: asyncio.AbstractEventLoop | None = None
        self.task: asyncio.Task[None] | None = None
        self.upkeep = Upkeep(service)
        self.thread = threading.Thread(target=self.run, name="reconcile", daemon=True)

    def start(self) -> None:
        """Begin."""
        self.thread.start()

    def stop(self, wait_s: float = 30.0) -> None:
        """End after the jobs at hand; what takes longer is retried by the next worker."""
        if self.loop is not None and self.task is not None:
            self.loop.call_soon_threadsafe(self.task.cancel)
        self.thread.join(wait_s)

    def run(self) -> None:
        """Run the loop."""
        with contextlib.suppress(asyncio.CancelledError):
            asyncio.run(self.work())

    async def work(self) -> None:
        """Run jobs until cancelled; begin again where the database goes away for a while."""
        self.loop = asyncio.get_running_loop()
        self.task = asyncio.current_task()
        settings = self.service.settings
        while True:
            app = self.app()
            try:
                async with app.open_async():
                    sweeper = asyncio.create_task(self.sweep(app))
                    try:
                        await app.run_worker_async(
                            queues=[QUEUE],
                            concurrency=self.concurrency,
                            install_signal_handlers=False,
                            wait=True,
                            delete_jobs="successful",
                            update_heartbeat_interval=settings.stalled_s / 4,
                            stalled_worker_timeout=settings.stalled_s,
                            fetch_job_polling_interval=2.0,
                            shutdown_graceful_timeout=20.0,
                        )
                    finally:
                        sweeper.cancel()
            except (ConnectorException, psycopg.Error, OSError):
                log.exception("the queue did not answer; trying again")
                await asyncio.sleep(1.0)

    def app(self) -> procrastinate.App:
        """Procrastinate with our one task."""
        app = procrastinate.App(
            connector=procrastinate.PsycopgConnector(
                conninfo=address_of(self.service.settings), min_size=1, max_size=4
            )
        )

        @app.task(name=TASK, queue=QUEUE)
        def reconcile_class(class_id: str) -> None:
            bring_up_to_date(self.service, class_id)

        return app

    async def sweep(self, app: procrastinate.App) -> None:
        """Give jobs of killed workers to the living, and ask for classes that nobody asked for."""
        while True:
            try:
                stalled = await app.job_manager.get_stalled_jobs(
                    seconds_since_heartbeat=self.service.settings.stalled_s
                )
                for job in stalled:
                    await app.job_manager.retry_job(job)
                await asyncio.to_thread(self.ask_for_stale)
                await asyncio.to_thread(self.upkeep.when_due)
            except (ConnectorException, psycopg.Error, OSError):
                log.exception("the sweep failed; trying again")
            await asyncio.sleep(self.service.settings.stalled_s / 2)

    def ask_for_stale(self) -> None:
        """Ask for stale classes that have no job, as after a restore or an update."""
        with self.service.database.writing() as session:
            asked = set(
                session.scalars(
                    text(
                        "SELECT args->>'class_id' FROM procrastinate_jobs "
                        "WHERE status IN ('todo', 'doing')"
                    )
                )
            )
            stale = list(session.scalars(stale_classes()))
            self.service.metrics.waiting.set(len(stale))
            for class_id in stale:
                if class_id not in asked:
                    self.service.work.ask(session, class_id)
