"""What a score sheet says of single steps: a hint where no machine recorded them."""

from __future__ import annotations

from collections.abc import Sequence

from reconcile.classes import LoggedScore
from reconcile.energy.evidence import LoggedStep
from reconcile.plan import TimedBlock
from reconcile.score.scored import scored_steps
from reconcile.timeline import PlannedStep


def logged_steps(
    logged: LoggedScore | None, block: TimedBlock, steps: Sequence[PlannedStep]
) -> dict[tuple[int, int], LoggedStep]:
    """The logged amount of each scored step, by round and step; steps as this athlete does them.

    The rounds as written down where their number is the plan's; else a total shared evenly, or a
    mean, lowest or highest taken for each: the rounds of one athlete differ less than people do.
    Empty where a round has several scored steps, or where nothing was logged. Seconds that fill the
    step are left out, for they may stand for work not finished.
    """
    if logged is None or block.score is None:
        return {}
    scored = scored_steps(block, steps)
    if not scored.rounds or any(len(own) != 1 for own in scored.rounds):
        return {}
    amounts: Sequence[float]
    if logged.rounds is not None and len(logged.rounds) == len(scored.rounds):
        amounts = logged.rounds
    elif logged.score is not None:
        share = len(scored.rounds) if scored.take == "total" else 1
        amounts = [logged.score / share] * len(scored.rounds)
    else:
        return {}
    return {
        (step.planned.round, step.planned.step): LoggedStep(scored.measure, amount)
        for step, amount in zip(scored.steps, amounts, strict=True)
        if amount > 0 and not (scored.measure == "seconds" and amount >= step.planned.duration_s)
    }
