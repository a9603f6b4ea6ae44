"""Evidence of whose recording it is.

A machine's file and a heart rate belong together where the heart answers that machine's work better
than it answers the plan; two heart rates where they are the same heart. The sheet says which
machine an athlete used and what they read off it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.align.heart import (
    HEART_STEP_S,
    SAMPLES_PER_INDEPENDENT,
    WHITENING,
    WHITENING_LAG,
    step_demand,
)
from reconcile.align.signals import Signals
from reconcile.classes import Athlete
from reconcile.filters import convolve_full
from reconcile.machine import MachineTrack
from reconcile.timeline import PlannedStep

# Judgement, no source.
OTHER_EQUIPMENT = np.log(0.02)
SAME_EQUIPMENT = np.log(2.0)
# Few people wear two heart-rate sensors.
SECOND_SENSOR = np.log(0.04)
# Nobody works two machines at once, though a phone may record one of them beside its own file.
TWO_MACHINES = -9.0
# A logged score is near what the machine counted about this often.
SCORE_NEAR = 0.75
SCORE_SPREAD = 0.012
LINEAR_TIME_CONSTANTS_S = (25.0, 40.0, 60.0)
PAIR_DELAYS = (1, 3, 4, 6, 8, 11)
LEAST_COMMON = 60
LEAST_MACHINES = 4
SAME_HEART_BPM = 1.5
OTHER_HEART_BPM = 11.0
SAME_WORK = 0.03
HARD_SHARE = 0.94
# The most that a device's mark says for an athlete who had it before, and against the others.
OWN_DEVICE, OTHERS_DEVICE = 2.0, -1.7
UNKNOWN_MAX_HR = 183.0
OTHER_WORK = 0.2


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


def plan_signal(starts_s: Sequence[float], steps: Sequence[Sequence[PlannedStep]]) -> ClassSignal:
    """The work that the plan asks of an athlete, from five minutes before it to five after."""
    margin = 300.0
    first = round((min(starts_s) - margin) / HEART_STEP_S)
    last_s = max(start + block[-1].end_s for start, block in zip(starts_s, steps, strict=True))
    at_s = np.arange(first, round((last_s + margin) / HEART_STEP_S) + 1) * HEART_STEP_S
    values = np.zeros(len(at_s))
    for start_s, block in zip(starts_s, steps, strict=True):
        for step in block:
            inside = (at_s >= start_s + step.start_s) & (at_s < start_s + step.end_s)
            values[inside] = step_demand(step)
    return ClassSignal(first, values)


def _linear_answers(work: Floats) -> Floats:
    """(constant, time) first-order answers to work, without delay."""
    lag_s = np.arange(0.0, 6 * max(LINEAR_TIME_CONSTANTS_S), HEART_STEP_S)
    kernels = [np.exp(-lag_s / tau) for tau in LINEAR_TIME_CONSTANTS_S]
    return np.stack([convolve_full(k / k.sum(), work)[: len(work)] for k in kernels])


def heart_explained_by(heart: ClassSignal, rows: Sequence[ClassSignal]) -> float:
    """Log evidence that work of these kinds together explains a heart rate.

    Up to a constant that is common to all explanations of the same heart.
    """
    lag = WHITENING_LAG
    count = len(heart.values)
    signal = heart.values[lag:] - WHITENING * heart.values[:-lag]
    good = np.isfinite(signal)
    samples = int(np.count_nonzero(good))
    if samples < 60:
        return 0.0
    target = signal[good]
    lead = 150
    answers = [_linear_answers(row.on(heart.first - lead, count + lead, 0.0)) for row in rows]
    trend = np.stack([np.ones(count - lag), np.linspace(-1, 1, count - lag)])[:, good]
    best = -np.inf
    for delay in PAIR_DELAYS:
        for response in range(len(LINEAR_TIME_CONSTANTS_S)):
            shifted = [a[response, lead - delay : lead - delay + count] for a in answers]
            white = [row[lag:] - WHITENING * row[:-lag] for row in shifted]
            design = np.concatenate([trend, np.stack(white)[:, good]])
            gram = design @ design.T + 1e-3 * np.eye(len(design))
            cross = design @ target
            fitted = np.linalg.solve(gram, cross)
            rss = float(target @ target - fitted @ cross)
            if fitted[2:].min() < -5.0:
                rss *= 1.1
            best = max(best, -0.5 * samples / SAMPLES_PER_INDEPENDENT * np.log(max(rss, 1e-6)))
    return best


def same_heart_evidence(first: ClassSignal, second: ClassSignal) -> float:
    """Log ratio of "the same heart" against "two hearts under one plan".

    Told by how far apart two recordings of heart rate are: two sensors on one heart differ by a
    beat or two for most of the time, two hearts by ten.
    """
    apart = np.inf
    for move in range(-2, 10):  # a wrist sensor comes later than a strap
        gap = np.abs(first.on(second.first - move, len(second.values), np.nan) - second.values)
        gap = gap[np.isfinite(gap)]
        if len(gap) >= LEAST_COMMON:
            apart = min(apart, float(np.median(gap)))
    if not np.isfinite(apart):
        return 0.0
    same = 0.9 * np.exp(-apart / SAME_HEART_BPM) / SAME_HEART_BPM + 0.1 / 30
    z = (np.log(max(apart, 0.5)) - np.log(OTHER_HEART_BPM)) / 0.6
    other = np.exp(-0.5 * z * z) / (0.6 * np.sqrt(2 * np.pi) * max(apart, 0.5)) + 0.001
    return float(np.log(same / other))


def best_of_gains(gains: Floats) -> Floats:
    """Log ratios of "this machine's work drove this heart" against "another's did".

    gains: how much better each machine's work explains one heart than the plan alone does. All
    follow one plan, so that every machine explains something: only the differences count.
    """
    if len(gains) < LEAST_MACHINES:
        return np.clip(0.3 * (gains - 5.0), -2.0, 3.0)
    rest = np.sort(gains)[:-1]
    scaled = gains / (1.0 + 0.1 * float(np.std(rest)))
    share = np.exp(scaled - scaled.max())
    share /= share.sum()
    return np.asarray(np.log(0.93 * share * len(gains) + 0.07))


def same_work_evidence(first: ClassSignal, second: ClassSignal) -> float:
    """Log ratio of "one machine's work recorded twice" against "two people on two machines".

    Twice the same work differs by a few per cent from moment to moment, two people by more.
    """
    apart = np.inf
    for move in range(-3, 4):
        other = second.on(first.first + move, len(first.values), 0.0)
        either = (first.values > 0.05) | (other > 0.05)
        if np.count_nonzero(either) >= LEAST_COMMON / 2:
            gap = np.abs(first.values - other)[either] / np.maximum(first.values, other)[either]
            apart = min(apart, float(np.median(gap)))
    if not np.isfinite(apart):
        return 0.0
    same = 0.9 * np.exp(-apart / SAME_WORK) / SAME_WORK + 0.1
    z = (np.log(max(apart, 0.005)) - np.log(OTHER_WORK)) / 0.6
    other_density = np.exp(-0.5 * z * z) / (0.6 * np.sqrt(2 * np.pi) * max(apart, 0.005)) + 0.01
    return float(np.log(same / other_density))


def heart_level_evidence(heart: Floats, people: Sequence[Athlete], year: int) -> Floats:
    """Per athlete, log evidence of how near their highest heart rate a recording's peak lies.

    Highest heart rate as the roster says, else by age: Tanaka et al. 2001, 208 − 0.7 · age (from
    memory), ± 10. A hard class takes people to some 94 % of it (judgement).
    """
    known = heart[np.isfinite(heart)]
    if len(known) < LEAST_COMMON:
        return np.zeros(len(people))
    peak = float(np.percentile(known, 98))
    usual = HARD_SHARE * np.array(
        [
            a.max_hr or (208 - 0.7 * (year - a.birth_year) if a.birth_year else UNKNOWN_MAX_HR)
            for a in people
        ]
    )
    spread = np.array([8.0 if a.max_hr else 12.0 if a.birth_year else 15.0 for a in people])
    log_density = np.logaddexp(
        -0.5 * ((peak - usual) / spread) ** 2 - np.log(spread), np.log(0.002)
    )
    return np.asarray(log_density - np.mean(log_density))


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


def score_evidence(logged: float | None, recorded: float | None) -> float:
    """Log ratio of a logged number under "read off this machine" against "read off another"."""
    if logged is None or recorded is None or not recorded > 0:
        return 0.0
    sd = max(SCORE_SPREAD * recorded, 0.7)
    near = np.exp(-0.5 * ((logged - recorded - 0.3) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    spread = 0.25 * recorded
    far = np.exp(-0.5 * ((logged - recorded) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    far = max(far, 0.05 / recorded)
    return float(np.log((SCORE_NEAR * near + (1 - SCORE_NEAR) * far) / far))
