"""`extra_round`: a round that is in the score twice, or was not there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reconcile.score.accounts.two_levels import honest_rounds_but
from reconcile.score.readings import Readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet
from reconcile.score.shown import bin_probability


def extra_round(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """A round counted twice, or one that was not there."""
    attempted = [int(index) for index in readings.attempted]
    if not attempted or sheet.take in ("lowest", "highest"):
        return
    times = np.repeat(readings.counting[None, :].astype(np.float64), len(attempted), axis=0)
    times[np.arange(len(attempted)), attempted] += 1
    if sheet.rounds is not None:
        scores = np.zeros(len(attempted))
    elif sheet.take == "total":
        scores = readings.honest @ readings.totals(np.full(len(times), sheet.total), times)
    else:
        # A mean over the rounds that there were, or over one more.
        full = int(readings.counting.sum())
        by_row = readings.means(sheet.total, times, full)
        by_row = by_row + readings.means(sheet.total, times, full + 1)
        scores = 0.5 * (readings.honest @ by_row)
    for row, index in enumerate(attempted):
        if sheet.rounds is None:
            likelihood = float(scores[row])
        elif sheet.consistent:
            likelihood = 0.6 * _rounds_with_extra(sheet, readings, index)
        else:
            likelihood = 0.4 * honest_rounds_but(sheet, readings, (index,), again=True)
        if likelihood > 0:
            counted = np.append(np.flatnonzero(readings.counting), index)
            values = sheet.evidence.read[sheet.evidence.best, counted, 0]
            yield Account(
                "extra_round",
                1.0 / len(attempted),
                likelihood,
                take_of(values, sheet.take),
                facts={"rounds": (index + 1,)},
            )


def _rounds_with_extra(sheet: Sheet, readings: Readings, again: int) -> float:
    """Probability of written rounds with one entry too many: a copy of a round, or the like."""
    assert sheet.rounds is not None
    values, skipped = sheet.rounds, sheet.evidence.skipped
    for indices in (np.arange(len(skipped)), np.flatnonzero(~skipped)):
        if len(values) != len(indices) + 1 or again not in indices:
            continue
        place = int(np.flatnonzero(indices == again)[0])
        likelihood = 0.0
        for extra in range(len(values)):
            rest = values[:extra] + values[extra + 1 :]
            usual = float(np.mean(rest))
            variance = max(1.5, 0.2 * usual) ** 2
            like = float(bin_probability(values[extra], np.array(usual), np.array(variance)))
            copied = float(values[extra] == rest[place]) if extra in (place, place + 1) else 0.0
            at_end = 0.4 if extra == len(values) - 1 else 0.0
            chance = 0.6 * copied + (at_end + 0.2 / len(values)) * like
            if chance > 0:
                likelihood += chance * readings.honest_rounds(rest)
        return likelihood
    return 0.0
