"""Lags: the heart answers work late, and oxygen is taken up late; both are undone or added here.

Both are taken as a delay and one exponential, so that what went in over a window is what came out
over the window, shifted, plus what is still on its way.
"""

from __future__ import annotations

import numpy as np

from ingest.recording import Floats
from reconcile.filters import first_order

# Heart rate: on in 20 to 40 s, off in 50 to 90 s (from memory); it lagged oxygen energy, itself
# about half a minute late, by a median of 12 s (4 to 18) over 36 intermittent sessions.
HEART_DELAY_S = 8.0
HEART_RISE_S = 30.0
HEART_FALL_S = 50.0
# One standard deviation of delay and time constant together, between people and devices.
HEART_LAG_SD_S = 9.0
# A wrist sensor is 0 to 2.5 s late and smooths over 2 to 5 s. Common practice, no source.
OPTICAL_DELAY_S = 3.0
# Heart rate at one instant, smoothed over 7 s, is known to about this. Judgement.
INSTANT_SD_BPM = 1.5
INSTANT_WINDOW_S = 7

# Oxygen energy after the stop: time constant 27 s after 12 s of delay, half of it gone after about
# 55 s, and some 4 MET for minutes after hard work (measured on 36 intermittent sessions). A fast
# share with these constants and a slow rest reproduce the first two and come near the third (3 to
# 4 MET: part of what is breathed then was never owed); share and slow constant are judgement.
OXYGEN_DELAY_S = 12
OXYGEN_FAST_S = 27.0
OXYGEN_SLOW_S = 300.0
OXYGEN_FAST_SHARE = 0.80


def demand_heart_rate(
    time_s: Floats, bpm: Floats, trust: Floats, start_s: Floats, end_s: Floats, *, delay_s: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """The steady heart rate that the work of each window would lead to, its lag taken back out.

    For h' = (demand − h) / τ, a delay d later, the mean demand over [a, b] is the mean of h over
    [a + d, b + d] plus τ · (h(b + d) − h(a + d)) / (b − a): exact for any course of the demand, and
    what the window before left in the heart is taken off.

    time_s, bpm, trust: a 1 Hz grid; NaN and distrusted samples are bridged.
    Returns, for each window: heart rate (NaN where nothing is left to go by), its change per second
    of lag (for the error that a wrong lag makes, common to all windows), its noise, and the mean
    trust over the window (0 where the recording does not reach).
    """
    usable = np.isfinite(bpm) & (trust > 0)
    start_s, end_s = np.asarray(start_s, float), np.asarray(end_s, float)
    if np.count_nonzero(usable) < 2 or len(start_s) == 0:
        nothing = np.full(len(start_s), np.nan)
        return nothing, nothing, nothing, np.zeros(len(start_s))
    filled = np.interp(time_s, time_s[usable], bpm[usable])
    length = np.maximum(end_s - start_s, 1e-3)
    late_start, late_end = start_s + delay_s, end_s + delay_s
    mean = _window_mean(time_s, filled, late_start, late_end)
    kernel = np.ones(INSTANT_WINDOW_S) / INSTANT_WINDOW_S
    smooth = np.convolve(np.pad(filled, INSTANT_WINDOW_S // 2, mode="edge"), kernel, mode="valid")
    rise = np.interp(late_end, time_s, smooth) - np.interp(late_start, time_s, smooth)
    constant = np.where(rise >= 0, HEART_RISE_S, HEART_FALL_S)
    known = np.where(usable, trust, 0.0)
    inside = (time_s[0] <= start_s + 1) & (time_s[-1] >= end_s - 1)
    covered = np.where(inside, _window_mean(time_s, known, start_s, late_end), 0.0)
    noise = np.sqrt(2) * INSTANT_SD_BPM * constant / length + 1.0
    heart_rate = mean + constant * rise / length
    return np.where(covered > 0, heart_rate, np.nan), rise / length, noise, covered


def _window_mean(time_s: Floats, values: Floats, start_s: Floats, end_s: Floats) -> Floats:
    """Mean over each window of a 1 Hz column taken as linear between its samples."""
    steps = (values[1:] + values[:-1]) / 2 * np.diff(time_s)
    running = np.concatenate([[0.0], np.cumsum(steps)])
    low, high = np.clip(start_s, time_s[0], time_s[-1]), np.clip(end_s, time_s[0], time_s[-1])
    span = np.maximum(high - low, 1e-9)
    return np.asarray((np.interp(high, time_s, running) - np.interp(low, time_s, running)) / span)


def oxygen_timed(demand_kcal_s: Floats) -> Floats:
    """What a mask would read, second by second, for a demand given second by second.

    demand_kcal_s: kcal per second on a 1 Hz grid. The whole comes out as it went in, only later:
    some of it after the grid's end.
    """
    before = demand_kcal_s[0]
    late = np.concatenate([np.full(OXYGEN_DELAY_S, before), demand_kcal_s[:-OXYGEN_DELAY_S]])
    late = late[: len(demand_kcal_s)]
    fast = first_order(late, OXYGEN_FAST_S)
    slow = first_order(late, OXYGEN_SLOW_S)
    return np.asarray(OXYGEN_FAST_SHARE * fast + (1 - OXYGEN_FAST_SHARE) * slow)
