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
from reconcile.pulling import (
    MOVING_SPEED_M_S,
    Bools,
    Coasting,
    coasting,
    longest_step_s,
    pull_edges,
    pulling_by_count,
    pulling_samples,
    speed_is_mean,
)

Machine = Literal["rower", "ski", "bike"]

# Power of the air brake from speed, P = DRAG · v³ (W, m/s): 2.80 rower and ski, 0.35 bike (pace
# counted per 1000 m). As fixed by the contract.
DRAG: dict[Machine, float] = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
KCAL_PER_HOUR_PER_WATT = 4 * 0.8604
KCAL_PER_HOUR_BASE = 300.0
# Crossings of whole counts over which the model's error is averaged.
SMOOTHED_CROSSINGS = 9


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
        return np.asarray(np.interp(time_s, self.time_s, self.calories))

    def metres_at(self, time_s: Floats | float) -> Floats:
        """The running metres at the given times."""
        if self.metres is None:
            return np.full(np.shape(time_s), np.nan)
        return np.asarray(np.interp(time_s, self.time_s, self.metres))

    def pulled_effort(self) -> Floats | None:
        """Pulled power, or what goes with it by the cubic law of a wheel; None without either."""
        if self.pulled_power_w is not None or self.metres is None or len(self.time_s) < 2:
            return self.pulled_power_w
        return np.asarray(np.gradient(self.metres, self.time_s) ** 3 * self.pulling)

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
    if (named := _named(recording, source)) is not None:
        return named
    has_count = recording.power_w is not None or (
        recording.calories is not None and recording.speed_m_s is not None
    )
    if source == "watch" or not has_count:
        return None
    if equipment in DRAG:
        return equipment
    return _machine_by_law(recording)


def machines_told(recording: Recording, source: str) -> frozenset[Machine]:
    """The machines that it can be by the uploader's word for the source and by the file itself."""
    if (named := _named(recording, source)) is not None:
        return frozenset((named,))
    if recording.power_w is None or (law := _law_followed(recording)) is None:
        return frozenset(DRAG)
    return frozenset(machine for machine, drag in DRAG.items() if drag == law)


def _named(recording: Recording, source: str) -> Machine | None:
    """The machine that the uploader's word for the source or else the file's device names."""
    return next((word for word in (source, recording.device) if word in DRAG), None)


def _machine_by_law(recording: Recording) -> Machine | None:
    """Rower or bike by which cubic law joins power and speed; None where neither is recorded."""
    if recording.power_w is None or speed_of(recording) is None:
        return "bike" if recording.power_w is not None else None
    law = _law_followed(recording)
    return next((machine for machine, drag in DRAG.items() if drag == law), None)


def _law_followed(recording: Recording) -> float | None:
    """The drag of the cubic law that joins power and speed; None where too little shows it."""
    speed = speed_of(recording)
    if recording.power_w is None or speed is None:
        return None
    good = (recording.power_w > 30) & (speed > 1)
    if np.count_nonzero(good) < 20:
        return None
    ratio = float(np.median(recording.power_w[good] / speed[good] ** 3))
    return min(DRAG.values(), key=lambda drag: abs(np.log(ratio / drag)))


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
    # Where a clock stood, what the wheel still rolled meanwhile falls into one step: a wheel that
    # was at rest is no faster in its first step than in the next.
    first = np.flatnonzero((speed[:-2] <= MOVING_SPEED_M_S) & (speed[1:-1] > speed[2:])) + 1
    speed[first] = speed[first + 1]
    # After a gap the device had gone on since no longer than its usual step.
    passed_s = np.diff(recording.time_s)
    gone_on = np.flatnonzero(passed_s > longest_step_s(recording.time_s)) + 1
    following = np.minimum(gone_on + 1, len(speed) - 1)
    speed[gone_on] *= passed_s[gone_on - 1] / np.median(passed_s)
    speed[gone_on] = np.minimum(speed[gone_on], speed[following])
    return speed


def machine_track(recording: Recording, machine: Machine, file: str) -> MachineTrack | None:
    """Pulls and running counts of a machine's recording; None if nothing tells of machine work."""
    time_s = recording.time_s
    speed = speed_of(recording)
    power = recording.power_w
    if power is not None and not np.isfinite(power).any():
        power = None
    cadence, count = recording.cadence_per_min, recording.calories
    if len(time_s) < 2 or all(told is None for told in (power, speed, cadence, count)):
        return None
    own_speed = recording.speed_m_s if speed is recording.speed_m_s else None
    free = Coasting(np.zeros(len(time_s), dtype=bool), None)
    averaged = own_speed is None
    if speed is not None:
        free = coasting(time_s, speed)
        if own_speed is not None:
            averaged = speed_is_mean(time_s, own_speed, recording.distance_m, free)
    if power is None and speed is None and cadence is None and count is not None:
        pulling = pulling_by_count(time_s, count)
    else:
        pulling = pulling_samples(time_s, power, cadence, free, speed)
    pulled_power: Floats | None
    if power is not None:
        pulled_power = np.where(pulling, _filled(time_s, power)[0], 0.0)
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
        pulls=_pulls(
            pulling,
            pulled_power,
            pull_edges(time_s, pulling, speed, free, averaged=averaged),
        ),
        counted=counted,
    )


