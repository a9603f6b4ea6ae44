"""What a device's clock is believed to be worth, before any of its samples is looked at.

Judgement, no source: most clocks are right within two seconds, some are out by seconds or
minutes, some by whole hours (time zones, summer time), a few show any time of day or another day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ingest.recording import Floats, Recording

HOURS = 13
# How often times without a zone are the class's own.
LOCAL_TIME = 0.7
ANY_TIME_S = 20 * 86400.0


@dataclass(frozen=True)
class ClockHabits:
    """Shares of clocks that are right, out by minutes, out by whole hours, or anything at all."""

    right: float
    minutes: float
    hours: float
    anything: float


WATCH = ClockHabits(right=0.84, minutes=0.10, hours=0.06, anything=0.00001)
MACHINE = ClockHabits(right=0.57, minutes=0.30, hours=0.13, anything=0.00005)


def clock_log_prior(error_s: Floats, habits: ClockHabits) -> Floats:
    """Log density (1/s) of a clock error; `anything` is spread over weeks."""

    def near(x: Floats) -> Floats:
        tight = np.exp(-0.5 * (x / 1.2) ** 2) / (1.2 * np.sqrt(2 * np.pi))
        loose = np.exp(-np.abs(x) / 2.5) / 5.0
        return np.asarray(0.85 * tight + 0.15 * loose)

    minutes = (
        0.45 * np.exp(-np.abs(error_s) / 50.0) / 100.0
        + 0.30 * (np.abs(error_s) < 7200.0) / (np.pi * 120.0 * (1 + (error_s / 120.0) ** 2))
        + 0.25 * (np.abs(error_s) < 3600.0) / 7200.0
    )
    hour = np.round(error_s / 3600.0)
    off_hour = error_s - 3600.0 * hour
    whole = np.where(
        (hour != 0) & (np.abs(hour) <= HOURS),
        (0.8 * near(off_hour) + 0.2 * np.exp(-np.abs(off_hour) / 40.0) / 80.0) / (2 * HOURS),
        0.0,
    )
    density = (
        habits.right * near(error_s)
        + habits.minutes * minutes
        + habits.hours * whole
        + habits.anything / ANY_TIME_S
    )
    return np.asarray(np.log(density))


def shown_log_prior(
    recording: Recording, stated_start: datetime, x_s: Floats, habits: ClockHabits
) -> Floats:
    """Log density (1/s) of what a recording's clock shows, if its first sample lies at x_s.

    x_s: seconds from the stated start. Times that name no zone are local ones, or UTC.
    """
    assert recording.start is not None
    shown_s = (recording.start - stated_start).total_seconds()
    as_utc = clock_log_prior(shown_s - x_s, habits)
    if recording.zone_known:
        return as_utc
    as_local = clock_log_prior(shown_s - local_ahead_s(stated_start) - x_s, habits)
    return np.asarray(np.logaddexp(np.log1p(-LOCAL_TIME) + as_utc, np.log(LOCAL_TIME) + as_local))


def ahead_s(recording: Recording, stated_start: datetime, start_s: float) -> float:
    """How far a clock is ahead of the class's if the first sample lies at start_s, seconds.

    Of times that name no zone the nearer reading.
    """
    assert recording.start is not None
    as_utc = (recording.start - stated_start).total_seconds() - start_s
    if recording.zone_known:
        return as_utc
    return min(as_utc, as_utc - local_ahead_s(stated_start), key=abs)


def local_ahead_s(stated_start: datetime) -> float:
    """How far the class's own time is ahead of UTC, seconds."""
    offset = stated_start.utcoffset()
    return offset.total_seconds() if offset is not None else 0.0
