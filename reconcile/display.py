"""What an air-braked machine's display shows: pace, power and calories, each from the other.

A displayed calorie is a unit of score, not energy spent: see `reconcile.energy` for that.
"""

from __future__ import annotations

from typing import Literal

Machine = Literal["rower", "ski", "bike"]

# Power of the air brake, W per (m/s)³. Rower and ski: P = 2.80 / pace³, pace in s/m, as the
# published law has it. A bike counts pace per 1000 m, so that the same flywheel power shows twice
# the speed: 2.80 / 2³ = 0.35.
AIR_BRAKE: dict[Machine, float] = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
# Metres that a pace is counted per.
PACE_METRES: dict[Machine, float] = {"rower": 500.0, "ski": 500.0, "bike": 1000.0}

# Displayed calories grow by kcal/h = 4 · 0.8604 · W + 300 while the machine moves (common practice
# for air-braked machines, no source): 0.8604 kcal/h is one watt, 4 stands for an efficiency of
# 25 %, and 300 kcal/h for the person.
CALORIES_PER_HOUR_PER_WATT = 4 * 0.8604
CALORIES_PER_HOUR_BASE = 300.0
SECONDS_PER_HOUR = 3600.0


def power_from_pace(pace_s: float, machine: Machine = "rower") -> float:
    """Watts at a pace in seconds per 500 m (bike: per 1000 m); P = k / pace³, see `AIR_BRAKE`.

    Raises ValueError for a pace that is not above 0.
    """
    if not pace_s > 0:
        raise ValueError(f"a pace is above 0 seconds, not {pace_s}")
    return float(AIR_BRAKE[machine] * (PACE_METRES[machine] / pace_s) ** 3)


def pace_from_power(power_w: float, machine: Machine = "rower") -> float:
    """Seconds per 500 m (bike: per 1000 m) at a power; the inverse of `power_from_pace`.

    Raises ValueError for a power that is not above 0.
    """
    if not power_w > 0:
        raise ValueError(f"a pace needs a power above 0 W, not {power_w}")
    return PACE_METRES[machine] / speed_from_power(power_w, machine)


def speed_from_power(power_w: float, machine: Machine = "rower") -> float:
    """Displayed speed in m/s at a power in watts, steady state."""
    return float((power_w / AIR_BRAKE[machine]) ** (1 / 3))


def power_from_speed(speed_m_s: float, machine: Machine = "rower") -> float:
    """Watts that the air takes at a displayed speed in m/s."""
    return float(AIR_BRAKE[machine] * speed_m_s**3)


def calories_from_power(power_w: float, duration_s: float) -> float:
    """Displayed calories, a fraction, of `duration_s` seconds at a mean power in watts."""
    per_hour = CALORIES_PER_HOUR_PER_WATT * power_w + CALORIES_PER_HOUR_BASE
    return per_hour * duration_s / SECONDS_PER_HOUR


def power_from_calories(calories: float, duration_s: float) -> float:
    """Mean watts that show `calories` in `duration_s` seconds: (cal · 3600 / T − 300) / 3.4416.

    Negative where the machine's base rate alone shows more. Raises ValueError for a duration that
    is not above 0.
    """
    if not duration_s > 0:
        raise ValueError(f"a power needs a duration above 0 seconds, not {duration_s}")
    per_hour = calories * SECONDS_PER_HOUR / duration_s
    return (per_hour - CALORIES_PER_HOUR_BASE) / CALORIES_PER_HOUR_PER_WATT
