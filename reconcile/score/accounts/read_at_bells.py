"""`rounding` and `counted_coasting`: displays read at the bells or after them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reconcile.score import priors
from reconcile.score.readings import Readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet, align


def reading(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """`rounding` and `counted_coasting`: displays read at the bell, just after it, or late."""
    if sheet.rounds is None:
        by_row = readings.score(sheet.total)
    elif align(sheet.rounds, sheet.evidence.skipped) is None:
        # The right score beside a wrong number of rounds: the rounds say nothing then.
        by_row = priors.MISCOUNTED_SHARE * readings.score(sheet.total)
    elif sheet.consistent:
        by_row = readings.rounds(sheet.rounds)
    else:
        by_row = priors.CARELESS_SHARE * readings.rounds(sheet.rounds)
        by_row = by_row * readings.score(sheet.total)
    likelihood = readings.weight * by_row
    for code, prompt in (
        ("rounding", True),
        ("counted_coasting", True),
        ("counted_coasting", False),
    ):
        rows = np.flatnonzero((readings.code == code) & (readings.is_prompt == prompt))
        if len(rows) == 0:
            continue
        row = rows[int(np.argmax(likelihood[rows]))]
        yield Account(
            code,
            1.0,
            float(likelihood[rows].sum()),
            take_of(readings.middle[row, readings.counting], sheet.take),
            prompt,
            float(likelihood[rows] @ readings.recorded[rows]) / max(1e-300, likelihood[rows].sum()),
            {"delay_s": float(readings.delay_s[row])},
        )
