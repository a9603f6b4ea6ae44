"""The athlete's own line from heart rate to energy, shrunk to the population's.

A straight line is held by its values at two anchor heart rates, with their covariance: a prior
(the population's line and how people differ about it) and measured pairs give a posterior by
Bayesian linear regression (any textbook; for instance Bishop 2006, Pattern Recognition and Machine
Learning, equations 3.50 and 3.51).

Own lines on open gas-exchange data: fitted on one half in time and tested on the other, 9 % mean
error; on intermittent work, fitted on another day, 15.5 %.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats


@dataclass(frozen=True, eq=False)
class Line:
    """A line in heart rate: its values (kcal/min) at two anchors (bpm), and their covariance."""

    anchors_bpm: tuple[float, float]
    values: Floats
    covariance: NDArray[np.float64]

    def at(self, heart_rate_bpm: Floats | float) -> tuple[Floats, Floats]:
        """The line's value at each heart rate and its standard deviation, kcal/min."""
        design = _design(self.anchors_bpm, heart_rate_bpm)
        variance = np.einsum("ij,jk,ik->i", design, self.covariance, design)
        return design @ self.values, np.sqrt(variance)

    def as_document(self) -> dict[str, Any]:
        """The line as plain values, for keeping."""
        return {
            "heart_rate": [round(anchor, 2) for anchor in self.anchors_bpm],
            "kcal_per_min": [round(float(value), 4) for value in self.values],
            "covariance": [[round(float(cell), 6) for cell in row] for row in self.covariance],
        }


def line_from_document(document: Mapping[str, Any]) -> Line:
    """The inverse of `Line.as_document`; KeyError, TypeError or ValueError for anything else."""
    low, high = (float(anchor) for anchor in document["heart_rate"])
    values = np.asarray(document["kcal_per_min"], dtype=np.float64)
    covariance = np.asarray(document["covariance"], dtype=np.float64)
    if values.shape != (2,) or covariance.shape != (2, 2) or low == high:
        raise ValueError("an own line has two anchors, two values and a 2 x 2 covariance")
    return Line((low, high), values, covariance)


def joined(lines: Sequence[Line], day_sd: float) -> Line:
    """One athlete's lines of several days, joined by inverse variance; at least one is needed.

    day_sd: relative error of a day, common to all of that day's line. The joined line stands on the
    anchors of the last one, and its covariance holds what is left of the days' errors.
    """
    anchors = lines[-1].anchors_bpm
    onto = [_design(line.anchors_bpm, np.array(anchors)) for line in lines]
    values = [design @ line.values for design, line in zip(onto, lines, strict=True)]
    mean = np.mean(values, axis=0)
    # Every day's error is a share of the mean, not of its own value: else low lines count for more.
    days = day_sd**2 * np.outer(mean, mean)
    precisions = [
        np.linalg.inv(design @ line.covariance @ design.T + days)
        for design, line in zip(onto, lines, strict=True)
    ]
    covariance = np.asarray(np.linalg.inv(np.sum(precisions, axis=0)), dtype=np.float64)
    weighted = sum(precision @ value for precision, value in zip(precisions, values, strict=True))
    return Line(anchors, np.asarray(covariance @ weighted), covariance)


def _design(anchors_bpm: tuple[float, float], heart_rate_bpm: Floats | float) -> Floats:
    low, high = anchors_bpm
    share = (np.atleast_1d(np.asarray(heart_rate_bpm, dtype=np.float64)) - low) / (high - low)
    return np.column_stack([1 - share, share])


def prior_line(
    anchors_bpm: tuple[float, float], values: Floats, relative_sd: Floats, correlation: float
) -> Line:
    """A line known to a relative spread at each anchor, the two errors going together so far."""
    low_sd, high_sd = np.abs(np.asarray(values) * np.asarray(relative_sd)).tolist()
    shared = correlation * low_sd * high_sd
    covariance = np.array([[low_sd**2, shared], [shared, high_sd**2]])
    return Line(anchors_bpm, np.asarray(values, dtype=np.float64), covariance)


def fit(prior: Line, heart_rate_bpm: Floats, kcal_per_min: Floats, noise_sd: Floats) -> Line:
    """The prior updated by measured pairs, each with its own noise (kcal/min, one sd)."""
    design = _design(prior.anchors_bpm, heart_rate_bpm)
    weight = 1 / np.asarray(noise_sd, dtype=np.float64) ** 2
    prior_precision = np.linalg.inv(prior.covariance)
    precision = prior_precision + (design * weight[:, None]).T @ design
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    values = covariance @ (
        prior_precision @ prior.values + design.T @ (weight * np.asarray(kcal_per_min))
    )
    return Line(prior.anchors_bpm, values, covariance)
