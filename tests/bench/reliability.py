"""Predicted against observed: how often what was said to be so likely was so."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from tests.bench.alignment_figures import KNOWN, MACHINES, owner_is_right, ranges
from tests.bench.energy_figures import steps
from tests.bench.outcomes import StartRow
from tests.bench.rows import Rows
from tests.bench.score_figures import with_recorded

EDGES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)
Pairs = list[tuple[float, float]]
ONE_READING = {"counted_coasting": "rounding"}


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
    """Every explanation of a logged score with machine evidence, and whether it is the true one.

    `rounding` and `counted_coasting` count as one: an honest display is read 0 to 3 s after the
    bell, and where on that way the one ends and the other begins is a matter of words.
    """
    pairs: Pairs = []
    for row in with_recorded(rows):
        if row.said is None or row.truth.logged is None:
            continue
        said: dict[str, float] = {}
        for reason in row.said["explanations"]:
            code = ONE_READING.get(reason["code"], reason["code"])
            said[code] = said.get(code, 0.0) + reason["probability"]
        true = ONE_READING.get(row.truth.code or "", row.truth.code)
        pairs += [(min(p, 1.0), float(code == true)) for code, p in said.items()]
    return pairs


def reach(true: float, said: float, low: float, high: float) -> float:
    """How far the truth lies from the value said, in widths of the range's half on that side."""
    half = high - said if true > said else said - low
    return abs(true - said) / max(half, 1e-9)


def watch_starts(rows: Rows) -> list[float]:
    return [start_reach(row) for row in ranges(rows, ("watch",))]


def machine_starts(rows: Rows) -> list[float]:
    return [start_reach(row) for row in ranges(rows, MACHINES)]


def start_reach(row: StartRow) -> float:
    said = row.said or {}
    return reach(row.true_s, said["start_s"], said["low_s"], said["high_s"])


def recorded_scores(rows: Rows) -> list[float]:
    return [
        reach(row.truth.true, row.said["recorded"], row.said["low"], row.said["high"])
        for row in with_recorded(rows)
        if row.said is not None
    ]


def step_energies(rows: Rows) -> list[float]:
    return [
        reach(row.truth.energy_kcal, energy["kcal"], energy["low"], energy["high"])
        for row in steps(rows)
        if row.said is not None and (energy := row.said["energy"])
    ]


LEVELS = (0.25, 0.5, 0.68, 0.8, 0.9, 0.95, 0.99)


def levels(reaches: Sequence[float]) -> list[Bin]:
    """How often narrower and wider ranges would hold the truth, were the errors normal ones."""
    if not reaches:
        return []
    held = np.array(reaches)
    return [
        Bin(level, level, level, float(np.mean(held <= norm.ppf((1 + level) / 2) / 1.96)),
            held.size)
        for level in LEVELS
    ]  # fmt: skip


RANGES: dict[str, Callable[[Rows], list[float]]] = {
    "95 % range of a start, watch": watch_starts,
    "95 % range of a start, machine": machine_starts,
    "95 % range of a recorded score": recorded_scores,
    "95 % range of a step's energy": step_energies,
}
TABLES: dict[str, Callable[[Rows], Pairs]] = {
    "probability of a placement": placement,
    "probability of an owner": ownership,
    "probability of an explanation": explanation,
}
