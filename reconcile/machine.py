"""What a rower, ski or bike recording says of machine work: pulls, and the machine's own count.

The count of calories follows the contract of the class folder: while the machine moves it grows by
kcal/h = 4 · 0.8604 · W + 300 (common practice for air-braked machines, no source), with W the
pulled power, and while coasting the power that the air takes from the flywheel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats, Recording

Machine = Literal["rower", "ski", "bike"]
Bools = NDArray[np.bool_]

# Power of the air brake from speed, P = DRAG · v³ (W, m/s): 2.80 rower and ski, 0.35 bike (pace
# counted per 1000 m). As fixed by the contract.
DRAG: dict[Machine, float] = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
MOVING_SPEED_M_S = 0.6
KCAL_PER_HOUR_PER_WATT = 4 * 0.8604
KCAL_PER_HOUR_BASE = 300.0

# A break in the pulling shorter than this is a stroke's recovery or a lost sample, not a stop.
SHORTEST_BREAK_S = 2.6
SHORTEST_PULL_S = 1.5
# Samples further apart than this were not taken on the way: the device paused or lost contact.
LONGEST_SAMPLE_GAP_S = 6.0
# A display that holds the last power does so for up to this long.
LONGEST_HOLD_S = 3.6


@dataclass(frozen=True)
class Pull:
    """An unbroken run of strokes or pedalling, seconds on the track's clock.

    mean_power_w: mean pulled power; None where the file tells neither power nor a law for speed.
    """

    start_s: float
    end_s: float
    mean_power_w: float | None


@dataclass(frozen=True, eq=False)
class MachineTrack:
    """One machine's recording as functions of time (seconds on the track's clock).

    time_s: sample times. pulled_power_w: 0 while coasting or still, NaN unknown.
    calories, metres: the machine's own running count at `time_s`, continuous; None if unknown.
    calories_sd: standard deviation of a difference of `calories` between two far-apart times.
    """

    machine: Machine
    file: str
    time_s: Floats
    pulling: Bools
    pulled_power_w: Floats | None
    calories: Floats | None
    metres: Floats | None
    pulls: tuple[Pull, ...]
    counted: bool

    def calories_at(self, time_s: Floats | float) -> Floats:
        """The running calorie count, a fraction, at the given times."""
        if self.calories is None:
            return np.full(np.shape(time_s), np.nan)
        return np.interp(time_s, self.time_s, self.calories)

    def metres_at(self, time_s: Floats | float) -> Floats:
        """The running metres at the given times."""
        if self.metres is None:
            return np.full(np.shape(time_s), np.nan)
        return np.interp(time_s, self.time_s, self.metres)

    def covers(self, start_s: float, end_s: float) -> bool:
        """Whether the recording overlaps the window at all."""
        return bool(self.time_s[0] < end_s and self.time_s[-1] > start_s)

    def shifted(self, by_s: float) -> MachineTrack:
        """The same track on a clock that shows `by_s` more."""
        pulls = tuple(
            Pull(pull.start_s + by_s, pull.end_s + by_s, pull.mean_power_w) for pull in self.pulls
        )
        return replace(self, time_s=self.time_s + by_s, pulls=pulls)


def machine_of(recording: Recording, source: str, equipment: str | None) -> Machine | None:
    """The machine that the recording is of, or None if it is of no machine.

    The uploader's word for the source comes first, then the file's own kind of device, then the
    logged equipment where the file holds power, and last the law between power and speed.
    """
    for word in (source, recording.device):
        if word in DRAG:
            return word  # type: ignore[return-value]
    has_count = recording.power_w is not None or (
        recording.calories is not None and recording.speed_m_s is not None
    )
    if source == "watch" or not has_count:
        return None
    if equipment in DRAG:
        return equipment  # type: ignore[return-value]
    return _machine_by_law(recording)


def _machine_by_law(recording: Recording) -> Machine | None:
    """Rower or bike by which cubic law joins power and speed; None where neither is recorded."""
    speed = speed_of(recording)
    if recording.power_w is None or speed is None:
        return "bike" if recording.power_w is not None else None
    good = (recording.power_w > 30) & (speed > 1)
    if np.count_nonzero(good) < 20:
        return None
    ratio = float(np.median(recording.power_w[good] / speed[good] ** 3))
    return "rower" if abs(np.log(ratio / 2.8)) < abs(np.log(ratio / 0.35)) else "bike"


def speed_of(recording: Recording) -> Floats | None:
    """Speed at the samples, m/s; from distance where the file has no speed; None without either."""
    if recording.speed_m_s is not None and np.isfinite(recording.speed_m_s).any():
        return recording.speed_m_s
    if recording.distance_m is None or len(recording.time_s) < 2:
        return None
    distance, known = _filled(recording.time_s, recording.distance_m)
    if not known:
        return None
    steps = np.maximum(np.diff(distance), 0) / np.diff(recording.time_s)
    speed = np.concatenate([steps[:1], steps])
    speed[np.concatenate([[False], np.diff(recording.time_s) > LONGEST_SAMPLE_GAP_S])] = 0.0
    return speed


def machine_track(recording: Recording, machine: Machine, file: str) -> MachineTrack | None:
    """Pulls and running counts of a machine's recording; None if nothing tells of machine work."""
    time_s = recording.time_s
    speed = speed_of(recording)
    power = recording.power_w
    if power is not None and not np.isfinite(power).any():
        power = None
    if len(time_s) < 2 or (power is None and speed is None and recording.calories is None):
        return None
    pulling = pulling_mask(time_s, power, speed, recording.cadence_per_min)
    pulled_power: Floats | None
    if power is not None:
        pulled_power = np.where(pulling, np.nan_to_num(power), 0.0)
    elif speed is not None and machine != "bike":
        pulled_power = np.where(pulling, DRAG[machine] * np.nan_to_num(speed) ** 3, 0.0)
    else:
        pulled_power = None
    calories, counted = _running_calories(recording, machine, pulled_power, speed, pulling)
    return MachineTrack(
        machine=machine,
        file=file,
        time_s=time_s,
        pulling=pulling,
        pulled_power_w=pulled_power,
        calories=calories,
        metres=_running_metres(recording, speed),
        pulls=_pulls(time_s, pulling, pulled_power),
        counted=counted,
    )