def _pulls(
    pulling: Bools,
    pulled_power: Floats | None,
    edges: tuple[Floats, Floats, NDArray[np.intp], NDArray[np.intp]],
) -> tuple[Pull, ...]:
    """Pulls with the mean of the power while pulling."""
    pulls = []
    for start_s, end_s, first, last in zip(*edges, strict=True):  # pulls, not samples
        mean_power = None
        if pulled_power is not None:
            inside = slice(first, last + 1)
            mean_power = float(np.mean(pulled_power[inside][pulling[inside]]))
        pulls.append(Pull(float(start_s), float(end_s), mean_power))
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
            return np.asarray(metres - np.concatenate([[0.0], np.cumsum(drops)]))
    if speed is None:
        return None
    return _integral(recording.time_s, speed)


def _integral(time_s: Floats, rate_per_s: Floats) -> Floats:
    """Running integral; a sample stands for the time since the one before.

    After a gap for half of a usual step: at some time in it the device had gone on.
    """
    step = np.diff(time_s)
    rate = np.nan_to_num(rate_per_s)
    gap = step > longest_step_s(time_s)
    middle = np.where(gap, rate[1:], (rate[1:] + rate[:-1]) / 2)
    step[gap] = np.median(step) / 2
    return np.asarray(np.concatenate([[0.0], np.cumsum(middle * step)]))


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
    pulled = None if speed is not None or modelled is None else watts > 0
    return _through_the_count(time_s, recording.calories, modelled, pulled), True


def _through_the_count(
    time_s: Floats, shown: Floats, modelled: Floats | None, pulled: Bools | None
) -> Floats:
    """A continuous count that agrees with the displayed one and grows like the modelled one.

    A display that starts again from 0 begins a stretch of its own, at the fraction reached. pulled:
    where the model knows the pulls only, and not how the wheel runs on after them.
    """
    known = np.isfinite(shown)
    times, counts = time_s[known], np.floor(shown[known])
    model = times * np.nan if modelled is None else modelled[known]
    resets = np.flatnonzero(np.diff(counts) < 0) + 1
    stretches = np.split(np.arange(len(times)), resets)
    parts: list[Floats] = []
    reached = 0.0
    for number, rows in enumerate(stretches):  # a stretch between resets, not a sample
        own: Floats = _one_stretch(
            times[rows],
            counts[rows],
            model[rows],
            None if pulled is None else pulled[known][rows],
        )
        if number > 0:
            own = own - min(float(own[0]), 1.0) + reached
        reached = float(own[-1])
        parts.append(own)
    whole = np.concatenate(parts)
    if modelled is None:
        return np.interp(time_s, times, whole)
    return np.asarray(modelled + np.interp(time_s, times, whole - model))


def _one_stretch(times: Floats, counts: Floats, model: Floats, pulled: Bools | None) -> Floats:
    """The continuous count at the samples of one stretch without a reset.

    Each time the display goes up by one, the count crosses a whole number between two samples; the
    model's error at these crossings, smoothed over neighbours, is taken out of the model. Without
    a model (NaN) the count grows evenly between crossings.
    """
    rises = np.flatnonzero(np.diff(counts) > 0)
    if len(rises) == 0:
        if np.isnan(model).any():
            return counts.copy()
        return np.asarray(counts[0] + np.minimum(model - model[0], 1.0))
    crossing_s = (times[rises] + times[rises + 1]) / 2
    crossed = (counts[rises] + counts[rises + 1] + 1) / 2
    if np.isnan(model).any():
        return np.asarray(
            np.interp(
                times,
                np.concatenate([times[:1], crossing_s, times[-1:]]),
                np.concatenate([counts[:1], crossed, np.maximum(counts[-1:], crossed[-1:])]),
            )
        )
    error = crossed - (model[rises] + model[rises + 1]) / 2
    if pulled is None:
        at_s, smooth = crossing_s, _smoothed(error)
    else:
        at_s, smooth = _smoothed_by_pulls(times, pulled, rises, crossing_s, error)
    # While the machine stands, the error taken out may fall, but no count runs backwards.
    running: Floats = np.maximum.accumulate(model + np.interp(times, at_s, smooth))
    return running


def _smoothed(error: Floats) -> Floats:
    """Each error with its neighbours."""
    width = min(SMOOTHED_CROSSINGS, len(error) - 1 + len(error) % 2)
    padded = np.pad(error, width // 2, mode="edge")
    return np.convolve(padded, np.ones(width) / width, mode="valid")


def _smoothed_by_pulls(
    times: Floats, pulled: Bools, rises: NDArray[np.intp], crossing_s: Floats, error: Floats
) -> tuple[Floats, Floats]:
    """When and how far a model that knows the pulls only is behind the count.

    It falls behind between pulls, by what the wheel counts as it runs on, and hardly in one.
    """
    change = np.flatnonzero(np.diff(pulled.astype(np.int8), prepend=0, append=0))
    at_s, errors = [crossing_s], [error.copy()]
    for begin, end in zip(change[::2], change[1::2], strict=True):  # pulls, not samples
        inside = np.flatnonzero((rises >= begin - 1) & (rises < end))
        if len(inside):
            smooth = _smoothed(error[inside])
            errors[0][inside] = smooth
            at_s.append(np.array([times[max(begin - 1, 0)], times[end - 1]]))
            errors.append(smooth[[0, -1]])
    when, behind = np.concatenate(at_s), np.concatenate(errors)
    order = np.argsort(when, kind="stable")
    return when[order], behind[order]
