"""`wrong_measure`: another number of the same machine."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from reconcile.score.accounts.two_levels import on_two_levels, rounds_of, score_of
from reconcile.score.readings import Readings, prompt_readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet


def wrong_measure(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Another of the machine's numbers: metres for calories, calories for metres."""
    for name, evidence in sheet.in_other_measures.items():
        shown = prompt_readings(evidence)
        own = shown.only(evidence.counting)
        likelihood = on_two_levels(
            sheet,
            readings,
            partial(rounds_of, sheet, shown, evidence.weight),
            partial(score_of, sheet, own, evidence.weight),
        )
        values = evidence.read[evidence.best, evidence.counting, 0]
        yield Account(
            "wrong_measure",
            1.0 / len(sheet.in_other_measures),
            likelihood,
            take_of(values, sheet.take),
            facts={"measure": name},
        )
