"""Evidence of whose recording it is.

A machine's file and a heart rate belong together where the heart answers that machine's work better
than it answers the plan; two heart rates where they are the same heart. The sheet says which
machine an athlete used and what they read off it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from ingest.recording import Floats
from reconcile.align.heart import HEART_STEP_S
from reconcile.align.signals import Signals
from reconcile.classes import Athlete
from reconcile.energy.body import body_of
from reconcile.machine import MachineTrack
from reconcile.score.expected import NET_EFFICIENCY

# Judgement, no source.
OTHER_EQUIPMENT = np.log(0.02)
SAME_EQUIPMENT = np.log(2.0)
# Few people wear two heart-rate sensors.
SECOND_SENSOR = np.log(0.04)
# Nobody works two machines at once, though a phone may record one of them beside its own file.
TWO_MACHINES = -9.0
LEAST_COMMON = 60
# Two recordings are near each other by the mean of exp(-gap / this); then the log ratio of one
# heart against two, and of one work against two people's (as counted over simulated classes).
HEARTS_APART_BPM, WORKS_APART = 3.0, 0.05
HEARTS_NEAR = (0.10, 0.25, 0.35, 0.42, 0.50, 0.60, 0.70, 0.80)
SAME_HEART = (-4.5, -3.2, -1.9, -0.3, 1.5, 4.0, 6.0, 6.5)
WORKS_NEAR = (0.10, 0.20, 0.30, 0.40, 0.45, 0.55, 0.65, 0.85)
SAME_WORK = (-2.0, -1.5, 0.0, 4.0, 6.5, 10.5, 12.5, 13.5)
# How far apart the logs of mean power are in two recordings of one work (share, sd; 20 of 23 within
# 0.05 over simulated classes), and in two people's.
ONE_WORK_LEVELS = ((0.87, 0.02), (0.13, 0.2))
TWO_WORKS_LEVEL_SD = 0.45
HARD_SHARE = 0.90
USUAL_LOWEST_BPM, ABOVE_STANDING_BPM = 86.0, 4.0
# Log of a density that no value falls below: anything may be odd.
FAR_OFF = np.log(0.004)
# How far apart the logs of mean power of equal bodies lie: effort, skill, breaks.
GIVEN_SPREAD = 0.16
# The most that a device's mark says for an athlete who had it before, and against the others.
OWN_DEVICE, OTHERS_DEVICE = 2.0, -1.7


@dataclass(frozen=True, eq=False)
class ClassSignal:
    """A signal every 2 s on the class clock; `first` is the grid index of its first value."""

    first: int
    values: Floats

    def on(self, first: int, count: int, fill: float) -> Floats:
        """Values over another stretch of the same grid."""
        out = np.full(count, fill)
        low, high = max(first, self.first), min(first + count, self.first + len(self.values))
        if low < high:
            out[low - first : high - first] = self.values[low - self.first : high - self.first]
        return out


def power_signal(track: MachineTrack, x_s: float) -> ClassSignal:
    """Pulled power as a share of the athlete's hard work, 0 where none was pulled."""
    power = track.pulled_power_w
    if power is None:
        power = track.pulling.astype(float)
    level = float(np.percentile(power[track.pulling], 90)) if track.pulling.any() else 1.0
    first = int(np.ceil((x_s + float(track.time_s[0])) / HEART_STEP_S))
    last = int(np.floor((x_s + float(track.time_s[-1])) / HEART_STEP_S))
    at_s = np.arange(first, last + 1) * HEART_STEP_S - x_s
    return ClassSignal(first, np.interp(at_s, track.time_s, power / max(level, 1e-9)))


def heart_signal(signals: Signals, x_s: float) -> ClassSignal:
    """Heart rate, NaN where missing."""
    return ClassSignal(round(x_s / HEART_STEP_S), signals.heart)


def same_heart_evidence(first: ClassSignal, second: ClassSignal) -> float:
    """Log ratio of "the same heart" against "two hearts under one plan".

    Told by how much of the time two recordings of heart rate are near: two sensors on one heart
    differ by a beat or two for most of it, even where one is lost for a while.
    """
    near = -np.inf
    for move in range(-2, 13):  # a wrist sensor comes later than a strap
        gap = np.abs(first.on(second.first - move, len(second.values), np.nan) - second.values)
        gap = gap[np.isfinite(gap)]
        if len(gap) >= LEAST_COMMON:
            near = max(near, float(np.mean(np.exp(-gap / HEARTS_APART_BPM))))
    return float(np.interp(near, HEARTS_NEAR, SAME_HEART)) if np.isfinite(near) else 0.0


def same_work_evidence(first: ClassSignal, second: ClassSignal) -> float:
    """Log evidence that two machines' files at once are of one athlete: one work recorded twice.

    Twice the same work differs by a few per cent from moment to moment, two people by more.
    """
    near = -np.inf
    one = _smooth(first.values)
    other = ClassSignal(second.first, _smooth(second.values))
    for move in range(-3, 4):
        moved = other.on(first.first + move, len(one), 0.0)
        either = (one > 0.05) | (moved > 0.05)
        if np.count_nonzero(either) >= LEAST_COMMON / 2:
            gap = np.abs(one - moved)[either] / np.maximum(one, moved)[either]
            near = max(near, float(np.mean(np.exp(-gap / WORKS_APART))))
    return TWO_MACHINES + (float(np.interp(near, WORKS_NEAR, SAME_WORK)) if near >= 0 else 0.0)


