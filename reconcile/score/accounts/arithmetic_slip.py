"""`arithmetic_slip`: the logged rounds do not add up to the logged score."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reconcile.score import priors
from reconcile.score.readings import Readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet


def arithmetic_slip(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Rounds as they should be, a score that does not follow from them."""
    if sheet.rounds is None:
        if sheet.take != "total" or len(readings.attempted) < 2 or not sheet.evidence.direct:
            return
        slips = {s * size: share / 2 for size, share in priors.SLIP_SIZES.items() for s in (-1, 1)}
        totals = readings.honest_scores([sheet.total - slip for slip in slips])
        likelihood = float(totals @ np.array(list(slips.values())))
        nearest = min(slips, key=lambda slip: abs(readings.at_bells() + slip - sheet.total))
        yield Account(
            "arithmetic_slip", priors.UNSEEN_SLIP, likelihood, readings.at_bells() + nearest
        )
    elif not sheet.consistent:
        kept = tuple(value for value in sheet.rounds if value > 0) or sheet.rounds
        made = take_of(sheet.rounds if sheet.take == "total" else kept, sheet.take)
        chance = slip_probability(sheet.total - made, made)
        likelihood = chance * readings.honest_rounds(sheet.rounds)
        yield Account("arithmetic_slip", 1.0, likelihood, made, facts={"sum": made})


def slip_probability(slip: float, total: float) -> float:
    """Probability that a sum is out by `slip`: a carry, a few, or anything of some size."""
    size = round(abs(slip), 6)
    scale = max(2.0, priors.SLIP_SPREAD * total)
    spread = priors.SLIP_SPREAD_SHARE * float(np.exp(-size / scale)) / (2 * scale)
    return priors.SLIP_SIZES.get(size, 0.0) / 2 + spread
