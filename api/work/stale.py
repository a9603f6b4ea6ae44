"""What makes a class's result stale."""

from __future__ import annotations

from sqlalchemy import Select, exists, select, update
from sqlalchemy.orm import Session

from api.service import Service
from api.storage.model import Reconciliation, TrainingClass
from api.work.engine import ENGINE_VERSION


def touch_class(session: Session, service: Service, class_id: str) -> None:
    """Note that something changed that the class's result rests on, and ask for a new one.

    In the transaction of the change: both happen, or neither.
    """
    session.execute(
        update(TrainingClass)
        .where(TrainingClass.id == class_id)
        .values(inputs_version=TrainingClass.inputs_version + 1)
    )
    service.work.ask(session, class_id)


def raise_floor(session: Session, class_id: str) -> None:
    """Something was taken away for good: results that rest on it are dropped."""
    session.execute(
        update(TrainingClass)
        .where(TrainingClass.id == class_id)
        .values(floor_version=TrainingClass.inputs_version)
    )
    session.execute(
        update(Reconciliation)
        .where(Reconciliation.class_id == class_id)
        .values(document=None, sheet=None, inputs={})
    )


def stale_classes() -> Select[str]:
    """Classes without a finished run over their present inputs, the longest unchanged first."""
    fresh = exists().where(
        Reconciliation.class_id == TrainingClass.id,
        Reconciliation.inputs_version == TrainingClass.inputs_version,
        Reconciliation.engine_version == ENGINE_VERSION,
        Reconciliation.state.in_(("done", "failed")),
    )
    return select(TrainingClass.id).where(~fresh).order_by(TrainingClass.id)
