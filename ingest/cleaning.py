"""From samples as they stand in a file to a `Recording`: the same clean-up for every format."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from ingest.errors import NOWHERE, NoSamplesError, Place, TooLargeError
from ingest.limits import LATEST_S, MAX_SAMPLES, MAX_SPAN_S
from ingest.recording import Device, Floats, Format, Lap, Pause, Problem, Recording

CHANNELS = (
    "heart_rate_bpm",
    "power_w",
    "cadence_per_min",
    "speed_m_s",
    "distance_m",
    "calories",
)

POSSIBLE: Mapping[str, tuple[float, float]] = {
    "heart_rate_bpm": (0.0, 254.0),
    "power_w": (0.0, 5_000.0),
    "cadence_per_min": (0.0, 500.0),
    "speed_m_s": (0.0, 100.0),
    "distance_m": (0.0, 5e6),
    "calories": (0.0, 50_000.0),
}
"""Values that a sensor could mean, bounds included; wide on purpose, so that a value outside is
a fault of the file and not of the athlete (common practice, no source)."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, eq=False)
class Samples:
    """What one reader found, as it stands in the file.

    clock_s: seconds of each data point, NaN where it has no time: since 1970-01-01 UTC where
        `dated`, else since any moment.
    channels: values by channel name (`CHANNELS`), NaN where missing; each as long as `clock_s`.
    laps: start and end on the same clock, and the workout step. pauses: start and end likewise.
    beats: when each beat-to-beat interval ended, on the same clock, and its length in seconds.
    """

    clock_s: Floats
    dated: bool
    channels: Mapping[str, Floats]
    laps: Sequence[tuple[float, float, int | None]] = ()
    pauses: Sequence[tuple[float, float]] = ()
    beats: tuple[Floats, Floats] | None = None
    total_calories: float | None = None
    device: Device = "unknown"
    device_mark: str | None = None
    problems: Sequence[Problem] = ()
    place: Place = NOWHERE


