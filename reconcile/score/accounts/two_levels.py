"""A sheet is explained on two levels: by what happened to the rounds, or to the score alone.

Where it was the rounds, the score follows from them; where it was the score, the rounds are as they
should be.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ingest.recording import Floats
from reconcile.score import priors
from reconcile.score.readings import Readings, score_probability, written_probability
from reconcile.score.sheet import Sheet, align, follows
from reconcile.score.shown import Shown


def on_two_levels(
    sheet: Sheet,
    readings: Readings,
    rounds: Callable[[], float],
    score: Callable[[], float],
    share_of_rounds: float = priors.ROUNDS_CHANGED_SHARE,
) -> float:
    """Probability of the sheet under a change of the rounds, or of the score alone.

    rounds: probability of the written rounds under the change; score: of the score. A sheet
    without rounds tells by its score only.
    """
    if sheet.rounds is None:
        return score()
    if sheet.consistent:
        return share_of_rounds * rounds()
    honest = readings.honest_rounds(sheet.rounds)
    return (1 - share_of_rounds) * honest * score() if honest > 0 else 0.0


def rounds_of(sheet: Sheet, shown: Shown, weight: Floats) -> float:
    """Probability of the written rounds, if `shown` was read in scenarios of these weights."""
    assert sheet.rounds is not None
    return float(weight @ written_probability(shown, sheet.rounds, sheet.evidence.skipped))


def score_of(sheet: Sheet, counting: Shown, weight: Floats) -> float:
    """Probability of the score, if it was made of the rounds that count."""
    return float(weight @ score_probability(sheet.total, counting, sheet.take))


def honest_rounds_but(
    sheet: Sheet, readings: Readings, changed: tuple[int, ...], *, again: bool
) -> float:
    """Probability of honest written rounds whose score lacks some of them, or has some twice."""
    assert sheet.rounds is not None
    entries = align(sheet.rounds, sheet.evidence.skipped)
    if entries is None:
        return 0.0
    times = [1 + again if index in changed else 1 for index in entries[0]]
    if not again:
        times = [0 if index in changed else 1 for index in entries[0]]
    values = [v for v, count in zip(sheet.rounds, times, strict=True) for _ in range(count)]
    if not follows(sheet.total, tuple(values), sheet.take):
        return 0.0
    return readings.honest_rounds(sheet.rounds)


def rounds_of_any_kind(values: tuple[float, ...]) -> float:
    """Probability of rounds of which nothing is known but their mean."""
    return float((0.5 / max(1.0, float(np.mean(values)))) ** (len(values) - 1))
