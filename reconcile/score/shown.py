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
# No sum of readings is known better than this.
LEAST_VARIANCE = 0.02
# Whole numbers to either side over which a narrow reading is summed exactly.
LATTICE = 3.0


@dataclass(frozen=True, eq=False)
class Shown:
    """A whole number for each round (k), by row (r): the floor of a doubtful reading.

    read: (r, k, d), the continuous value at several equally likely moments of reading.
    sd: (r, k), the doubt of a reading. offset: added before the floor: 0 for a display's floor,
    0.5 for rounding to the nearest, 1 for rounding up.
    """

    read: Floats
    sd: Floats
    offset: float = 0.0

    def at_least(self, number: Floats | float) -> Floats:
        """(r, k) Probability that each round shows `number` (a scalar or one a round) or more."""
        bar = np.broadcast_to(np.floor(number), self.read.shape[1:2])
        z = (self.read + self.offset - bar[None, :, None]) / self.sd[:, :, None]
        tail = (1 - WIDE_SHARE) * ndtr(z) + WIDE_SHARE * ndtr(z / WIDE_FACTOR)
        # No display shows less than nothing.
        return np.where(bar[None, :] <= 0, 1.0, tail.mean(axis=2))

    def equals(self, number: Floats) -> Floats:
        """(r, k) Probability that each round shows exactly its `number`."""
        return np.maximum(self.at_least(number) - self.at_least(np.asarray(number) + 1.0), 0.0)

    @property
    def middle(self) -> Floats:
        """(r, k) Mean of the readings before they are cut to whole numbers."""
        return np.asarray(self.read.mean(axis=2))

    @property
    def doubt(self) -> Floats:
        """(r, k) Variance of the readings before they are cut to whole numbers."""
        return np.asarray(self.read.var(axis=2) + self.sd**2)

    def only(self, rounds: NDArray[np.bool_]) -> Shown:
        """The same for some of the rounds."""
        return replace(self, read=self.read[:, rounds], sd=self.sd[:, rounds])


def whole_moments(middle: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """(mean, variance) of the floors of normal readings, a displayed number each.

    Exactly for narrow readings, whose fraction is known; a wide one loses half a unit on average.
    """
    sd = np.sqrt(variance)
    base = np.floor(middle)
    steps = np.arange(-LATTICE, LATTICE + 2.0)
    edges = ndtr((base[..., None] + steps - middle[..., None]) / np.maximum(sd, 1e-6)[..., None])
    share = np.diff(edges, axis=-1)
    mean = share @ steps[:-1]
    spread = share @ steps[:-1] ** 2 - mean**2
    narrow = sd < LATTICE / 4
    return (
        np.where(narrow, base + mean, middle - 0.5),
        np.where(narrow, np.maximum(spread, 0.0), variance + CUT_VARIANCE),
    )


def bin_probability(number: Floats | float, mean: Floats, variance: Floats) -> Floats:
    """Probability of whole numbers under a normal law with some errors far beyond it."""
    sd = np.sqrt(np.maximum(variance, LEAST_VARIANCE))
    high, low = (number + 0.5 - mean) / sd, (number - 0.5 - mean) / sd
    narrow = ndtr(high) - ndtr(low)
    wide = ndtr(high / WIDE_FACTOR) - ndtr(low / WIDE_FACTOR)
    return np.asarray((1 - WIDE_SHARE) * narrow + WIDE_SHARE * wide)


def extreme_probability(number: float, shown: Shown, take: Take) -> Floats:
    """(r,) Probability that the lowest or highest of the rounds' shown numbers is `number`."""
    here, above = shown.at_least(number), shown.at_least(number + 1.0)
    if take == "lowest":
        return np.asarray(here.prod(axis=1) - above.prod(axis=1))
    return np.asarray((1 - above).prod(axis=1) - (1 - here).prod(axis=1))


def totals_of_mean(number: float, rounds: int) -> tuple[float, ...]:
    """Whole totals whose mean over `rounds`, rounded or cut to the decimals of `number`, is it."""
    grain = 10.0 ** -decimals_of(number)
    low, high = (number - grain / 2) * rounds, (number + grain) * rounds
    totals = range(int(np.ceil(low - 1e-9)), int(np.ceil(high - 1e-9)))
    return tuple(float(total) for total in totals if total >= 0)


def decimals_of(number: float) -> int:
    """Decimals that a number was written with, three at most."""
    return next((d for d in range(3) if abs(number - round(number, d)) < 1e-9), 3)
