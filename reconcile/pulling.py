"""When somebody pulls and when the flywheel only runs on, sample by sample and to the edge.

An air-braked flywheel that nobody drives loses speed as dv/dt = −κ·v² (the brake takes P = k·v³
from an energy m·v²/2), so 1/v grows in a straight line; where friction or a display's smoothing
rules, dv/dt = −κ·v and −ln v does. Each file is taken by the law that its own runs keep better. The
line tells coasting from pulling where a display holds its last power or a file has none, and gives
the moment of the last pull between two samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats

Bools = NDArray[np.bool_]

MOVING_SPEED_M_S = 0.6
LEAST_POWER_W = 4.0
# A break in the pulling shorter than this is a stroke's recovery or a lost sample, not a stop.
SHORTEST_BREAK_S = 2.6
SHORTEST_PULL_S = 1.5
# Samples at least so far apart are strokes, each the time since the one before.
SHORTEST_STROKE_S = 1.4
# Samples further apart than this, and than so many times a long step of the file's own, were not
# taken on the way: the device paused or lost contact.
LEAST_GAP_S, TIMES_A_LONG_STEP, LONG_STEP = 6.0, 1.2, 0.8
# A display that holds its last power does so for up to this long (a sample's mean adds one second).
LONGEST_HOLD_S = 4.6
MOST_REPEATS = 0.25
# A fall is coasting where 1/v grows by at least this share of the file's usual coasting.
COASTING_SHARE = 0.4
# A calorie that takes so many times as long as usual was added by the flywheel, not by pulling.
LONGEST_CALORIE = 1.6
LEAST_FALL = 0.75
# Below this a display's rounding and the last turns tell nothing of how the wheel slows down.
LEAST_LAW_SPEED_M_S = 0.8
# Steps of coasting that a law can be told from, and how much less they must stray from another.
LEAST_FOR_LAW, SURELY_BETTER = 8, 0.8


@dataclass(frozen=True, eq=False)
class Coasting:
    """Which samples are taken while the flywheel runs on, and how it slows down.

    slope: by how much `run_down` grows a second; None where the file does not tell.
    by_air: whether the air brakes (dv/dt = −κ·v²), else friction (−κ·v).
    """

    samples: Bools
    slope: float | None
    by_air: bool = True

    def run_down(self, speed_m_s: Floats | float) -> Floats:
        """What grows in a straight line while nobody pulls: 1/v, or −ln v."""
        speed = np.asarray(speed_m_s, dtype=np.float64)
        return 1 / speed if self.by_air else -np.log(speed)


def longest_step_s(time_s: Floats) -> float:
    """From this time between two samples on, the device was not recording; see `LEAST_GAP_S`."""
    if len(time_s) < 2:
        return LEAST_GAP_S
    return max(LEAST_GAP_S, TIMES_A_LONG_STEP * float(np.quantile(np.diff(time_s), LONG_STEP)))


def coasting(time_s: Floats, speed: Floats) -> Coasting:
    """Samples at which the machine coasts, by its speed alone (m/s, NaN missing)."""
    known = np.nan_to_num(speed)
    none = np.zeros(len(known), dtype=bool)
    if len(known) < 3:
        return Coasting(none, None)
    step = np.diff(time_s)
    falling = np.concatenate([[False], (np.diff(known) < 0) & (step < longest_step_s(time_s))])
    edges = np.diff(np.concatenate([[0], falling.astype(int), [0]]))
    begins, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    runs = [
        (a, b)
        for a, b in zip(begins, ends, strict=True)
        if known[b - 1] < LEAST_FALL * known[a - 1] and known[a - 1] > MOVING_SPEED_M_S
    ]
    if not runs:
        return Coasting(none, None)
    air, friction = (_law(known, step, runs, by_air=by_air) for by_air in (True, False))
    by_air = friction.spread >= SURELY_BETTER * air.spread
    growth, slope = (air if by_air else friction).growth, (air if by_air else friction).slope
    if slope is None:
        return Coasting(none, None)
    found = none.copy()
    for a, b in runs:  # a run, not a sample
        steep_enough = growth[a - 1 : b - 1] >= COASTING_SHARE * slope
        steep_enough[1:-1] |= steep_enough[:-2] & steep_enough[2:]
        found[a:b] = steep_enough
    return Coasting(found, slope, by_air)


@dataclass(frozen=True, eq=False)
class _Law:
    """How `run_down` grows between samples, per second: by law, and how well that is kept.

    slope: its usual growth while coasting. spread: of the growth within a run, relative to its
    mean; infinite where too few samples tell.
    """

    growth: Floats
    slope: float | None
    spread: float


def _law(speed: Floats, step_s: Floats, runs: Sequence[tuple[int, int]], *, by_air: bool) -> _Law:
    """One law in the runs of falling speed; judged inside of them, where nobody pulls any more."""
    moving = speed > 0.3
    run_down = Coasting(moving, None, by_air).run_down(np.where(moving, speed, 1.0))
    growth = np.where(moving[1:] & moving[:-1], np.diff(run_down) / step_s, np.inf)
    steep = np.concatenate([growth[a - 1 : b - 1] for a, b in runs])
    steep = steep[np.isfinite(steep) & (steep > 0)]
    if len(steep) == 0:
        return _Law(growth, None, np.inf)
    slope = float(np.percentile(steep, 60))
    parts = [
        part[part >= COASTING_SHARE * slope]
        for a, b in runs
        if len(part := growth[a : b - 1][speed[a + 1 : b] > LEAST_LAW_SPEED_M_S])
    ]
    inside = np.concatenate(parts) if parts else steep[:0]
    if len(inside) < LEAST_FOR_LAW:
        return _Law(growth, slope, np.inf)
    off = np.concatenate([part / part.mean() - 1 for part in parts if len(part) > 0])
    return _Law(growth, float(np.median(inside)), float(np.sqrt(np.mean(off**2))))


def pulling_samples(
    time_s: Floats,
    power: Floats | None,
    cadence: Floats | None,
    free: Coasting,
    speed: Floats | None,
) -> Bools:
    """At each sample, whether the athlete was pulling (not coasting, not still)."""
    strokes = np.full(len(time_s), np.nan) if cadence is None else cadence
    has_cadence = bool(np.nanmax(strokes, initial=0.0) > 0)
    if power is not None:
        shown = np.nan_to_num(power)
        pulling = shown > LEAST_POWER_W
        # A first stroke that only began before its sample shows next to nothing.
        pulling[1:-1] |= (shown[1:-1] > 0) & (shown[:-2] == 0) & pulling[2:]
        idle = free.samples.copy()
        if has_cadence:
            idle |= strokes == 0
        if speed is None and not has_cadence:
            # Stroke noise makes exact repeats rare while somebody pulls, so that a tail of them is
            # the display; where a machine holds its power throughout they tell nothing.
            repeats = np.concatenate([[False], np.diff(np.nan_to_num(power)) == 0])
            if pulling.any() and float(np.mean(repeats[pulling])) < MOST_REPEATS:
                idle |= repeats
        pulling &= ~_tails(time_s, pulling, idle)
        missing = ~np.isfinite(power)
        if speed is not None and missing.any():
            pulling |= missing & (np.nan_to_num(speed) > MOVING_SPEED_M_S) & ~free.samples
        return pulling
    if speed is not None:
        pulling = (np.nan_to_num(speed) > MOVING_SPEED_M_S) & ~free.samples
        if has_cadence:
            pulling &= strokes != 0
        return pulling
    if has_cadence:
        return np.nan_to_num(strokes) > 0
    return np.zeros(len(time_s), dtype=bool)


def pulling_by_count(time_s: Floats, count: Floats) -> Bools:
    """At each sample, whether the display's count kept growing, where a file tells nothing else."""
    known = np.flatnonzero(np.isfinite(count))
    rises = known[1:][np.diff(count[known]) > 0]
    pulling = np.zeros(len(time_s), dtype=bool)
    if len(rises) < 3:
        return pulling
    taken_s = np.diff(time_s[rises])
    for row in np.flatnonzero(taken_s <= LONGEST_CALORIE * np.median(taken_s)):  # a calorie each
        pulling[rises[row] : rises[row + 1] + 1] = True
    return pulling


