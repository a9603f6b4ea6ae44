"""Displayed calories of each round as the athlete logged them: a hint where no machine recorded."""

from __future__ import annotations

from reconcile.classes import LoggedScore
from reconcile.plan import TimedBlock


def calories_by_round(logged: LoggedScore | None, block: TimedBlock) -> dict[int, float]:
    """Calories of each round of a block scored in calories, by round counted from 1.

    The rounds as written down where their number is the plan's; else a total shared evenly, or a
    mean taken for each. Empty where a round has several work steps, where the lowest or highest
    says nothing of the others, or where nothing was logged.
    """
    score, works = block.score, [step for step in block.steps if step.kind == "work"]
    if logged is None or score is None or score.measure != "calories" or len(works) != 1:
        return {}
    if logged.rounds is not None and len(logged.rounds) == block.rounds:
        return dict(enumerate(logged.rounds, start=1))
    if logged.score is None or score.take not in ("total", "mean"):
        return {}
    each = logged.score / block.rounds if score.take == "total" else logged.score
    return dict.fromkeys(range(1, block.rounds + 1), each)
