"""Share of heart-rate reserve to share of oxygen reserve (Swain and colleagues 1997, 1998)."""

from __future__ import annotations

from typing import Literal

import numpy as np

from ingest.recording import Floats
from reconcile.energy.weir import KCAL_PER_LITRE_OXYGEN_EXERCISE

RESTING_VO2 = 3.5  # ml/kg/min, one MET
# Shares of the heart-rate reserve in which the lines were measured, about.
VALID_SHARE = (0.35, 1.0)


def heart_rate_share(heart_rate_bpm: Floats, resting_hr: float, max_hr: float) -> Floats:
    """The share of the heart-rate reserve in use, 0 at rest and 1 at the highest heart rate."""
    return np.asarray((np.asarray(heart_rate_bpm) - resting_hr) / (max_hr - resting_hr))


def oxygen_uptake(
    heart_rate_bpm: Floats,
    resting_hr: float,
    max_hr: float,
    vo2max: float,
    line: Literal["cycle", "treadmill"] = "cycle",
) -> Floats:
    """Oxygen uptake, ml/kg/min, in steady exercise, from the share of heart-rate reserve in use.

    Cycle: the two shares are equal. Treadmill: %HRR = 1.5 + 1.03 · %VO2R.
    Valid from about 35 % of reserve up to the highest heart rate.

    Source: Swain DP et al. 1998, Med Sci Sports Exerc 30(2):318-321 (treadmill, read); Swain and
    Leutholtz 1997, Med Sci Sports Exerc 29:410-414 (cycle, from memory).
    """
    share = heart_rate_share(heart_rate_bpm, resting_hr, max_hr)
    if line == "treadmill":
        share = (share - 0.015) / 1.03
    return np.asarray(RESTING_VO2 + share * (vo2max - RESTING_VO2))


def energy(
    heart_rate_bpm: Floats, resting_hr: float, max_hr: float, vo2max: float, mass_kg: float
) -> Floats:
    """Gross energy, kcal/min, by the cycle line at 4.9 kcal a litre of oxygen.

    Error: the line itself about 5 % (judgement); above that, whatever the highest heart rate, the
    resting heart rate and VO2max are out by, which the caller carries.
    """
    uptake = oxygen_uptake(heart_rate_bpm, resting_hr, max_hr, vo2max)
    return np.asarray(uptake * mass_kg / 1000 * KCAL_PER_LITRE_OXYGEN_EXERCISE)


def sensitivity(
    heart_rate_bpm: Floats, resting_hr: float, max_hr: float, vo2max: float
) -> tuple[Floats, Floats, Floats]:
    """Relative change of the energy per beat of highest and resting heart rate, per ln VO2max.

    The derivatives of ln(uptake) that spread `resting_hr`, `max_hr` and `vo2max` errors.
    """
    share = heart_rate_share(heart_rate_bpm, resting_hr, max_hr)
    reserve = max_hr - resting_hr
    uptake = np.maximum(RESTING_VO2 + share * (vo2max - RESTING_VO2), RESTING_VO2)
    gain = (vo2max - RESTING_VO2) / uptake
    by_max = -share / reserve * gain
    by_resting = -(1 - share) / reserve * gain
    by_vo2max = share * vo2max / uptake
    return np.asarray(by_max), np.asarray(by_resting), np.asarray(by_vo2max)
