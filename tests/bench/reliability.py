"""Predicted against observed: how often what was said to be so likely was so."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.bench.alignment_figures import KNOWN, owner_is_right
from tests.bench.rows import Rows
from tests.bench.score_figures import with_recorded

EDGES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)
Pairs = list[tuple[float, float]]


@dataclass(frozen=True)
class Bin:
    """Cases whose stated probability lies between two edges."""

    low: float
    high: float
    predicted: float
    observed: float
    count: int


def bins(pairs: Sequence[tuple[float, float]]) -> list[Bin]:
    """Sort (stated probability, 1 or 0) into bins; empty ones are left out."""
    found = []
    for low, high in itertools.pairwise(EDGES):
        inside = [(p, y) for p, y in pairs if low <= p < high or (high == 1.0 and p == 1.0)]
        if inside:
            predicted, observed = np.array(inside).mean(axis=0)
            found.append(Bin(low, high, float(predicted), float(observed), len(inside)))
    return found


def placement(rows: Rows) -> Pairs:
    """Placement listed first: its probability, and whether it lies in the right round."""
    return [
        (row.said["probability"], float(row.right_round))
        for row in rows.starts
        if row.said is not None and row.status in KNOWN
    ]


def ownership(rows: Rows) -> Pairs:
    """`probability` of `belongs_to`, and whether it is right; readable files of this class."""
    return [
        (row.said["probability"], owner_is_right(row))
        for row in rows.files
        if row.said is not None and row.truth.status == "aligned" and row.said["belongs_to"]
    ]


def explanation(rows: Rows) -> Pairs:
    """Every explanation of a logged score with machine evidence, and whether it is the true one."""
    return [
        (reason["probability"], float(reason["code"] == row.truth.code))
        for row in with_recorded(rows)
        if row.said is not None and row.truth.logged is not None
        for reason in row.said["explanations"]
    ]


TABLES: dict[str, Callable[[Rows], Pairs]] = {
    "probability of a placement": placement,
    "probability of an owner": ownership,
    "probability of an explanation": explanation,
}
