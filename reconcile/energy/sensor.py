"""Doubt about a heart-rate sensor, sample by sample.

A wrist sensor was out by a mean 13 % in trail running where a chest strap was out by 2 % (PLoS One
2020, 0238569, read), two of four devices under-read above about 150 a minute (Bioengineering 2023,
read), and gripping and lifting make it worse (10 to 30 %, from memory). What gives it away: values
that hold, fall out, jump, follow the cadence, or answer work far too late. The thresholds are
judgement. A doubt lowers the weight of heart rate; it never says what heart rate was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats, Problem

Bools = NDArray[np.bool_]

POSSIBLE_BPM = (35.0, 225.0)
FROZEN_S, FROZEN_STEPPED_S, FROZEN_STEP_BPM = 50.0, 18.0, 6.0
# A step of more than this is not a heart. Common practice, no source.
JUMP_BPM_PER_S = 20.0
AFTER_JUMP_S = 4.0
LOCKED_WITHIN_BPM = 3.0
LOCKED_S = 20.0
LEAP_S, LEAP_BPM = 8.0, 14.0
FOLLOWED_CHANGE = 3.0
# Roughness: a heart's rate bends by well under 2 per minute from one second to the next.
ROUGH_BPM = 4.0
ROUGH_WINDOW_S = 21.0
LATE_BY_S = 12.0

TRUST_FROZEN, TRUST_JUMP, TRUST_LOCKED, TRUST_ROUGH, TRUST_LATE = 0.0, 0.2, 0.0, 0.5, 0.6


@dataclass(frozen=True, eq=False)
class SensorDoubt:
    """How far each sample can be trusted (0 to 1), and what was found."""

    trust: Floats
    problems: tuple[Problem, ...]


def doubt(time_s: Floats, bpm: Floats, cadence_per_min: Floats | None = None) -> SensorDoubt:
    """Trust in each sample of a heart-rate column, and a problem for each thing found.

    time_s: seconds, increasing. bpm: NaN where missing. cadence_per_min: steps or strokes a minute
    on the same clock, NaN where missing, None where nothing recorded them.
    """
    time_s, bpm = np.asarray(time_s, float), np.asarray(bpm, float)
    if len(time_s) < 3:
        return SensorDoubt(np.isfinite(bpm).astype(float), ())
    missing = ~np.isfinite(bpm) | (bpm < POSSIBLE_BPM[0]) | (bpm > POSSIBLE_BPM[1])
    found: list[tuple[str, str, Bools, float]] = [
        ("heart_rate_dropped", "no credible heart rate", missing, 0.0),
        (
            "heart_rate_frozen",
            "heart rate did not change at all",
            frozen(time_s, bpm),
            TRUST_FROZEN,
        ),
        ("heart_rate_jumped", "heart rate jumped", jumped(time_s, bpm), TRUST_JUMP),
        ("heart_rate_rough", "heart rate was noisy", rough(time_s, bpm), TRUST_ROUGH),
    ]
    if cadence_per_min is not None:
        locked = locked_to_cadence(time_s, bpm, np.asarray(cadence_per_min, float))
        found.append(("heart_rate_locked", "heart rate followed the cadence", locked, TRUST_LOCKED))
    trust = np.ones(len(time_s))
    problems = []
    for code, words, mask, worth in found:
        trust = np.where(mask, np.minimum(trust, worth), trust)
        problem = _problem(code, words, time_s, mask)
        if problem is not None:
            problems.append(problem)
    return SensorDoubt(trust, tuple(problems))


def _problem(code: str, words: str, time_s: Floats, mask: Bools) -> Problem | None:
    """A problem that says where and how much, or None below 10 s in all."""
    step = np.diff(time_s, append=time_s[-1])
    total_s = float(np.sum(np.minimum(step, 10.0)[mask]))
    if total_s < 10:
        return None
    first, last = time_s[mask][0], time_s[mask][-1]
    share = total_s / max(float(time_s[-1] - time_s[0]), 1.0)
    return Problem(
        code,
        f"{words} for {total_s:.0f} s between {_clock(first)} and {_clock(last)} of the recording "
        f"({100 * share:.0f} % of it)",
    )


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _runs(mask: Bools) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last index of each run of true values."""
    edges = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1


def _long_runs(time_s: Floats, mask: Bools, at_least_s: float) -> Bools:
    """The mask without its runs that are shorter than `at_least_s`."""
    first, last = _runs(mask)
    long = time_s[last] - time_s[first] >= at_least_s
    marks = np.zeros(len(mask) + 1)
    np.add.at(marks, first[long], 1)
    np.add.at(marks, last[long] + 1, -1)
    return np.asarray(np.cumsum(marks)[:-1] > 0)


