"""What is known of the athlete's body, and how well: values with their spread."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from reconcile.classes import Athlete
from reconcile.energy.max_heart_rate import SPREAD_BPM, tanaka
from reconcile.plan import Sex

# Where the roster says nothing: adults who train in groups. Judgement.
UNKNOWN_AGE, UNKNOWN_AGE_SD = 36.0, 10.0
UNKNOWN_MASS_KG = {"m": (81.0, 0.16), "f": (66.0, 0.16), None: (73.0, 0.20)}
UNKNOWN_RESTING_HR, UNKNOWN_RESTING_SD = 62.0, 8.0
UNKNOWN_VO2MAX_AT_30 = {"m": 47.0, "f": 40.0, None: 43.5}
UNKNOWN_VO2MAX_FALL_PER_YEAR = 0.35
UNKNOWN_VO2MAX_SD = 0.12

# Where it does: scales and clothes, a rest or a highest heart rate as people know them, a VO2max
# from a test or a formula. Judgement.
MASS_SD, RESTING_SD, MAX_SD, VO2MAX_SD = 0.015, 4.0, 4.0, 0.07


@dataclass(frozen=True)
class Body:
    """An athlete's body as numbers. `*_sd` in the unit of the value, or relative for mass, VO2max.

    sex None means unknown: equations that need it are averaged, with the difference as spread.
    max_known, resting_known, vo2max_known: whether the roster says it.
    """

    sex: Sex | None
    age: float
    age_sd: float
    mass_kg: float
    mass_sd: float
    resting_hr: float
    resting_sd: float
    max_hr: float
    max_sd: float
    vo2max: float
    vo2max_sd: float
    max_known: bool
    resting_known: bool
    vo2max_known: bool


def body_of(
    athlete: Athlete, on: date, *, lowest_hr: float | None = None, highest_hr: float | None = None
) -> Body:
    """The body of an athlete on a day.

    lowest_hr, highest_hr: what trusted heart rate of this class reached; a resting rate cannot lie
    above the one, nor a highest below the other.
    """
    if athlete.birth_year is None:
        age, age_sd = UNKNOWN_AGE, UNKNOWN_AGE_SD
    else:
        age, age_sd = float(on.year - athlete.birth_year), 0.5
    if athlete.mass_kg is None:
        mass_kg, mass_sd = UNKNOWN_MASS_KG[athlete.sex]
    else:
        mass_kg, mass_sd = athlete.mass_kg, MASS_SD
    if athlete.resting_hr is None:
        resting_hr, resting_sd = UNKNOWN_RESTING_HR, UNKNOWN_RESTING_SD
    else:
        resting_hr, resting_sd = athlete.resting_hr, RESTING_SD
    if lowest_hr is not None:
        resting_hr = min(resting_hr, lowest_hr)
    if athlete.max_hr is None:
        max_hr, max_sd = tanaka(age), float((SPREAD_BPM**2 + (0.7 * age_sd) ** 2) ** 0.5)
    else:
        max_hr, max_sd = athlete.max_hr, MAX_SD
    if highest_hr is not None:
        max_hr = max(max_hr, highest_hr)
    max_hr = max(max_hr, resting_hr + 40)
    if athlete.vo2max is None:
        vo2max = UNKNOWN_VO2MAX_AT_30[athlete.sex] - UNKNOWN_VO2MAX_FALL_PER_YEAR * max(age - 30, 0)
        vo2max_sd = UNKNOWN_VO2MAX_SD
    else:
        vo2max, vo2max_sd = athlete.vo2max, VO2MAX_SD
    return Body(
        sex=athlete.sex,
        age=age,
        age_sd=age_sd,
        mass_kg=mass_kg,
        mass_sd=mass_sd,
        resting_hr=resting_hr,
        resting_sd=resting_sd,
        max_hr=max_hr,
        max_sd=max_sd,
        vo2max=max(vo2max, 15.0),
        vo2max_sd=vo2max_sd,
        max_known=athlete.max_hr is not None,
        resting_known=athlete.resting_hr is not None,
        vo2max_known=athlete.vo2max is not None,
    )
