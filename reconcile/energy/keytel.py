"""Heart rate to energy in steady exercise (Keytel et al. 2005)."""

from __future__ import annotations

import numpy as np

from ingest.recording import Floats
from reconcile.plan import Sex

KJ_PER_KCAL = 4.184
# What the 115 people of the study covered: 18 to 45 years, 47 to 120 kg, 57 to 90 % of the highest
# heart rate (three steady stages at 35, 62 and 80 % of VO2max).
AGE_RANGE = (18.0, 45.0)
MASS_RANGE_KG = (47.0, 120.0)
SHARE_OF_MAX_HR_RANGE = (0.57, 0.90)


def without_vo2max(heart_rate_bpm: Floats, sex: Sex, mass_kg: float, age: float) -> Floats:
    """Gross energy, kcal/min, in steady exercise; negative at low heart rates, where it is void.

    Men −55.0969 + 0.6309 · HR + 0.1988 · kg + 0.2017 · age, women −20.4022 + 0.4472 · HR −
    0.1263 · kg + 0.0740 · age, in kJ/min.

    Error on open gas-exchange data, intermittent work: 16.4 % mean, 19 % standard deviation.
    Source: Keytel LR et al. 2005, J Sports Sci 23(3):289-297 (abstract read; coefficients as in
    several public implementations that agree).
    """
    if sex == "m":
        kj_min = -55.0969 + 0.6309 * heart_rate_bpm + 0.1988 * mass_kg + 0.2017 * age
    else:
        kj_min = -20.4022 + 0.4472 * heart_rate_bpm - 0.1263 * mass_kg + 0.0740 * age
    return np.asarray(kj_min / KJ_PER_KCAL)


def with_vo2max(
    heart_rate_bpm: Floats, sex: Sex, mass_kg: float, age: float, vo2max: float
) -> Floats:
    """Gross energy, kcal/min, in steady exercise, with VO2max in ml/kg/min.

    Men −59.3954 − 36.3781 + 0.271 · age + 0.394 · kg + 0.404 · VO2max + 0.634 · HR, women
    −59.3954 + 0.274 · age + 0.103 · kg + 0.380 · VO2max + 0.450 · HR, in kJ/min.

    Error on open gas-exchange data, intermittent work: 13.2 % mean, 17 % standard deviation; its
    errors correlate 0.91 with those of the form without VO2max, so only one of the two is used.
    Source: as `without_vo2max` (coefficients as in four public implementations that agree; one
    more swaps them with the other form's).
    """
    if sex == "m":
        kj_min = (
            -59.3954
            - 36.3781
            + 0.271 * age
            + 0.394 * mass_kg
            + 0.404 * vo2max
            + 0.634 * heart_rate_bpm
        )
    else:
        kj_min = -59.3954 + 0.274 * age + 0.103 * mass_kg + 0.380 * vo2max + 0.450 * heart_rate_bpm
    return np.asarray(kj_min / KJ_PER_KCAL)


def outside_spread(heart_rate_bpm: Floats, max_hr: float, mass_kg: float, age: float) -> Floats:
    """Relative spread to add where the equation is used outside what it was fitted on.

    3 % a percent of highest heart rate below the range (steady low heart rates owe more to posture
    and mood than to work), 1 % a percent above it (demand runs on where heart rate saturates),
    0.5 % a year, 0.5 % a kilogram: judgement.
    """
    share = np.asarray(heart_rate_bpm) / max_hr
    low, high = SHARE_OF_MAX_HR_RANGE
    heart = 3.0 * np.maximum(low - share, 0) + 1.0 * np.maximum(share - high, 0)
    years = max(AGE_RANGE[0] - age, age - AGE_RANGE[1], 0.0)
    kilograms = max(MASS_RANGE_KG[0] - mass_kg, mass_kg - MASS_RANGE_KG[1], 0.0)
    return np.asarray(np.hypot(heart, 0.005 * years + 0.005 * kilograms))