def frozen(time_s: Floats, bpm: Floats) -> Bools:
    """Runs of one and the same value for longer than a heart holds still, or let go by a step.

    In 16 people measured at 1 Hz for an hour each, no whole-number rate held for more than 33 s,
    and none that held for 25 s began or ended with a step of 5.
    """
    edges = np.flatnonzero(np.concatenate([[True], np.diff(bpm) != 0]))
    last = np.concatenate([edges[1:] - 1, [len(bpm) - 1]])
    lasts = time_s[last] - time_s[edges]
    into = np.abs(bpm[edges] - bpm[np.maximum(edges - 1, 0)])
    out = np.abs(bpm[np.minimum(last + 1, len(bpm) - 1)] - bpm[last])
    stepped = np.maximum(np.nan_to_num(into), np.nan_to_num(out)) >= FROZEN_STEP_BPM
    held = (lasts >= FROZEN_S) | ((lasts >= FROZEN_STEPPED_S) & stepped)
    marks = np.zeros(len(bpm) + 1)
    np.add.at(marks, edges[held], 1)
    np.add.at(marks, last[held] + 1, -1)
    return np.asarray(np.cumsum(marks)[:-1] > 0)


def jumped(time_s: Floats, bpm: Floats) -> Bools:
    """Samples within a few seconds of a step that no heart makes."""
    known = np.flatnonzero(np.isfinite(bpm))
    if len(known) < 2:
        return np.zeros(len(bpm), dtype=bool)
    passed = np.diff(time_s[known])
    jump = np.abs(np.diff(bpm[known])) > JUMP_BPM_PER_S * np.clip(passed, 1.0, 3.0)
    at = time_s[known][1:][jump]
    if len(at) == 0:
        return np.zeros(len(bpm), dtype=bool)
    after = np.searchsorted(at, time_s, side="right") - 1
    before = np.clip(after + 1, 0, len(at) - 1)
    near = (after >= 0) & (time_s - at[np.maximum(after, 0)] <= AFTER_JUMP_S)
    near |= np.abs(at[before] - time_s) <= 1.0
    return np.asarray(near)


def rough(time_s: Floats, bpm: Floats) -> Bools:
    """Samples around which the rate scatters from second to second more than hearts do."""
    known = np.isfinite(bpm)
    if np.count_nonzero(known) < 10:
        return np.zeros(len(bpm), dtype=bool)
    at, value = time_s[known], bpm[known]
    passed = at[2:] - at[:-2]
    line = value[:-2] + (value[2:] - value[:-2]) * (at[1:-1] - at[:-2]) / passed
    bend = np.where(passed <= 6.0, np.abs(value[1:-1] - line), 0.0)
    running = np.concatenate([[0.0], np.cumsum(bend)])
    low = np.searchsorted(at[1:-1], time_s - ROUGH_WINDOW_S / 2)
    high = np.searchsorted(at[1:-1], time_s + ROUGH_WINDOW_S / 2)
    mean = (running[high] - running[low]) / np.maximum(high - low, 1)
    return np.asarray((mean > ROUGH_BPM * 0.6) & (high - low >= 5))


def locked_to_cadence(time_s: Floats, bpm: Floats, cadence_per_min: Floats) -> Bools:
    """Stretches in which heart rate equals the cadence, or twice it, for 20 s and more.

    A runner's heart may come to beat as fast as the feet by chance, so one thing more is asked:
    that heart rate came there or left by a leap, or that it follows a cadence that changes.
    """
    locked = np.zeros(len(bpm), dtype=bool)
    for multiple in (1.0, 2.0):
        target = multiple * cadence_per_min
        close = np.abs(bpm - target) <= LOCKED_WITHIN_BPM
        close &= np.isfinite(target) & (target >= POSSIBLE_BPM[0])
        for first, last in zip(*_runs(_long_runs(time_s, close, LOCKED_S)), strict=True):  # runs
            inside = slice(first, last + 1)
            before = np.searchsorted(time_s, time_s[first] - LEAP_S)
            after = min(int(np.searchsorted(time_s, time_s[last] + LEAP_S)), len(bpm) - 1)
            leap = max(abs(bpm[first] - bpm[before]), abs(bpm[after] - bpm[last]))
            follows = False
            if np.std(target[inside]) >= FOLLOWED_CHANGE:
                follows = bool(np.corrcoef(bpm[inside], target[inside])[0, 1] >= 0.8)
            locked[inside] |= follows or bool(leap >= LEAP_BPM)
    return locked


def late(
    time_s: Floats, bpm: Floats, trust: Floats, work_start_s: Floats, work_end_s: Floats
) -> float | None:
    """Seconds by which heart rate answers later than hearts do, over repeated work; None if unsure.

    Each work window of 30 s and more, with rest before it, gives the time from its start to the
    lowest smoothed heart rate near it; a heart turns upward about 8 s into the work.
    """
    usable = np.isfinite(bpm) & (trust > 0.5)
    if np.count_nonzero(usable) < 60:
        return None
    filled = np.interp(time_s, time_s[usable], bpm[usable])
    smooth = np.convolve(np.pad(filled, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    turns = []
    for start, end in zip(work_start_s, work_end_s, strict=True):  # windows, not samples
        inside = (time_s >= start - 10) & (time_s <= min(end, start + 45))
        if end - start < 30 or np.count_nonzero(inside) < 40:
            continue
        piece, clock = smooth[inside], time_s[inside]
        low = int(np.argmin(piece))
        if piece[-1] - piece[low] >= 8:
            turns.append(float(clock[low] - start))
    if len(turns) < 3:
        return None
    return float(np.median(turns)) - 6.0
