"""The calories on a machine's display, and the watts behind them.

A displayed calorie is a unit of score, not energy spent: it is never added to or mixed with energy.
"""

from __future__ import annotations

import numpy as np

from ingest.recording import Floats

# kcal/h = 4 · 0.8604 · W + 300: common practice for air-braked machines, no source.
KCAL_PER_HOUR_PER_WATT = 4 * 0.8604
KCAL_PER_HOUR_BASE = 300.0
# P = 2.80 / pace³ with pace in s/m (read); ski machines use the same law, bikes count per 1000 m.
DRAG_W_PER_M3_S3 = {"rower": 2.80, "ski": 2.80, "bike": 0.35}


def calories(power_w: Floats | float, seconds: Floats | float) -> Floats:
    """Displayed calories, as a fraction, after `seconds` at a steady power."""
    rate = KCAL_PER_HOUR_PER_WATT * np.asarray(power_w) + KCAL_PER_HOUR_BASE
    return np.asarray(rate * np.asarray(seconds) / 3600)


def power(count: Floats | float, seconds: Floats | float) -> Floats:
    """Mean watts behind a displayed count: (cal · 3600 / T − 300) / 3.4416; never below 0.

    The base of 300 an hour is taken to have run for the whole of `seconds`.
    """
    rate = np.asarray(count) * 3600 / np.asarray(seconds)
    return np.asarray(np.maximum((rate - KCAL_PER_HOUR_BASE) / KCAL_PER_HOUR_PER_WATT, 0.0))


def power_range(count: Floats | float, seconds: Floats | float) -> tuple[Floats, Floats]:
    """The lowest and highest mean watts that show as this whole count (the display cuts down)."""
    return power(count, seconds), power(np.asarray(count) + 1, seconds)


def power_from_pace(pace_s_per_500m: Floats | float) -> Floats:
    """Watts of a rower or ski machine at a pace in seconds a 500 m: 2.80 / (s/m)³."""
    return np.asarray(DRAG_W_PER_M3_S3["rower"] / (np.asarray(pace_s_per_500m) / 500) ** 3)
