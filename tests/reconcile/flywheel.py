"""A flywheel worked out by hand: what a machine does while it is pulled and after, to 0.05 s.

Shares no line with the engine. The brake of the air takes P = k·v³ from an energy m·v²/2, so that a
wheel nobody drives slows as dv/dt = −κ·v², κ = k/m, which is v(t) = v₀ / (1 + κ·v₀·t). The display
counts kcal/h = 4 · 0.8604 · W + 300 while the wheel turns (above 0.6 m/s), W the pulled power or,
coasting, k·v³ (the contract of the class folder).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal

import numpy as np

from ingest.recording import Floats, Recording

GRAIN_S = 0.05
KAPPA_PER_M = 0.05
STILL_M_S = 0.6
BRAKE = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
BELL = datetime(2026, 3, 9, 17, 30, tzinfo=UTC)

Machine = Literal["rower", "ski", "bike"]
Channel = Literal["power", "speed", "distance", "count", "cadence"]
EVERYTHING: tuple[Channel, ...] = ("power", "speed", "distance", "count", "cadence")


@dataclass(frozen=True, eq=False)
class Wheel:
    """Everything about a machine every 0.05 s, seconds on the class clock from `first_s`."""

    machine: Machine
    pulls: tuple[tuple[float, float, float], ...]
    time_s: Floats
    speed_m_s: Floats
    pulled_w: Floats
    metres: Floats
    calories: Floats

    def grown(self, column: Floats, start_s: float, end_s: float) -> float:
        """How much a running count grew between two times."""
        low, high = np.interp([start_s, end_s], self.time_s, column)
        return float(high - low)


def spun(
    pulls: Sequence[tuple[float, float, float]],
    first_s: float,
    last_s: float,
    machine: Machine = "rower",
) -> Wheel:
    """A wheel pulled from start to end at so many watts, each (start_s, end_s, watts)."""
    brake = BRAKE[machine]
    mass = brake / KAPPA_PER_M
    count = round((last_s - first_s) / GRAIN_S) + 1
    time_s = np.linspace(first_s, first_s + (count - 1) * GRAIN_S, count)
    pulled = np.zeros(len(time_s))
    for start_s, end_s, watts in pulls:
        pulled[(time_s >= start_s - 1e-9) & (time_s < end_s - 1e-9)] = watts
    speed = np.zeros(len(time_s))
    now = 0.0
    for index, watts in enumerate(pulled[:-1]):
        if watts > 0:
            energy = mass * now**2 / 2 + GRAIN_S * (watts - brake * now**3)
            now = float(np.sqrt(2 * max(energy, 0.0) / mass))
        else:
            now = now / (1 + KAPPA_PER_M * now * GRAIN_S)
            now = now if now > STILL_M_S else 0.0  # the bearings stop it
        speed[index + 1] = now
    working = np.where(pulled > 0, pulled, brake * speed**3)
    rate = np.where((speed > STILL_M_S) | (pulled > 0), (4 * 0.8604 * working + 300) / 3600, 0.0)
    return Wheel(
        machine,
        tuple(pulls),
        time_s,
        speed,
        pulled,
        np.concatenate([[0.0], np.cumsum(speed[1:] * GRAIN_S)]),
        np.concatenate([[0.0], np.cumsum(rate[:-1] * GRAIN_S)]),
    )


def sampled(
    wheel: Wheel,
    channels: Sequence[Channel] = EVERYTHING,
    *,
    first_s: float | None = None,
    last_s: float | None = None,
    every_s: float = 1.0,
    hold_s: float = 0.0,
    averaged: bool = False,
    clock_s: float = 0.0,
    dated: bool = True,
    stated: datetime = BELL,
) -> Recording:
    """What a device writes down of a wheel: a sample every so many seconds, the count floored.

    hold_s: the display goes on showing the last power for so long. averaged: power and speed are
    means since the sample before. clock_s: by how much the device's clock is ahead. Class time 0
    is `stated`.
    """
    first = float(wheel.time_s[0]) if first_s is None else first_s
    last = float(wheel.time_s[-1]) if last_s is None else last_s
    at = np.arange(first, last + 1e-9, every_s)
    power, speed = wheel.pulled_w.copy(), wheel.speed_m_s
    for _, end_s, watts in wheel.pulls:
        power[(wheel.time_s >= end_s - 1e-9) & (wheel.time_s < end_s + hold_s)] = watts
    turning = (wheel.pulled_w > 0).astype(float) * 26.0

    def at_once(column: Floats) -> Floats:
        rows = np.clip(np.round((at - wheel.time_s[0]) / GRAIN_S), 0, len(column) - 1)
        return np.asarray(column[rows.astype(int)])

    def mean_since(column: Floats) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(column[:-1] * GRAIN_S)])
        ends = np.interp(at, wheel.time_s, total)
        before = np.interp(at - every_s, wheel.time_s, total)
        return np.asarray((ends - before) / every_s)

    read = mean_since if averaged else at_once
    columns: dict[str, Floats] = {
        "power": read(power),
        "speed": read(speed),
        "distance": at_once(wheel.metres) - float(np.interp(first, wheel.time_s, wheel.metres)),
        "count": np.floor(
            at_once(wheel.calories) - float(np.interp(first, wheel.time_s, wheel.calories)) + 1e-9
        ),
        "cadence": at_once(turning),
    }
    chosen = {name: columns[name] if name in channels else None for name in columns}
    recording = Recording(
        format="fit",
        device=wheel.machine,
        start=None,
        sample_count=len(at),
        time_s=at - first,
        power_w=chosen["power"],
        cadence_per_min=chosen["cadence"],
        speed_m_s=chosen["speed"],
        distance_m=chosen["distance"],
        calories=chosen["count"],
    )
    return dated_at(recording, first + clock_s, stated) if dated else recording


def dated_at(recording: Recording, first_s: float, stated: datetime = BELL) -> Recording:
    """The recording with its first sample so many seconds after the class's stated start."""
    seconds = stated.timestamp() + first_s
    return replace(recording, start=datetime.fromtimestamp(seconds, UTC))


def without_samples(recording: Recording, start_s: float, end_s: float) -> Recording:
    """The recording without the samples strictly between two times of its own clock."""
    kept = ~((recording.time_s > start_s) & (recording.time_s < end_s))

    def only(column: Floats | None) -> Floats | None:
        return None if column is None else column[kept]

    return replace(
        recording,
        time_s=recording.time_s[kept],
        sample_count=int(kept.sum()),
        heart_rate_bpm=only(recording.heart_rate_bpm),
        power_w=only(recording.power_w),
        cadence_per_min=only(recording.cadence_per_min),
        speed_m_s=only(recording.speed_m_s),
        distance_m=only(recording.distance_m),
        calories=only(recording.calories),
    )
