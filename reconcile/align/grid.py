"""One-dimensional grids of time on which likelihoods are kept.

Every grid has the same step and its points lie on whole multiples of it, so that a sum or a
difference of two grid times is a sum or a difference of whole indices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ingest.recording import Floats

STEP_S = 0.5


def index_of(time_s: float) -> int:
    """The grid index nearest to a time."""
    return round(time_s / STEP_S)


def grid_s(first: int, last: int) -> Floats:
    """The times of the grid from one index to another, both included, seconds."""
    return np.arange(first, last + 1, dtype=np.float64) * STEP_S


@dataclass(frozen=True, eq=False)
class LogRatio:
    """log p(data | block starts at s) − log p(data | no such block), on a grid of s.

    first: grid index of the first value. Outside the grid the ratio is 0: the data says nothing.
    """

    first: int
    values: Floats

    @property
    def last(self) -> int:
        """Grid index of the last value."""
        return self.first + len(self.values) - 1

    @cached_property
    def lift(self) -> tuple[float, Floats]:
        """Its highest value h, at least 0, and exp(value − h) beyond what outside the grid has."""
        highest = max(float(np.max(self.values)), 0.0)
        return highest, np.exp(self.values - highest) - np.exp(-highest)

    def at(self, indices: np.ndarray) -> Floats:
        """Values at grid indices, 0 outside."""
        shifted = indices - self.first
        inside = (shifted >= 0) & (shifted < len(self.values))
        return np.where(inside, self.values[np.clip(shifted, 0, len(self.values) - 1)], 0.0)

    def on(self, first: int, count: int) -> Floats:
        """Values on the grid of `count` points from index `first`, 0 outside."""
        out = np.zeros(count)
        low, high = max(first, self.first), min(first + count, self.first + len(self.values))
        if low < high:
            out[low - first : high - first] = self.values[low - self.first : high - self.first]
        return out

    def plus(self, other: LogRatio) -> LogRatio:
        """The sum of two independent pieces of evidence."""
        first = min(self.first, other.first)
        count = max(self.last, other.last) - first + 1
        return LogRatio(first, self.on(first, count) + other.on(first, count))


NOTHING = LogRatio(0, np.zeros(1))


def log_sum_exp(values: Floats) -> float:
    """Log Σ exp, safe against overflow."""
    top = float(np.max(values))
    if not np.isfinite(top):
        return top
    return top + float(np.log(np.sum(np.exp(values - top))))


def log_summed(rows: Sequence[Floats]) -> Floats:
    """Log Σ exp of several rows, point by point."""
    stacked = np.stack(rows)
    top = stacked.max(axis=0)
    return np.asarray(top + np.log(np.exp(stacked - top).sum(axis=0)))


def normal_weights(sd_s: float) -> Floats:
    """A normal density on the grid, three standard deviations to either side; sums to 1."""
    reach = int(np.ceil(3 * sd_s / STEP_S))
    density = np.exp(-0.5 * (np.arange(-reach, reach + 1) * STEP_S / sd_s) ** 2)
    return np.asarray(density / density.sum())


def blurred(values: Floats, weights: Floats) -> Floats:
    """Values on a grid, each spread over its neighbours; beyond either end they go on as there."""
    return np.convolve(np.pad(values, len(weights) // 2, mode="edge"), weights, mode="valid")


def delay_summed_out(values: Floats, shares: Floats) -> Floats:
    """Log Σ_d shares[d] · exp(value d steps later): what is shown late began earlier.

    values: log ratios of starts as shown, 0 beyond their end. shares: (…, delay) how common each
    delay is, in each of several cases; they sum to 1. The result is of (…, time).
    """
    delays = shares.shape[-1]
    padded = np.pad(values, (0, delays - 1))
    shifted = np.stack([padded[d : d + len(values)] for d in range(delays)])
    top = shifted.max(axis=0)
    return np.asarray(top + np.log(shares @ np.exp(shifted - top)))
