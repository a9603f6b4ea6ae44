"""`counted_rest`: work in the rests was counted."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from reconcile.score import priors
from reconcile.score.accounts.two_levels import on_two_levels, score_of
from reconcile.score.readings import Readings, cut_to_whole
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet, align
from reconcile.score.shown import Shown


def counted_rest(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """The display ran on through the rests, or was read at their ends."""
    evidence = sheet.evidence
    if evidence.measure == "seconds" or not evidence.direct:
        return
    ends = evidence.with_rest
    same = bool(np.allclose(ends[:, :, 0], ends[:, :, 1], atol=0.05))
    ran_on = [ends[:, :, 0]] if same else [ends[:, :, 0], ends[:, :, 1]]
    cuts: tuple[priors.Cut, ...] = ("set to 0", "running on")
    for whole in ran_on:
        but_last = np.concatenate([whole[:, :-1], evidence.read[:, -1:, 0]], axis=1)
        for values in (whole, but_last):
            predicts = take_of(values[evidence.best, readings.counting], sheet.take)
            for way in cuts:
                shown = cut_to_whole(values[:, :, None], evidence.sd, evidence.pieces, way)
                likelihood = on_two_levels(
                    sheet,
                    readings,
                    partial(_rounds_partly, sheet, shown),
                    partial(score_of, sheet, shown.only(evidence.counting), evidence.weight),
                    0.9,
                )
                yield Account("counted_rest", 0.25 / len(ran_on), likelihood, predicts)


def _rounds_partly(sheet: Sheet, with_rest: Shown) -> float:
    """Probability of rounds of which most, not all, were read at the end of the rest."""
    assert sheet.rounds is not None
    evidence = sheet.evidence
    entries = align(sheet.rounds, evidence.skipped)
    if entries is None:
        return 0.0
    indices, numbers = entries
    keep = np.zeros(len(evidence.skipped), dtype=bool)
    keep[indices] = True
    at_bell = cut_to_whole(evidence.read[:, :, :1], evidence.sd, evidence.pieces, "set to 0")
    at_end = with_rest.only(keep).equals(numbers)
    low, high = at_bell.only(keep).middle, with_rest.only(keep).middle
    span = np.maximum(high - low, 1.0)
    between = ((numbers >= low - 1) & (numbers <= high + 1)) / (span + 2)
    each = 0.8 * at_end + 0.1 * at_bell.only(keep).equals(numbers) + 0.1 * between
    each = np.where(evidence.skipped[indices], np.maximum(each, 0.5 * (numbers == 0)), each)
    return float(evidence.weight @ each.prod(axis=1))
