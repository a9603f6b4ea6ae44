"""Every account of a sheet, and how probable each is.

Every account gives the probability of the sheet (the score, and the rounds where they were written
down) under it: one file a code in `accounts`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from reconcile.score import priors
from reconcile.score.accounts.arithmetic_slip import arithmetic_slip
from reconcile.score.accounts.counted_rest import counted_rest
from reconcile.score.accounts.digits_swapped import digits_swapped
from reconcile.score.accounts.extra_round import extra_round
from reconcile.score.accounts.missing_round import missing_round
from reconcile.score.accounts.other_athlete import other_athlete
from reconcile.score.accounts.read_at_bells import reading
from reconcile.score.accounts.resized import resized, unexplained
from reconcile.score.accounts.watch_calories import watch_calories
from reconcile.score.accounts.wrong_measure import wrong_measure
from reconcile.score.readings import Readings
from reconcile.score.sheet import Account, Sheet

ACCOUNTS: tuple[Callable[[Sheet, Readings], Iterator[Account]], ...] = (
    reading,
    counted_rest,
    missing_round,
    extra_round,
    arithmetic_slip,
    digits_swapped,
    wrong_measure,
    watch_calories,
    other_athlete,
    resized,
    unexplained,
)


def accounts(sheet: Sheet) -> list[Account]:
    """Every account of the sheet, of every code."""
    readings = Readings(sheet.evidence, sheet.take)
    found: list[Account] = []
    for account_of in ACCOUNTS:
        found.extend(account_of(sheet, readings))
    return found


def posterior(found: Sequence[Account]) -> list[tuple[Account, float]]:
    """Each account with its probability given the sheet (Bayes' rule with `priors.PRIOR`)."""
    weights = [priors.PRIOR[each.code] * each.share * each.likelihood for each in found]
    total = sum(weights)
    if not total > 0:
        return [(each, 0.0) for each in found]
    return [(each, weight / total) for each, weight in zip(found, weights, strict=True)]
