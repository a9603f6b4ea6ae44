"""A FIT file as a second decoder reads it: its samples, laps and workout steps."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import fitdecode
import numpy as np

from ingest.recording import Floats


@dataclass(frozen=True)
class RecordedLap:
    """A lap as the device wrote it, seconds from the first sample."""

    start_s: float
    end_s: float
    workout_step: int | None
    by_time: bool


@dataclass(frozen=True)
class WorkoutStep:
    """A step of the device's own workout: how long, and whether it is work.

    repeat_from, times: for a step that only says "again from that step, so many times in all".
    """

    number: int
    duration_s: float | None
    intensity: str | None
    repeat_from: int | None
    times: int | None


@dataclass(frozen=True, eq=False)
class Straight:
    """Everything that a test compares the engine with. time_s: seconds from the first sample."""

    start: datetime
    time_s: Floats
    power_w: Floats
    heart_rate_bpm: Floats
    laps: tuple[RecordedLap, ...]
    steps: tuple[WorkoutStep, ...]

    def mean_power(self, start_s: float, end_s: float) -> float:
        """Mean power of the samples above 0 W; each stands for the time since the one before."""
        before = np.concatenate([self.time_s[:1], self.time_s[:-1]])
        weight = np.clip(np.minimum(self.time_s, end_s) - np.maximum(before, start_s), 0.0, None)
        power = np.nan_to_num(self.power_w)
        weight[power <= 0] = 0.0
        return float(weight @ power / weight.sum())


def straight_from(data: bytes) -> Straight:
    """Read a FIT file with fitdecode, and with nothing of ours."""
    messages = [
        (frame.name, {f.name: f.value for f in frame.fields if f.value is not None})
        for frame in fitdecode.FitReader(io.BytesIO(data))
        if isinstance(frame, fitdecode.FitDataMessage)
    ]
    records = [values for name, values in messages if name == "record"]
    start = records[0]["timestamp"]

    def seconds(moment: datetime) -> float:
        return float((moment - start).total_seconds())

    def column(name: str) -> Floats:
        return np.array([float(record.get(name, np.nan)) for record in records])

    laps = tuple(
        RecordedLap(
            seconds(lap["start_time"]),
            seconds(lap["start_time"]) + float(lap["total_elapsed_time"]),
            lap.get("wkt_step_index"),
            lap.get("lap_trigger") == "time",
        )
        for name, lap in messages
        if name == "lap"
    )
    steps = tuple(workout_step(step) for name, step in messages if name == "workout_step")
    return Straight(
        start,
        np.array([seconds(record["timestamp"]) for record in records]),
        column("power"),
        column("heart_rate"),
        laps,
        steps,
    )


def workout_step(step: dict[str, Any]) -> WorkoutStep:
    """A workout step's message in our words."""
    return WorkoutStep(
        step["message_index"],
        step.get("duration_time"),
        step.get("intensity"),
        step.get("duration_step"),
        step.get("repeat_steps"),
    )
