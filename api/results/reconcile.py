"""One run of the engine over one class: read, reckon, write whole or not at all."""

from __future__ import annotations

import hashlib
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import delete, select, update

from api.results.drawings import class_drawings, packed
from api.results.record import Inputs, class_record, read_inputs
from api.service import Service
from api.storage.model import Reconciliation, TrainingClass
from api.storage.moments import now
from api.work.engine import ENGINE_VERSION
from api.work.stale import stale_classes
from reconcile.document import document_text
from reconcile.engine import workings

log = logging.getLogger(__name__)

PROGRESS_EVERY_S = 0.25
MOST_RUNS = 20


def bring_up_to_date(service: Service, class_id: str) -> None:
    """Run the engine until the class's result rests on its present inputs.

    Inputs that change during a run are seen by the next; a class that never rests is left to the
    next request after some runs.
    """
    for _ in range(MOST_RUNS):
        with service.database.reading() as session:
            if session.scalar(stale_classes().where(TrainingClass.id == class_id)) is None:
                return
        run_once(service, class_id)


def run_once(service: Service, class_id: str) -> None:
    """Reckon over the inputs as they are now; a failure is noted and ends with this version."""
    with service.database.writing() as session:
        inputs = read_inputs(session, class_id)
        if inputs is None:
            return
        session.execute(
            delete(Reconciliation).where(
                Reconciliation.class_id == class_id, Reconciliation.state == "working"
            )
        )
        run = Reconciliation(
            class_id=class_id,
            inputs_version=inputs.found.inputs_version,
            inputs=inputs.summary,
            engine_version=ENGINE_VERSION,
            state="working",
        )
        session.add(run)
    began = time.perf_counter()
    try:
        finished = reckon(service, inputs, reporter(service, run.id))
    except Exception as error:
        log.exception("a class could not be reconciled", extra={"class_id": class_id})
        service.metrics.reconciliations.labels("failed").inc()
        finished = Finished(None, None, f"The engine stopped with {type(error).__name__}.")
    seconds = time.perf_counter() - began
    service.metrics.reconcile_seconds.observe(seconds)
    if write(service, class_id, run, finished):
        service.metrics.reconciliations.labels("done" if finished.document else "failed").inc()
    log.info(
        "reconciled",
        extra={
            "class_id": class_id,
            "seconds": round(seconds, 3),
            "files": len(inputs.recordings),
            "outcome": "done" if finished.document else "failed",
        },
    )


@dataclass(frozen=True)
class Finished:
    """What a run gave: the document and the sealed drawings, or why there are none."""

    document: str | None
    sheet: bytes | None
    problem: str | None


def reckon(service: Service, inputs: Inputs, progress: Callable[[str, int, int], None]) -> Finished:
    """The engine's part."""
    record = class_record(service, inputs, progress)
    worked = workings(record, progress)
    progress("drawing the sheets", 0, 0)
    sheet = service.keys.seal(
        f"sheets {inputs.found.gym_id}", inputs.found.id, packed(class_drawings(record, worked))
    )
    return Finished(document_text(worked.result), sheet, None)


def write(service: Service, class_id: str, run: Reconciliation, finished: Finished) -> bool:
    """Put a result in place, in one transaction; False where it may no longer be.

    It is dropped where the class is gone, where something it rests on was taken away for good
    meanwhile, or where a newer result is there. Earlier results keep their note and lose their
    document: there is one result of a class.
    """
    with service.database.writing() as session:
        found = session.scalar(
            select(TrainingClass).where(TrainingClass.id == class_id).with_for_update()
        )
        row = session.get(Reconciliation, run.id)
        if found is None or row is None:
            return False
        newer = session.scalar(
            select(Reconciliation.id).where(
                Reconciliation.class_id == class_id,
                Reconciliation.state == "done",
                Reconciliation.engine_version == ENGINE_VERSION,
                Reconciliation.inputs_version > run.inputs_version,
            )
        )
        if run.inputs_version < found.floor_version or newer is not None:
            session.delete(row)
            return False
        if finished.document is not None:
            session.execute(
                update(Reconciliation)
                .where(Reconciliation.class_id == class_id, Reconciliation.id != run.id)
                .values(document=None, sheet=None)
            )
            row.digest = hashlib.sha256(finished.document.encode()).hexdigest()
        row.document = finished.document
        row.sheet = finished.sheet
        row.problem = finished.problem
        row.state = "done" if finished.document is not None else "failed"
        row.finished_at = now()
        return True


def reporter(service: Service, run_id: str) -> Callable[[str, int, int], None]:
    """Make the function that notes progress, a few times a second at most."""
    last = [0.0]

    def report(stage: str, done: int, total: int) -> None:
        moment = time.monotonic()
        if moment - last[0] < PROGRESS_EVERY_S:
            return
        last[0] = moment
        with service.database.writing() as session:
            session.execute(
                update(Reconciliation)
                .where(Reconciliation.id == run_id)
                .values(stage=stage[:100], done=done, total=total)
            )

    return report
