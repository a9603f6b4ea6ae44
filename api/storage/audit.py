"""The audit log: lines are added, never changed; people by marks, and nothing of a body."""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from api.storage.model import Audit


def write_line(
    session: Session,
    *,
    gym_id: str,
    actor: str | None,
    action: str,
    about: str | None = None,
    **detail: Any,
) -> None:
    """Add a line.

    Args:
        session: the transaction of what was done; without it there is no line either.
        gym_id: whose log.
        actor: the mark of who did it; None for the service itself.
        action: what was done, as `noun.verb`.
        about: the mark of a person, or the identifier of an object.
        detail: counts and codes; never names, never anything about a body.
    """
    session.add(Audit(gym_id=gym_id, actor=actor, action=action, about=about, detail=detail))
