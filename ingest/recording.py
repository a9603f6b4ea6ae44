"""What one device recorded, free of the format it came in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Device = Literal["watch", "rower", "ski", "bike", "unknown"]
Format = Literal["fit", "tcx", "gpx", "csv"]


@dataclass(frozen=True)
class Problem:
    """Something that a reader or a later stage could not take at face value.

    `code` is stable and for programs; `message` is one sentence for people and says where.
    """

    code: str
    message: str


@dataclass(frozen=True)
class Lap:
    """A lap as the device marked it, in seconds from the first sample.

    `workout_step` is the number of the device's own workout step that the lap belongs to.
    """

    start_s: float
    end_s: float
    workout_step: int | None = None


@dataclass(frozen=True)
class Pause:
    """The device's timer was stopped from `start_s` to `end_s` (seconds from the first sample)."""

    start_s: float
    end_s: float


@dataclass(frozen=True, eq=False)
class Recording:
    """One device's samples as columns.

    Columns are float64 arrays of one length; a value that is missing is NaN, never 0; a column
    that the device did not record is None.

    time_s: seconds from the first sample **as it stands in the file** (before clean-up), strictly
        increasing after clean-up.
    start: UTC time of that first sample; None where the file has no date.
    sample_count: data points in the file before clean-up.
    heart_rate_bpm: beats per minute. power_w: watts. cadence_per_min: strokes, revolutions or
        steps per minute. speed_m_s, distance_m: metres (distance runs on from the file's start).
    calories: the device's own running count (a rower's display, or a watch's own estimate).
    total_calories: the device's own total for the whole recording, where it states one.
    beat_time_s, beat_interval_s: beat-to-beat (RR) intervals and when each ended, seconds.
    device: the kind of device as the file tells it; never maker, model or serial.
    device_mark: a one-way hash of the device's serial number, where the file holds one.
    """

    format: Format
    device: Device
    start: datetime | None
    sample_count: int
    time_s: Floats
    heart_rate_bpm: Floats | None = None
    power_w: Floats | None = None
    cadence_per_min: Floats | None = None
    speed_m_s: Floats | None = None
    distance_m: Floats | None = None
    calories: Floats | None = None
    total_calories: float | None = None
    beat_time_s: Floats | None = None
    beat_interval_s: Floats | None = None
    laps: tuple[Lap, ...] = ()
    pauses: tuple[Pause, ...] = ()
    problems: tuple[Problem, ...] = ()
    device_mark: str | None = None

    @property
    def zone_known(self) -> bool:
        """Whether its times say how far they are from UTC; else `start` may be a local time."""
        return all(problem.code != "no_timezone" for problem in self.problems)
