"""Several estimates of one thing, joined in log kcal by inverse variance, errors in common kept.

Every estimate carries its relative errors by name: two estimates that share a name share that
error, whether they are two models of one step or one model of two steps. So correlations need no
table of their own, and totals carry what is common to all steps in full.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats

TWO_SIDED_95 = 1.96
# Estimates further apart than this many of their joint standard deviations disagree.
DISAGREE_BEYOND = 2.5


@dataclass(frozen=True)
class Estimate:
    """One model's estimate: kcal, and relative errors (one sd, signed) by their name."""

    model: str
    kcal: float
    errors: Mapping[str, float]
    note: str = ""

    @property
    def sd(self) -> float:
        """Relative standard deviation of the whole."""
        return float(np.sqrt(sum(error**2 for error in self.errors.values())))


@dataclass(frozen=True)
class Fused:
    """The joined estimate: kcal, its errors by name, each model's weight.

    disagreement: by how many joint standard deviations the estimates differ, where that is more
    than `DISAGREE_BEYOND`; else None.
    """

    kcal: float
    errors: Mapping[str, float]
    weights: tuple[float, ...]
    disagreement: float | None = None

    @property
    def sd(self) -> float:
        """Relative standard deviation of the whole."""
        return float(np.sqrt(sum(error**2 for error in self.errors.values())))


def fuse(estimates: Sequence[Estimate], name: str) -> Fused:
    """The estimates joined by the weights that make the joint variance least, none negative.

    Where two estimates disagree, the range is widened to reach towards both, under an error of
    its own called after `name`. At least one estimate must be given, and all must be positive.
    """
    names = sorted({error for estimate in estimates for error in estimate.errors})
    errors = np.array([[e.errors.get(error, 0.0) for error in names] for e in estimates])
    weights = least_variance_weights(errors @ errors.T)
    logs = np.log([estimate.kcal for estimate in estimates])
    joined = dict(zip(names, map(float, weights @ errors), strict=True))
    disagreement, apart = _disagreement(logs, errors, weights)
    if disagreement is not None:
        joined[f"disagreement: {name}"] = apart / 4
    kept = {error: size for error, size in joined.items() if abs(size) > 1e-6}
    return Fused(float(np.exp(weights @ logs)), kept, tuple(map(float, weights)), disagreement)


def least_variance_weights(covariance: NDArray[np.float64]) -> Floats:
    """Weights that sum to 1, none negative, under which the joint variance is least.

    Generalised least squares for one mean (Aitken 1936). Where that would give a model a negative
    weight, because it mostly repeats a surer one, the best is taken of all choices of models that
    need none; there are never more than a handful.
    """
    count = len(covariance)
    smallest, best = np.inf, np.zeros(count)
    for size in range(count, 0, -1):
        for kept in combinations(range(count), size):
            part = covariance[np.ix_(kept, kept)] + 1e-12 * np.eye(size)
            raw = np.linalg.solve(part, np.ones(size))
            if raw.min() >= 0 and 1 / raw.sum() < smallest:
                smallest, best = 1 / raw.sum(), np.zeros(count)
                best[list(kept)] = raw / raw.sum()
        if size == count and smallest < np.inf:
            break
    return best


def _disagreement(logs: Floats, errors: Floats, weights: Floats) -> tuple[float | None, float]:
    """The worst pair of estimates that count: joint sds apart (None if near), and log distance."""
    worst, apart = 0.0, 0.0
    counted = [index for index, weight in enumerate(weights) if weight > 0.02]
    for one, other in combinations(counted, 2):
        joint = float(np.linalg.norm(errors[one] - errors[other]))
        distance = abs(float(logs[one] - logs[other]))
        if distance > worst * joint:
            worst, apart = distance / max(joint, 1e-9), distance
    return (worst if worst > DISAGREE_BEYOND else None), apart


def total(parts: Sequence[tuple[float, Mapping[str, float]]]) -> tuple[float, dict[str, float]]:
    """The sum of (kcal, relative errors by name): its kcal, and its relative errors by name."""
    kcal = sum(part for part, _ in parts)
    errors: dict[str, float] = {}
    for part, own in parts:
        for name, size in own.items():
            errors[name] = errors.get(name, 0.0) + part * size
    return kcal, {name: size / kcal for name, size in errors.items()} if kcal > 0 else {}


def spread(errors: Mapping[str, float]) -> float:
    """Relative standard deviation of errors by name, which are independent of each other."""
    return float(np.sqrt(sum(size**2 for size in errors.values())))


def range_95(kcal: float, errors: Mapping[str, float]) -> tuple[float, float]:
    """95 % range of a log-normal error about `kcal`."""
    reach = float(np.exp(TWO_SIDED_95 * spread(errors)))
    return kcal / reach, kcal * reach