def _tails(time_s: Floats, pulling: Bools, idle: Bools) -> Bools:
    """Idle samples at the end of each run of pulling, no longer than a display holds."""
    ends = np.flatnonzero(pulling & ~np.concatenate([pulling[1:], [False]]))
    held = np.zeros(len(pulling), dtype=bool)
    for end in ends.tolist():  # a run's end, not a sample
        first = end
        while (
            first > 0
            and idle[first]
            and pulling[first]
            and time_s[end] - time_s[first - 1] <= LONGEST_HOLD_S
        ):
            first -= 1
        held[first + 1 : end + 1] = True
        if idle[first] and pulling[first] and first < end:
            held[first] = not pulling[max(first - 1, 0)]
    return held


def pull_edges(
    time_s: Floats, pulling: Bools, speed: Floats | None, free: Coasting, *, averaged: bool
) -> tuple[Floats, Floats, NDArray[np.intp], NDArray[np.intp]]:
    """Start and end of every run of pulling, s, and the indices of its first and last sample.

    Breaks shorter than a stroke's recovery are bridged and single samples dropped. A start lies
    half-way between the samples around it; so does an end, unless the coasting after it tells more.
    A gap ends a run: what was done while nothing was recorded is not known; a row a stroke stands
    for the time before it.
    averaged: a sample's speed is the mean since the sample before it.
    """
    longest_s = longest_step_s(time_s)
    gone_on = pulling[1:] & pulling[:-1] & (np.diff(time_s) <= longest_s)
    starts = np.flatnonzero(pulling & ~np.concatenate([[False], gone_on]))
    ends = np.flatnonzero(pulling & ~np.concatenate([gone_on, [False]]))
    if len(starts) == 0:
        return np.zeros(0), np.zeros(0), starts, ends
    usual_step = float(np.median(np.diff(time_s)))
    before = np.concatenate([time_s[:1], time_s[:-1]])
    after = np.concatenate([time_s[1:], time_s[-1:]])
    start_s = np.where(
        time_s[starts] - before[starts] <= longest_s,
        (time_s[starts] + before[starts]) / 2,
        time_s[starts] - usual_step / 2,
    )
    end_s = np.where(
        after[ends] - time_s[ends] <= longest_s,
        (time_s[ends] + after[ends]) / 2,
        time_s[ends] + (usual_step / 2 if usual_step < SHORTEST_STROKE_S else 0.0),
    )
    if speed is not None and free.slope is not None:
        refined = [
            _end_by_coasting(time_s, speed, free, int(j), averaged=averaged, longest_s=longest_s)
            for j in ends
        ]
        end_s = np.array(
            [old if new is None else new for old, new in zip(end_s, refined, strict=True)]
        )
    split = np.flatnonzero(start_s[1:] - end_s[:-1] >= SHORTEST_BREAK_S)
    firsts = np.concatenate([[0], split + 1]).astype(np.intp)
    lasts = np.concatenate([split, [len(starts) - 1]]).astype(np.intp)
    kept = end_s[lasts] - start_s[firsts] >= SHORTEST_PULL_S
    firsts, lasts = firsts[kept], lasts[kept]
    return start_s[firsts], end_s[lasts], starts[firsts], ends[lasts]


