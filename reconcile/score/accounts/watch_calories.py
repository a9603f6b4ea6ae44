"""`watch_calories`: the watch's estimate in place of the machine's count."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reconcile.score.accounts.two_levels import rounds_of_any_kind
from reconcile.score.readings import Readings
from reconcile.score.sheet import Account, Sheet
from reconcile.score.shown import bin_probability


def watch_calories(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """The watch's own estimate stands on the sheet."""
    if sheet.evidence.measure != "calories":
        return
    for candidate in sheet.watch_calories:
        mean = np.array(candidate)
        exact = float(bin_probability(sheet.total, mean, np.array(0.4**2)))
        about = float(bin_probability(sheet.total, mean, np.array(1.0 + (0.02 * candidate) ** 2)))
        score = 0.75 * exact + 0.25 * about
        if sheet.rounds is None:
            likelihood = score
        elif sheet.consistent:
            likelihood = 0.3 * score * rounds_of_any_kind(sheet.rounds)
        else:
            likelihood = 0.7 * score * readings.honest_rounds(sheet.rounds)
        yield Account("watch_calories", 1.0 / len(sheet.watch_calories), likelihood, candidate)