def pulling_mask(
    time_s: Floats, power: Floats | None, speed: Floats | None, cadence: Floats | None
) -> Bools:
    """At each sample, whether the athlete was pulling (not coasting, not still)."""
    if power is not None:
        known = np.nan_to_num(power)
        pulling = known > 4.0
        pulling &= ~_held(time_s, known, speed, pulling)
        missing = ~np.isfinite(power)
        if speed is not None and missing.any():
            pulling |= missing & _pulling_by_speed(time_s, speed)
    elif speed is not None:
        pulling = _pulling_by_speed(time_s, speed)
        if cadence is not None and np.nanmax(cadence, initial=0.0) > 0:
            pulling &= ~(cadence == 0)
    elif cadence is not None and np.nanmax(cadence, initial=0.0) > 0:
        pulling = np.nan_to_num(cadence) > 0
    else:
        pulling = np.zeros(len(time_s), dtype=bool)
    return pulling


def _held(time_s: Floats, power: Floats, speed: Floats | None, pulling: Bools) -> Bools:
    """Samples at the end of a run that merely repeat the last power while the flywheel slows.

    Stroke noise makes exact repeats rare while somebody pulls, so a tail of repeats is the display.
    """
    repeats = np.concatenate([[False], (np.diff(power) == 0) & pulling[1:]])
    if speed is not None:
        falling = np.concatenate([[False], np.diff(np.nan_to_num(speed)) < 0])
        repeats &= falling
    ends = np.flatnonzero(pulling & ~np.concatenate([pulling[1:], [False]]))
    held = np.zeros(len(power), dtype=bool)
    for end in ends:  # a run's end, not a sample: few
        first = end
        while first > 0 and repeats[first] and time_s[end] - time_s[first] < LONGEST_HOLD_S:
            first -= 1
        held[first + 1 : end + 1] = True
    return held


