"""What the devices say a score could have been: weighted scenarios, round by round.

A scenario is one place of the bells on the machine's recording together with one factor by which
the count may be off. Each gives what the display showed at the bells and some seconds later.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from ingest.recording import Floats
from reconcile.plan import Measure, Take
from reconcile.score.scored import take_of

Bools = NDArray[np.bool_]

# Seconds after the bell at which a display may be read: up to 3 s is what a class hears and does
# (the contract's own tolerance); later, until the flywheel has run out.
PROMPT_DELAYS_S = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
LATE_DELAYS_S = np.array([4.0, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0])
DELAYS_S = np.concatenate([PROMPT_DELAYS_S, LATE_DELAYS_S])

# A count's own doubt is never less than this (between two displayed numbers; clock grain).
LEAST_SD: dict[Measure, float] = {"calories": 0.06, "metres": 0.6, "reps": 0.5, "seconds": 0.35}
# How probably a score counts what the flywheel adds in work off the machine right after the bell.
RUN_ON_COUNTS = 0.6
# A step known to less than this share does not count as directly recorded.
LEAST_COVER = 0.5
# Halves the range of a quantile so often: to less than a thousand-millionth.
BISECTIONS = 40


@dataclass(frozen=True, eq=False)
class Evidence:
    """Scenarios (g) of the value of each round (k), read at each of `DELAYS_S` (d).

    weight: (g,), sums to 1. read: (g, k, d), continuous; `read[:, :, 0]` is at the bells.
    with_rest: (g, k, 2), the display left running until the next work step, and until the next
    scored one (the block's end after the last).
    run_on: (g, k), what the flywheel adds in work off the machine that follows without a rest.
    pieces: (k,), how many readings of the display make a round's value.
    sd: (g, k), the doubt of each value beside the scenario. skipped: (k,), rounds not attempted.
    covered: (k,), share of the round's scored work that is known. unseen: (k,), rounds that count
    in a total for what may have been done after the recording's end, though probably nothing was.
    recorded: (g,), which scenarios rest on a recording and not on mere expectation.
    machine: the machine that counted; None without one. pulls_in_rests: it was used in rests.
    """

    measure: Measure
    weight: Floats
    read: Floats
    with_rest: Floats
    run_on: Floats
    pieces: Floats
    sd: Floats
    skipped: Bools
    unseen: Bools
    covered: Floats
    recorded: Bools
    machine: str | None
    pulls_in_rests: bool

    @property
    def direct(self) -> bool:
        """Whether a machine counted at least half of what is scored."""
        return bool(self.recorded.any() and self.covered.mean() >= LEAST_COVER)

    @property
    def counting(self) -> Bools:
        """(k,) Which rounds count in a lowest, highest or mean: a skipped one does in seconds."""
        if self.measure == "seconds":
            return np.ones(len(self.skipped), dtype=bool)
        return ~self.skipped | self.unseen

    @property
    def best(self) -> int:
        """The likeliest scenario, of those that rest on a recording where there are any."""
        known = self.weight * self.recorded if self.recorded.any() else self.weight
        return int(np.argmax(known))


def recorded_value(evidence: Evidence, take: Take) -> tuple[float, float, float] | None:
    """(best value, low, high) of the score at the bells, 95 % range; None if nothing recorded it.

    The range mixes the scenarios, each with the doubt of its rounds.
    """
    if not evidence.direct:
        return None
    rows = np.flatnonzero(evidence.recorded)
    counting = evidence.counting
    weight = evidence.weight[rows] / evidence.weight[rows].sum()
    at_bell = evidence.read[rows][:, :, 0]
    doubt = evidence.sd[rows]
    if evidence.run_on[rows].max() > 0:
        # "Over a round's work steps" may or may not mean those in which only the flywheel worked.
        at_bell = np.concatenate([at_bell + evidence.run_on[rows], at_bell])
        doubt = np.concatenate([doubt, doubt])
        weight = np.concatenate([weight * RUN_ON_COUNTS, weight * (1 - RUN_ON_COUNTS)])
    values = np.array([take_of(row[counting], take) for row in at_bell])
    if not np.isfinite(values).all():
        return None
    sd = np.array(
        [
            # A score to which no round counts is 0, and no surer than one count.
            max(take_sd(row[counting], own[counting], take), LEAST_SD[evidence.measure])
            for row, own in zip(at_bell, doubt, strict=True)
        ]
    )
    best = float(values[int(np.argmax(weight))])
    low, high = (float(end) for end in mixture_quantiles(weight, values, sd, (0.025, 0.975)))
    return best, min(max(0.0, low), best), max(high, best)


def mixture_quantiles(
    weight: Floats, mean: Floats, sd: Floats, shares: tuple[float, ...]
) -> Floats:
    """(share,) Where a mixture of normal distributions has so much of itself below.

    By bisection: the library's root finder takes longer to import than all other work on a score.
    """
    sought = np.array(shares)
    low = np.full(len(sought), float((mean - 8 * sd).min()))
    high = np.full(len(sought), float((mean + 8 * sd).max()))
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        less = ndtr((middle[:, None] - mean) / sd) @ weight < sought
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    return np.asarray((low + high) / 2)


def take_sd(values: Floats, sd: Floats, take: Take) -> float:
    """Standard deviation of a take over independent rounds (the extreme round's, for extremes)."""
    if take == "total":
        return float(np.sqrt((sd**2).sum()))
    if take == "mean":
        return float(np.sqrt((sd**2).sum()) / len(sd))
    index = int(np.argmin(values)) if take == "lowest" else int(np.argmax(values))
    return float(sd[index])
