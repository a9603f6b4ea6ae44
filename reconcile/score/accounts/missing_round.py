"""`missing_round`: rounds that were done and are not in the score."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from ingest.recording import Floats
from reconcile.score import priors
from reconcile.score.accounts.two_levels import honest_rounds_but
from reconcile.score.evidence import Bools
from reconcile.score.readings import Readings
from reconcile.score.sheet import Account, Sheet


def missing_round(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """One round, or more rarely two, left out of the score."""
    rounds = len(sheet.evidence.skipped)
    attempted = [int(index) for index in readings.attempted]
    singles = [(index,) for index in attempted] if len(attempted) > 1 else []
    pairs = list(combinations(attempted, 2)) if len(attempted) > 3 else []
    groups: list[tuple[int, ...]] = [*singles, *pairs]
    shares = [priors.ONE_MISSING_SHARE / max(1, len(singles))] * len(singles)
    shares += [(1 - priors.ONE_MISSING_SHARE) / max(1, len(pairs))] * len(pairs)
    if not groups:
        return
    keep = np.ones((len(groups), rounds), dtype=bool)
    for row, left_out in enumerate(groups):
        keep[row, list(left_out)] = False
    scores = _scores_without(sheet, readings, keep) if sheet.rounds is None else None
    for row, (left_out, share) in enumerate(zip(groups, shares, strict=True)):
        if scores is not None:
            likelihood = float(scores[row])
        elif sheet.consistent:
            likelihood = 0.5 * _rounds_without(sheet, readings, left_out)
        else:
            likelihood = 0.5 * honest_rounds_but(sheet, readings, left_out, again=False)
        if likelihood > 0:
            predicts = readings.at_bells(keep[row])
            if sheet.take == "mean":
                counted = int((readings.counting & keep[row]).sum())
                full = predicts * counted / (counted + len(left_out))
                predicts = min((predicts, full), key=lambda value: abs(value - sheet.total))
            numbers = tuple(index + 1 for index in left_out)
            yield Account("missing_round", share, likelihood, predicts, facts={"rounds": numbers})


def _scores_without(sheet: Sheet, readings: Readings, keep: Bools) -> Floats:
    """(n,) Probability of the score with only some rounds kept (n, k)."""
    kept = readings.counting[None, :] & keep
    times = kept.astype(np.float64)
    if sheet.take == "total":
        numbers = np.full(len(times), sheet.total)
        return np.asarray(readings.honest @ readings.totals(numbers, times))
    if sheet.take == "mean":
        # Over the rounds that are left, or over as many as there were.
        full = int(readings.counting.sum())
        fewer = int(kept[0].sum())
        by_row = readings.means(sheet.total, times, full) + readings.means(
            sheet.total, times, fewer
        )
        return np.asarray(0.5 * (readings.honest @ by_row))
    found = np.zeros(len(kept))
    for row, rounds in enumerate(kept):
        # Leaving out a round that was no extreme changes nothing.
        if rounds.any() and abs(readings.at_bells(rounds) - readings.at_bells()) >= 0.5:
            found[row] = readings.honest @ readings.score(sheet.total, rounds)
    return found


def _rounds_without(sheet: Sheet, readings: Readings, left_out: tuple[int, ...]) -> float:
    """Probability of written rounds that lack some: shorter, or with nothing in their place."""
    assert sheet.rounds is not None
    values, skipped = np.asarray(sheet.rounds), sheet.evidence.skipped
    gone = np.zeros(len(skipped), dtype=bool)
    gone[list(left_out)] = True
    if len(values) == len(skipped):
        if values[gone].any():
            return 0.0
        return float(readings.honest @ readings.some_rounds(np.flatnonzero(~gone), values[~gone]))
    for kept in (~gone, ~gone & ~skipped):
        if kept.sum() == len(values):
            return float(readings.honest @ readings.some_rounds(np.flatnonzero(kept), values))
    return 0.0
