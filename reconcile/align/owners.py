"""Whose recording it is: every file against every athlete, solved for the class as a whole.

A machine's file and a heart rate belong together where the heart answers that machine's work better
than it answers the plan; two heart rates where they are the same heart. The sheet says which
machine an athlete used and what they read off it. A file keeps the name that it was uploaded under
unless the evidence outweighs how rarely people take the wrong one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.signal import lfilter

from ingest.recording import Floats
from reconcile.align.heart import (
    HEART_STEP_S,
    SAMPLES_PER_INDEPENDENT,
    WHITENING,
    WHITENING_LAG,
    step_demand,
)
from reconcile.align.signals import Signals
from reconcile.machine import MachineTrack
from reconcile.timeline import PlannedStep

# Judgement, no source: how often a file is under the wrong name, and nobody's in the class.
WRONG_NAME = 0.05
NOBODYS = 0.02
UNASSIGNED_NOBODYS = 0.08
OTHER_EQUIPMENT = np.log(0.02)
SAME_EQUIPMENT = np.log(2.0)
# A logged score is near what the machine counted about this often.
SCORE_NEAR = 0.75
SCORE_SPREAD = 0.012
# Evidence from one pair of signals is never taken for more than this (nats).
MOST_EVIDENCE = 25.0
LINEAR_TIME_CONSTANTS_S = (25.0, 40.0, 60.0)
PAIR_DELAYS = (1, 3, 4, 6, 8, 11)


@dataclass(frozen=True, eq=False)
class Ownership:
    """A file's likeliest owner (None: nobody of this class) and how probable that is."""

    file: str
    owner: str | None
    probability: float


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
    keep = np.exp(-HEART_STEP_S / np.array(LINEAR_TIME_CONSTANTS_S))
    return np.stack([lfilter([1 - k], [1, -k], work) for k in keep])


def heart_explained_by(heart: ClassSignal, rows: Sequence[ClassSignal]) -> float:
    """Log evidence that work of these kinds together explains a heart rate, up to a constant that
    is common to all explanations of the same heart.
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
    """Evidence that two recordings hold the same heart: how much of the change from moment to
    moment in the second the first explains, against what two hearts under one plan share.
    """
    count = len(second.values)
    lag = WHITENING_LAG
    best = 0.0
    found = False
    for move in range(-3, 12):  # an optical sensor comes later than a strap
        a = first.on(second.first - move, count, np.nan)
        a, b = (
            a[lag:] - WHITENING * a[:-lag],
            second.values[lag:] - WHITENING * second.values[:-lag],
        )
        good = np.isfinite(a) & np.isfinite(b)
        samples = int(np.count_nonzero(good))
        if samples < 60 or np.std(a[good]) < 1e-6 or np.std(b[good]) < 1e-6:
            continue
        found = True
        rho = max(float(np.corrcoef(a[good], b[good])[0, 1]), 0.0)
        best = max(best, -0.5 * samples / SAMPLES_PER_INDEPENDENT * np.log(max(1 - rho**2, 0.01)))
    return best if found else 0.0


def score_evidence(logged: float | None, recorded: float | None) -> float:
    """Log ratio of a logged score under "read off this machine" against "read off another"."""
    if logged is None or recorded is None or recorded <= 0:
        return 0.0
    sd = max(SCORE_SPREAD * recorded, 0.7)
    near = np.exp(-0.5 * ((logged - recorded - 0.3) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    spread = 0.25 * recorded
    far = np.exp(-0.5 * ((logged - recorded) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    far = max(far, 0.05 / recorded)
    return float(np.log((SCORE_NEAR * near + (1 - SCORE_NEAR) * far) / far))


def solve(
    files: Sequence[str],
    uploaders: Sequence[tuple[str, ...]],
    athletes: Sequence[str],
    evidence: Floats,
    exclusive: Sequence[Sequence[bool]],
) -> list[Ownership]:
    """Owners of files of one kind.

    evidence: (file, athlete) log ratios against "belongs to nobody here". exclusive[i][j]: files i
    and j overlap in time, so one athlete cannot have recorded both.
    """
    count, people = evidence.shape
    total = np.empty((count, people + count))
    total[:] = -1e3
    for i, names in enumerate(uploaders):
        for j, athlete in enumerate(athletes):
            if names:
                share = (
                    1 - WRONG_NAME - NOBODYS
                    if athlete in names
                    else WRONG_NAME / max(people - 1, 1)
                )
            else:
                share = (1 - UNASSIGNED_NOBODYS) / max(people, 1)
            total[i, j] = np.log(share) + evidence[i, j]
        total[i, people + i] = np.log(NOBODYS if names else UNASSIGNED_NOBODYS)
    owners: dict[int, int] = {}
    left = list(range(count))
    # An athlete may own several files that do not overlap: solve, fix, and solve again for those
    # left over with the athletes for whom they do not clash.
    while left:
        cost = -total[left]
        for row, i in enumerate(left):
            for k, j in owners.items():
                if exclusive[i][k] and j < people:
                    cost[row, j] = 1e3
        rows, columns = linear_sum_assignment(cost)
        fixed = dict(zip((left[r] for r in rows), (int(c) for c in columns), strict=True))
        again = []
        for i, j in fixed.items():
            better = int(np.argmax(total[i, :people]))
            clash = any(
                exclusive[i][k] and fixed.get(k, owners.get(k)) == better
                for k in (*fixed, *owners)
                if k != i
            )
            if j >= people and not clash and total[i, better] > total[i, j]:
                again.append(i)
            else:
                owners[i] = j
        if len(again) == len(left):
            for i in again:
                owners[i] = int(np.argmax(total[i]))
            break
        left = again
    out = []
    for i, file in enumerate(files):
        j = owners[i]
        rivals = total[i].copy()
        for k, other in owners.items():
            if k != i and exclusive[i][k] and other < people and other != j:
                rivals[other] += min(total[k].max() - total[k, other], 0.0) - 1.0
        weights = np.exp(rivals - rivals.max())
        out.append(
            Ownership(
                file,
                athletes[j] if j < people else None,
                float(weights[j] / weights.sum()),
            )
        )
    return out
