"""An air-braked machine for the demo: pulls in; power, speed, distance and count out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.signal import lfilter

from ingest.recording import Floats

Machine = Literal["rower", "ski", "bike"]

GRID_S = 0.25

# Watts at one metre a second, cubed: 2.80 is the published law of rowing machines, which ski
# machines share; the bike's is the class folder's own convention.
DRAG = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
CADENCE = {"rower": 27.0, "ski": 38.0, "bike": 84.0}

# How fast the wheel follows the pull, and runs on after it; judgement, no source.
SPIN_UP_S = 2.2
RUN_ON_S = 2.6
RAMP_S = 2.5
STANDING_M_S = 0.6


@dataclass(frozen=True)
class Pull:
    """Work on the machine from `start_s` to `end_s` at a mean of `power_w`."""

    start_s: float
    end_s: float
    power_w: float


@dataclass(frozen=True, eq=False)
class WheelTrace:
    """What the machine saw, every GRID_S seconds from second 0 of the class.

    power_w is pulled power, 0 while the wheel runs on; calories is the display's count before it
    is cut to whole numbers.
    """

    power_w: Floats
    speed_m_s: Floats
    cadence_per_min: Floats
    distance_m: Floats
    calories: Floats


def run_wheel(
    pulls: Sequence[Pull], machine: Machine, length_s: float, rng: np.random.Generator
) -> WheelTrace:
    """Spin the wheel through the pulls, in order and apart from each other.

    The count grows by kcal/h = 4 · 0.8604 · W + 300 while the wheel moves, with the watts of the
    wheel itself while it runs on (the display's formula: common practice).
    """
    time_s = np.arange(0.0, length_s, GRID_S)
    drag = DRAG[machine]
    power = np.zeros_like(time_s)
    speed = np.zeros_like(time_s)
    cadence = np.zeros_like(time_s)
    strokes = lfilter([1.0], [1.0, -0.92], rng.normal(0.0, 0.03, time_s.size))
    bounds = [pull.start_s for pull in pulls[1:]] + [length_s]
    for pull, next_start_s in zip(pulls, bounds, strict=True):
        on = (time_s >= pull.start_s) & (time_s < pull.end_s)
        if not on.any():
            continue
        since_s = time_s[on] - pull.start_s
        ramp = 1.0 - np.exp(-since_s / (RAMP_S / 2))
        power[on] = pull.power_w * ramp * np.clip(1.0 + strokes[on], 0.5, 1.5)
        cadence[on] = CADENCE[machine] * (1.0 + 0.3 * strokes[on])
        before = int(np.flatnonzero(on)[0]) - 1
        still = speed[before] if before >= 0 else 0.0
        target = np.cbrt(pull.power_w * np.clip(1.0 + strokes[on], 0.5, 1.5) / drag)
        speed[on] = target + (still - target) * np.exp(-since_s / SPIN_UP_S)
        off = (time_s >= pull.end_s) & (time_s < next_start_s)
        last = speed[on][-1]
        speed[off] = last * np.exp(-(time_s[off] - pull.end_s) / RUN_ON_S)
    speed[speed < 0.05] = 0.0
    wheel_w = np.where(power > 0.0, power, drag * speed**3)
    per_hour = np.where(speed > STANDING_M_S, 4 * 0.8604 * wheel_w + 300.0, 0.0)
    return WheelTrace(
        power_w=power,
        speed_m_s=speed,
        cadence_per_min=cadence,
        distance_m=np.cumsum(speed) * GRID_S,
        calories=np.cumsum(per_hour) * GRID_S / 3600.0,
    )


def count_at(counted: Floats, seconds: float) -> float:
    """A running count (calories or metres) at a moment of the class, as a fraction."""
    index = int(np.clip(round(seconds / GRID_S), 0, counted.size - 1))
    return float(counted[index])