def _smooth(values: Floats) -> Floats:
    """Each value with its three neighbours on either side."""
    return np.convolve(values, np.ones(7) / 7, mode="same")


def heart_levels(heart: Floats) -> Floats:
    """The highest and the lowest that a heart rate comes to, bpm; NaN where too little is known."""
    known = heart[np.isfinite(heart)]
    if len(known) < LEAST_COMMON:
        return np.full(2, np.nan)
    return np.asarray(np.percentile(known, (98, 3)))


def expected_heart_levels(people: Sequence[Athlete], on: date) -> tuple[Floats, Floats]:
    """(athlete, 2) Highest and lowest heart rate that each is expected to come to, and the spreads.

    A hard class takes people to some 90 % of their highest heart rate, and nobody rests in one: the
    lowest is that of standing about. The spreads are those about what is usual in a class
    (judgement).
    """
    highest = np.array([body_of(athlete, on).max_hr for athlete in people])
    resting = np.array([athlete.resting_hr or np.nan for athlete in people])
    lowest = np.where(
        np.isnan(resting), USUAL_LOWEST_BPM, 0.82 * resting + 0.18 * highest + ABOVE_STANDING_BPM
    )
    spreads = [
        (9.0 if a.max_hr else 11.0 if a.birth_year else 14.0, 6.5 if a.resting_hr else 9.0)
        for a in people
    ]
    return np.stack([HARD_SHARE * highest, lowest], axis=1), np.array(spreads)


def heart_level_evidence(levels: Floats, expected: Floats, spreads: Floats) -> Floats:
    """Per athlete, log evidence of how near a recording comes to what is expected of each."""
    if np.isnan(levels).any():
        return np.zeros(len(expected))
    peak, low = (_near(float(levels[n]), expected[:, n], spreads[:, n]) for n in (0, 1))
    return peak + low


def _near(value: float, usual: Floats, spread: Floats) -> Floats:
    """Per athlete, log evidence of a value that lies about what is usual for each."""
    log_density = np.logaddexp(-0.5 * ((value - usual) / spread) ** 2 - np.log(spread), FAR_OFF)
    return np.asarray(log_density - np.logaddexp.reduce(log_density) + np.log(len(usual)))


def power_level(track: MachineTrack) -> float:
    """Log of the mean pulled power, W, as energy that it costs; NaN where the file tells none."""
    power = track.pulled_power_w
    if power is None or np.count_nonzero(track.pulling) < LEAST_COMMON / 2:
        return float("nan")
    mean_w = float(np.mean(np.nan_to_num(power)[track.pulling]))
    return float(np.log(max(mean_w, 1.0) / NET_EFFICIENCY[track.machine]))


def other_level_evidence(first: MachineTrack, second: MachineTrack) -> float:
    """Log evidence against one work in two machines' files, by how far apart their mean powers are.

    0 where a file tells none, and where they are near: that is in `same_work_evidence`.
    """
    apart = power_level(first) - power_level(second)
    one = sum(share * np.exp(-0.5 * (apart / sd) ** 2) / sd for share, sd in ONE_WORK_LEVELS)
    two = np.exp(-0.5 * (apart / TWO_WORKS_LEVEL_SD) ** 2) / TWO_WORKS_LEVEL_SD
    return float(min(np.log(one / two), 0.0)) if np.isfinite(apart) else 0.0


def body_level(athlete: Athlete, on: date) -> tuple[float, float]:
    """Log of the most energy that a body makes of oxygen, up to a constant, and its spread.

    How much of it somebody gives in a class differs as `GIVEN_SPREAD` says.
    """
    body = body_of(athlete, on)
    spread = np.hypot(np.hypot(body.mass_sd, body.vo2max_sd), GIVEN_SPREAD)
    return float(np.log(body.vo2max * body.mass_kg)), float(spread)


def power_level_evidence(level: float, bodies: Floats, spreads: Floats, usual: float) -> Floats:
    """Per athlete, log evidence of whose power a machine's file shows.

    level: of `power_level`. bodies, spreads: of `body_level`. usual: what levels are above bodies
    in this class.
    """
    if not np.isfinite(level) or not np.isfinite(usual):
        return np.zeros(len(bodies))
    return _near(level, usual + bodies, spreads)


def device_evidence(seen: Mapping[str, int], athletes: Sequence[str], *, worn: bool) -> Floats:
    """Per athlete, log evidence of whose a device is that earlier classes know; 0 where none does.

    seen: in how many classes each athlete had it, whether here today or not. The share of classes,
    with one class in all (a device that is worn) or one each (a machine, which stands there for
    everybody) spread over those who are here, against an equal chance for each of them. Capped, so
    that by itself it outweighs neither the name on a file nor a heart that clearly answers
    somebody's machine.
    """
    total = sum(seen.values())
    if total == 0 or not athletes:
        return np.zeros(len(athletes))
    people = len(athletes)
    counts = np.array([seen.get(athlete, 0) for athlete in athletes], dtype=np.float64)
    each = 1 / people if worn else 1.0
    share = (counts + each) / (total + each * people)
    return np.asarray(np.clip(np.log(share * people), OTHERS_DEVICE, OWN_DEVICE))