def recording_from(samples: Samples, *, format: Format, file: str) -> Recording:  # noqa: A002
    """Clean samples up and give the recording.

    A data point without a time that can be, is left out; of points that do not follow one another
    in time the fewest are left out that make the rest strictly increasing; a clock that jumps by
    days is not followed; a value that no sensor can mean, and a heart rate of 0, become NaN. Each
    is counted in a problem. Laps and pauses that lie wholly outside the recording are left out.

    Raises:
        NoSamplesError: no data point has a time.
        TooLargeError: more than `MAX_SAMPLES` data points.
    """
    count = len(samples.clock_s)
    if count > MAX_SAMPLES:
        raise TooLargeError(
            f"{count} data points are more than the {MAX_SAMPLES} that one recording may have",
            file=file,
            format=format,
        )
    problems = list(samples.problems)
    earliest = 0.0 if samples.dated else -LATEST_S
    timed = np.flatnonzero((samples.clock_s >= earliest) & (samples.clock_s < LATEST_S))
    if not len(timed):
        what = "its data points have no time" if count else "it holds no data points"
        raise NoSamplesError(what, file=file, format=format, place=samples.place)
    if len(timed) < count:
        problems.append(
            Problem("no_time", f"{count - len(timed)} of {count} data points have no usable time")
        )

    clock = samples.clock_s[timed]
    # the middle one of the times, not the mean of two that may lie far apart
    middle = np.partition(clock, len(clock) // 2)[len(clock) // 2]
    near = np.abs(clock - middle) <= MAX_SPAN_S
    if not near.all():
        problems.append(
            Problem(
                "clock_jump",
                f"{int((~near).sum())} of {count} data points are days away from the rest "
                "and were left out",
            )
        )
        timed, clock = timed[near], clock[near]
    first = float(clock[0])
    # an epoch in a float is true to 0.2 µs; what is below a microsecond is no information
    clock = np.round(clock - first, 6)

    kept = longest_increasing(clock)
    left_out = np.setdiff1d(np.arange(len(clock)), kept)
    if len(left_out):
        problems.append(time_problem(clock, kept, left_out))
    raw = {
        channel: completed(values[timed], clock, kept, left_out)
        for channel, values in samples.channels.items()
    }
    clock = clock[kept]

    channels, found = clean_channels(raw)
    problems.extend(found)
    if all(values is None for values in channels.values()):
        problems.append(Problem("no_values", "its data points have a time and nothing else"))
    start = EPOCH + timedelta(seconds=first) if samples.dated else None
    if start is None:
        problems.append(Problem("no_date", "the file counts seconds only and has no date"))
    beat_time, beat_interval = samples.beats if samples.beats is not None else (None, None)
    return Recording(
        format=format,
        device=samples.device,
        start=start,
        sample_count=count,
        time_s=clock,
        heart_rate_bpm=channels["heart_rate_bpm"],
        power_w=channels["power_w"],
        cadence_per_min=channels["cadence_per_min"],
        speed_m_s=channels["speed_m_s"],
        distance_m=channels["distance_m"],
        calories=channels["calories"],
        total_calories=samples.total_calories,
        beat_time_s=None if beat_time is None else np.round(beat_time - first, 6),
        beat_interval_s=beat_interval,
        laps=tuple(
            Lap(round(start - first, 6), round(end - first, 6), step)
            for start, end, step in samples.laps
            if start - first <= clock[-1] and end - first >= clock[0]
        ),
        pauses=tuple(
            Pause(round(start - first, 6), round(end - first, 6))
            for start, end in samples.pauses
            if start - first <= clock[-1] and end - first >= clock[0]
        ),
        problems=tuple(problems),
        device_mark=samples.device_mark,
    )


def longest_increasing(clock_s: Floats) -> NDArray[np.intp]:
    """Positions of the longest strictly increasing run of times, in order.

    By patience sorting (Fredman, 1975, Discrete Mathematics 11:29-35); where the times already
    increase, which is nearly always, nothing is searched.
    """
    if len(clock_s) < 2 or bool((np.diff(clock_s) > 0).all()):
        return np.arange(len(clock_s))
    ends: list[float] = []
    ends_at: list[int] = []
    before: list[int] = []
    for position, value in enumerate(clock_s.tolist()):
        length = bisect_left(ends, value)
        before.append(ends_at[length - 1] if length else -1)
        if length == len(ends):
            ends.append(value)
            ends_at.append(position)
        elif value < ends[length]:
            # of points at one time the first is kept
            ends[length] = value
            ends_at[length] = position
    chain = []
    position = ends_at[-1]
    while position >= 0:
        chain.append(position)
        position = before[position]
    return np.array(chain[::-1], dtype=np.intp)


def completed(
    values: Floats, clock_s: Floats, kept: NDArray[np.intp], left_out: NDArray[np.intp]
) -> Floats:
    """Values of the points kept; where missing, that of a point left out at the same time.

    Some devices write each sensor's value as a data point of its own.
    """
    column: Floats = values[kept]
    spare = left_out[np.isfinite(values[left_out])]
    if len(spare) and np.isnan(column).any():
        at = np.minimum(np.searchsorted(clock_s[kept], clock_s[spare]), len(kept) - 1)
        use = (clock_s[kept][at] == clock_s[spare]) & np.isnan(column[at])
        column[at[use]] = values[spare[use]]
    return column


def time_problem(clock_s: Floats, kept: NDArray[np.intp], left_out: NDArray[np.intp]) -> Problem:
    """Say how many data points the clean-up left out, and from where."""
    repeated = int(np.isin(clock_s[left_out], clock_s[kept]).sum())
    backward = len(left_out) - repeated
    at = float(clock_s[left_out[0]] - clock_s[0])
    if backward:
        return Problem(
            "backward_time",
            f"time runs backward: {backward} data points out of order and {repeated} at a time "
            f"already taken were left out, the first {at:.0f} s after the start",
        )
    return Problem(
        "duplicate_time",
        f"{repeated} data points at a time already taken were left out, "
        f"the first {at:.0f} s after the start",
    )


def clean_channels(
    channels: Mapping[str, Floats],
) -> tuple[dict[str, Floats | None], list[Problem]]:
    """Turn values that no sensor can mean into NaN.

    A channel without any value left is None.
    """
    problems: list[Problem] = []
    cleaned: dict[str, Floats | None] = {}
    for name in CHANNELS:
        if name not in channels:
            cleaned[name] = None
            continue
        values = np.array(channels[name], dtype=np.float64)
        low, high = POSSIBLE[name]
        with np.errstate(invalid="ignore"):
            impossible = ~np.isnan(values) & ~((values >= low) & (values <= high))
        if impossible.any():
            values[impossible] = np.nan
            problems.append(
                Problem(
                    "impossible_value",
                    f"{int(impossible.sum())} values of {name} are outside {low:g} to {high:g} "
                    "and count as missing",
                )
            )
        if name == "heart_rate_bpm":
            zero = values == 0
            if zero.any():
                values[zero] = np.nan
                problems.append(
                    Problem(
                        "zero_heart_rate",
                        f"{int(zero.sum())} heart rates of 0 count as missing",
                    )
                )
        cleaned[name] = values if bool(np.isfinite(values).any()) else None
    return cleaned, problems
