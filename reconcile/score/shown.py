"""How the whole numbers that a display shows are distributed, given what the devices recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from ingest.recording import Floats
from reconcile.plan import Take

# The count itself may err further than its stated doubt: so often, and so many times as far.
WIDE_SHARE = 0.005
WIDE_FACTOR = 3.0
# Variance of cutting off a fraction that may be anything.
CUT_VARIANCE = 1 / 12


@dataclass(frozen=True, eq=False)
class Shown:
    """A whole number for each round (k), by scenario (g): the floor of a doubtful reading.

    read: (g, k, d), the continuous value at several moments of reading, with `moments` (d,) their
    probabilities. sd: (g, k), the doubt of a reading. offset: added before the floor: 0 for a
    display's floor, 0.5 for rounding to the nearest, 1 for rounding up.
    """

    read: Floats
    moments: Floats
    sd: Floats
    offset: float = 0.0

    def at_least(self, number: Floats | float) -> Floats:
        """(g, k) Probability that each round shows `number` (a scalar or one a round) or more."""
        bar = np.broadcast_to(np.floor(number), self.read.shape[1:2])
        sd = self.sd[:, :, None]
        z = (self.read + self.offset - bar[None, :, None]) / sd
        tail = (1 - WIDE_SHARE) * ndtr(z) + WIDE_SHARE * ndtr(z / WIDE_FACTOR)
        # No display shows less than nothing.
        return np.where(bar[None, :] <= 0, 1.0, tail @ self.moments)

    def equals(self, number: Floats) -> Floats:
        """(g, k) Probability that each round shows exactly its `number`."""
        return np.maximum(self.at_least(number) - self.at_least(np.asarray(number) + 1.0), 0.0)

    @property
    def mean(self) -> Floats:
        """(g, k) Mean of the shown numbers; a round that shows nothing adds nothing."""
        middle = self.read @ self.moments
        return np.where(middle < 2 * self.sd, middle, middle + self.offset - 0.5)

    @property
    def variance(self) -> Floats:
        """(g, k) Variance of the shown numbers within a scenario."""
        middle = self.read @ self.moments
        spread = (self.read - middle[:, :, None]) ** 2 @ self.moments
        return spread + self.sd**2 + CUT_VARIANCE

    def only(self, rounds: NDArray[np.bool_]) -> Shown:
        """The same for some of the rounds."""
        return replace(self, read=self.read[:, rounds], sd=self.sd[:, rounds])

    def scaled(self, factor: float) -> Shown:
        """Every reading multiplied."""
        return replace(self, read=self.read * factor, sd=self.sd * max(1.0, factor))


def bin_probability(number: Floats | float, mean: Floats, variance: Floats) -> Floats:
    """Probability of one whole number under a normal law with some errors far beyond it."""
    sd = np.sqrt(variance)
    high, low = (number + 0.5 - mean) / sd, (number - 0.5 - mean) / sd
    narrow = ndtr(high) - ndtr(low)
    wide = ndtr(high / WIDE_FACTOR) - ndtr(low / WIDE_FACTOR)
    return np.asarray((1 - WIDE_SHARE) * narrow + WIDE_SHARE * wide)


def take_probability(number: float, shown: Shown, take: Take) -> Floats:
    """(g,) Probability that the rounds' shown numbers make this score.

    Totals and means by a normal law over the rounds, a single round and extremes exactly.
    """
    rounds = shown.read.shape[1]
    if rounds == 0:
        return np.full(shown.read.shape[0], float(number == 0))
    if rounds == 1 and take != "mean":
        return shown.equals(np.array([number]))[:, 0]
    if take == "total":
        return bin_probability(number, shown.mean.sum(axis=1), shown.variance.sum(axis=1))
    if take == "lowest":
        here, above = shown.at_least(number), shown.at_least(number + 1.0)
        return np.asarray(here.prod(axis=1) - above.prod(axis=1))
    if take == "highest":
        here, above = 1 - shown.at_least(number), 1 - shown.at_least(number + 1.0)
        return np.asarray(above.prod(axis=1) - here.prod(axis=1))
    mean, variance = shown.mean.sum(axis=1), shown.variance.sum(axis=1)
    totals = totals_of_mean(number, rounds)
    share = 1.0 / max(1.0, len(totals) / rounds)
    return np.asarray(
        sum(
            (share * bin_probability(total, mean, variance) for total in totals),
            np.zeros_like(mean),
        )
    )


def totals_of_mean(number: float, rounds: int) -> list[int]:
    """Whole totals whose mean over `rounds`, rounded or cut to the decimals of `number`, is it."""
    grain = 10.0 ** -decimals_of(number)
    low, high = (number - grain / 2) * rounds, (number + grain) * rounds
    totals = range(int(np.ceil(low - 1e-9)), int(np.ceil(high - 1e-9)))
    return [total for total in totals if total >= 0]


def decimals_of(number: float) -> int:
    """Decimals that a number was written with, three at most."""
    return next((d for d in range(3) if abs(number - round(number, d)) < 1e-9), 3)