def _end_by_coasting(
    time_s: Floats,
    speed: Floats,
    free: Coasting,
    last: int,
    *,
    averaged: bool,
    longest_s: float,
) -> float | None:
    """Where the straight line of 1/v while coasting meets the speed of the last pulls.

    longest_s: of `longest_step_s`.
    """
    assert free.slope is not None
    after = np.arange(last + 1, min(last + 4, len(time_s)))
    after = after[free.samples[after] & (speed[after] > 0.8)]
    if len(after) == 0 or time_s[after[0]] - time_s[last] > longest_s:
        return None
    pulled = float(np.median(speed[max(last - 2, 0) : last + 1]))
    if not pulled > MOVING_SPEED_M_S:  # the sensor lost the wheel while it was pulled
        return None
    at_s = time_s[after] - ((time_s[after] - time_s[after - 1]) / 2 if averaged else 0.0)
    meets = at_s - (free.run_down(speed[after]) - free.run_down(pulled)) / free.slope
    # The first coasting sample of a mean may hold some pulling; the later ones are pure.
    estimate = float(np.mean(meets[1:] if averaged and len(meets) > 1 else meets[:2]))
    return float(np.clip(estimate, time_s[last] - 1.2, time_s[last + 1] + 0.2))


def speed_is_mean(time_s: Floats, speed: Floats, distance: Floats | None, free: Coasting) -> bool:
    """Whether a sample's speed is the mean since the last one, judged by the distance."""
    if distance is None:
        return False
    chosen = np.flatnonzero(free.samples)
    chosen = chosen[chosen > 0]
    if len(chosen) < 4:
        return False
    step = time_s[chosen] - time_s[chosen - 1]
    travelled = (distance[chosen] - distance[chosen - 1]) / step
    as_mean = np.nanmedian(np.abs(speed[chosen] - travelled))
    at_once = np.nanmedian(np.abs((speed[chosen] + speed[chosen - 1]) / 2 - travelled))
    return bool(as_mean < at_once)
