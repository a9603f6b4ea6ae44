"""What a coach could do without the engine: the yardsticks that it has to beat."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
from scipy import signal

from ingest.recording import Floats, Recording
from reconcile.classes import ClassRecord
from reconcile.energy.keytel import without_vo2max
from reconcile.plan import FreeBlock
from tests.bench.simulator.truth import FileTruth

Guess = float | None


def planned_starts(record: ClassRecord) -> dict[str, float]:
    """Each timed block's start after the stated one, free blocks at the middle of their range."""
    clock, starts = 0.0, {}
    for block in record.plan.blocks:
        if isinstance(block, FreeBlock):
            clock += (block.low_s + block.high_s) / 2
        else:
            starts[block.name] = clock
            clock += block.duration_s
    return starts


def stated_start(record: ClassRecord, recording: Recording, block: str) -> Guess:
    """The stated clock: the device's date and the coach's, free blocks at mid-range.

    None where the recording has no date.
    """
    if recording.start is None:
        return None
    at = record.start + timedelta(seconds=planned_starts(record)[block])
    return (at - recording.start).total_seconds()


def every_second(time_s: Floats, values: Floats) -> Floats:
    """The values at whole seconds from the first sample, gaps filled in by straight lines."""
    known = np.isfinite(values)
    grid = np.arange(0.0, np.floor(time_s[-1]) + 1)
    return np.interp(grid, time_s[known], values[known])


def correlated_start(record: ClassRecord, recording: Recording, block: str, kind: str) -> Guess:
    """Plain cross-correlation of the raw signal with the plan's work and rest as ones and zeros.

    The signal is heart rate for a watch, power (or speed) for a machine. None without one.
    """
    columns: tuple[Floats | None, ...] = (recording.heart_rate_bpm,)
    if kind != "watch":
        columns = (recording.power_w, recording.speed_m_s, recording.distance_m)
    column = next((c for c in columns if c is not None and np.isfinite(c).sum() > 30), None)
    if column is None or recording.time_s[-1] < 30:
        return None
    if column is recording.distance_m:
        column = np.diff(column, prepend=column[0])
    raw = every_second(recording.time_s, column)
    starts = planned_starts(record)
    last = record.plan.timed_blocks[-1]
    wave = np.zeros(int(starts[last.name] + last.duration_s))
    for timed in record.plan.timed_blocks:
        clock = starts[timed.name]
        for _ in range(timed.rounds):
            for step in timed.steps:
                if step.kind == "work":
                    wave[int(clock) : int(clock + step.duration_s)] = 1.0
                clock += step.duration_s
    match = signal.correlate(raw - raw.mean(), wave - wave.mean(), mode="full", method="fft")
    shift = int(np.argmax(match)) - (wave.size - 1)
    return shift + starts[block]


def own_recordings(
    record: ClassRecord, files: list[FileTruth], kinds: tuple[str, ...]
) -> list[tuple[FileTruth, Recording]]:
    uploads = {upload.file: upload.recording for upload in record.uploads}
    found = []
    for file in files:
        recording = uploads.get(file.file)
        if file.kind in kinds and recording is not None:
            found.append((file, recording))
    return found


def spreadsheet_total(record: ClassRecord, files: list[FileTruth], measure: str) -> Guess:
    """A person with a spreadsheet: the last number in the machine file's column for the measure."""
    for _, recording in own_recordings(record, files, ("machine",)):
        column = recording.calories if measure == "calories" else recording.distance_m
        if measure in ("calories", "metres") and column is not None:
            return float(np.nanmax(column, initial=0.0))
    return None


def watch_share_kcal(
    record: ClassRecord, files: list[FileTruth], athlete: str, block: str
) -> Guess:
    """The watch's own total shared out by time over the block, placed where it truly was."""
    timed = next(b for b in record.plan.timed_blocks if b.name == block)
    for file, recording in own_recordings(record, files, ("watch",)):
        start = file.starts_of.get(athlete, {}).get(block)
        if start is not None and recording.total_calories is not None:
            length = float(recording.time_s[-1])
            inside = min(start + timed.duration_s, length) - max(start, 0.0)
            return recording.total_calories * inside / max(length, 1.0)
    return None


def keytel_block_kcal(
    record: ClassRecord, files: list[FileTruth], athlete: str, block: str
) -> Guess:
    """Keytel's equation summed over every second of the block, placed where it truly was.

    None without a watch that holds the whole block, or where sex, age or mass is not on the roster.
    """
    timed = next(b for b in record.plan.timed_blocks if b.name == block)
    person = next(a for a in record.athletes if a.athlete == athlete)
    if person.sex is None or person.birth_year is None or person.mass_kg is None:
        return None
    for file, recording in own_recordings(record, files, ("watch",)):
        start = file.starts_of.get(athlete, {}).get(block)
        heart_rate = recording.heart_rate_bpm
        if start is None or heart_rate is None or block not in file.whole_of.get(athlete, ()):
            continue
        beating = np.where(heart_rate > 0, heart_rate, np.nan)
        if np.isfinite(beating).sum() < 30:
            continue
        rate = every_second(recording.time_s, beating)
        window = rate[int(start) : int(start + timed.duration_s)]
        age = record.start.year - person.birth_year
        return float(without_vo2max(window, person.sex, person.mass_kg, age).sum() / 60)
    return None