def _pulling_by_speed(time_s: Floats, speed: Floats) -> Bools:
    """Pulling where the machine moves and is not slowing down to a stop or to the next start.

    A coasting flywheel under an air brake loses speed without a break, so a fall that goes on for
    at least three samples and ends below 70 % of where it began is coasting.
    """
    known = np.nan_to_num(speed)
    moving = known > MOVING_SPEED_M_S
    falling = np.concatenate([[False], np.diff(known) < 0])
    falling[~moving] = False
    edges = np.diff(np.concatenate([[0], falling.astype(int), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    coasting = np.zeros(len(known), dtype=bool)
    for start, end in zip(starts, ends, strict=True):  # runs, not samples
        low = (
            known[end]
            if end < len(known) and not moving[min(end, len(known) - 1)]
            else known[end - 1]
        )
        if end - start >= 3 and low < 0.7 * known[start - 1]:
            coasting[start:end] = True
    return moving & ~coasting


def _pulls(time_s: Floats, pulling: Bools, pulled_power: Floats | None) -> tuple[Pull, ...]:
    """Runs of pulling, short breaks bridged, with edges half-way between the samples around them."""
    edges = np.diff(np.concatenate([[0], pulling.astype(int), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    if len(starts) == 0:
        return ()
    usual_step = float(np.median(np.diff(time_s)))
    before = time_s - np.concatenate([[0.0], np.diff(time_s)])
    after = np.concatenate([time_s[1:], time_s[-1:]])
    start_s = np.where(
        time_s[starts] - before[starts] <= LONGEST_SAMPLE_GAP_S,
        (time_s[starts] + before[starts]) / 2,
        time_s[starts] - usual_step / 2,
    )
    end_s = np.where(
        after[ends] - time_s[ends] <= LONGEST_SAMPLE_GAP_S,
        (time_s[ends] + after[ends]) / 2,
        time_s[ends] + usual_step / 2,
    )
    split = np.flatnonzero(start_s[1:] - end_s[:-1] >= SHORTEST_BREAK_S)
    firsts = np.concatenate([[0], split + 1])
    lasts = np.concatenate([split, [len(starts) - 1]])
    pulls = []
    for first, last in zip(firsts, lasts, strict=True):  # pulls, not samples
        if end_s[last] - start_s[first] < SHORTEST_PULL_S:
            continue
        mean_power = None
        if pulled_power is not None:
            inside = pulled_power[starts[first] : ends[last] + 1]
            mean_power = float(np.mean(inside[pulling[starts[first] : ends[last] + 1]]))
        pulls.append(Pull(float(start_s[first]), float(end_s[last]), mean_power))
    return tuple(pulls)


def _filled(time_s: Floats, values: Floats) -> tuple[Floats, bool]:
    """Values with the missing ones interpolated, and whether any was known."""
    known = np.isfinite(values)
    if not known.any():
        return values, False
    return np.interp(time_s, time_s[known], values[known]), True


def _running_metres(recording: Recording, speed: Floats | None) -> Floats | None:
    if recording.distance_m is not None:
        metres, known = _filled(recording.time_s, recording.distance_m)
        if known:
            drops = np.minimum(np.diff(metres), 0)
            return metres - np.concatenate([[0.0], np.cumsum(drops)])
    if speed is None:
        return None
    return _integral(recording.time_s, speed)


def _integral(time_s: Floats, rate_per_s: Floats) -> Floats:
    """Running integral; a sample stands for the time since the one before, except after a gap."""
    step = np.diff(time_s)
    step[step > LONGEST_SAMPLE_GAP_S] = 0.0
    rate = np.nan_to_num(rate_per_s)
    middle = (rate[1:] + rate[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(middle * step)])


def _running_calories(
    recording: Recording,
    machine: Machine,
    pulled_power: Floats | None,
    speed: Floats | None,
    pulling: Bools,
) -> tuple[Floats | None, bool]:
    """The machine's count as a fraction, and whether the file itself counts."""
    time_s = recording.time_s
    modelled: Floats | None = None
    if pulled_power is not None or speed is not None:
        watts = np.zeros(len(time_s)) if pulled_power is None else pulled_power.copy()
        moving = watts > 0
        if speed is not None:
            known_speed = np.nan_to_num(speed)
            air = DRAG[machine] * known_speed**3
            coasting = ~pulling & (known_speed > MOVING_SPEED_M_S)
            watts = np.where(coasting, air, watts)
            if pulled_power is None:
                watts = air
            moving = known_speed > MOVING_SPEED_M_S
        rate = np.where(moving, KCAL_PER_HOUR_PER_WATT * watts + KCAL_PER_HOUR_BASE, 0.0)
        modelled = _integral(time_s, rate / 3600)
    if recording.calories is None or not np.isfinite(recording.calories).any():
        return modelled, False
    return _through_the_count(time_s, recording.calories, modelled), True


def _through_the_count(time_s: Floats, shown: Floats, modelled: Floats | None) -> Floats:
    """A continuous count that agrees with the displayed one and grows like the modelled one.

    Each time the display goes up by one, the count crosses a whole number between two samples; the
    model's error at these crossings, smoothed over neighbours, is taken out of the model.
    """
    known = np.isfinite(shown)
    times, counts = time_s[known], np.floor(shown[known])
    resets = np.concatenate([[0.0], np.cumsum(np.where(np.diff(counts) < 0, counts[:-1], 0.0))])
    counts = counts + resets
    rises = np.flatnonzero(np.diff(counts) > 0)
    if len(rises) == 0:
        return np.full(len(time_s), counts[0])
    crossing_s = (times[rises] + times[rises + 1]) / 2
    if modelled is None:
        return np.interp(
            time_s,
            np.concatenate([times[:1], crossing_s, times[-1:]]),
            np.concatenate([counts[:1], counts[rises + 1], counts[-1:]]),
        )
    model = modelled[known]
    crossed = (counts[rises] + counts[rises + 1] + 1) / 2
    error = crossed - (model[rises] + model[rises + 1]) / 2
    width = 9
    if len(error) >= width:
        padded = np.pad(error, width // 2, mode="edge")
        smooth = np.convolve(padded, np.ones(width) / width, mode="valid")
    else:
        smooth = np.full(len(error), float(np.mean(error)))
    return modelled + np.interp(time_s, crossing_s, smooth)
