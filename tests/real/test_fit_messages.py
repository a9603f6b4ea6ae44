"""Hiding laps changes nothing else: what our own byte-wise rewriting of real files leaves alone."""

from __future__ import annotations

import io
from pathlib import Path

import fitdecode
import pytest

from tests.real.fit_messages import LAP, WORKOUT, WORKOUT_STEP, rewritten

FILES = (
    "indoor-bike-intervals.fit",
    "indoor-trainer.fit",
    "run-developer-fields.fit",
    "strength-80min.fit",
    "yoga.fit",
)


def messages(data: bytes) -> list[tuple[str, list[object]]]:
    return [
        (frame.name, [field.value for field in frame.fields])
        for frame in fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE)
        if isinstance(frame, fitdecode.FitDataMessage)
    ]


@pytest.mark.parametrize("file", FILES)
def test_rewriting_without_anything_to_leave_out_gives_the_same_bytes(
    file: str, recordings: Path
) -> None:
    data = (recordings / file).read_bytes()
    assert rewritten(data) == data


@pytest.mark.parametrize("file", FILES)
def test_only_laps_and_workouts_are_left_out(file: str, recordings: Path) -> None:
    data = (recordings / file).read_bytes()
    left = messages(rewritten(data, without={LAP, WORKOUT, WORKOUT_STEP}))
    hidden = ("lap", "workout", "workout_step")
    assert left == [(name, values) for name, values in messages(data) if name not in hidden]


def test_a_clock_is_moved_and_no_value_with_it(recordings: Path) -> None:
    data = (recordings / "indoor-bike-intervals.fit").read_bytes()
    first = [values for name, values in messages(data) if name == "record"]
    moved = [values for name, values in messages(rewritten(data, later_s=90)) if name == "record"]
    for before, after in zip(first, moved, strict=True):
        pairs = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
        assert [(b - a).total_seconds() for a, b in pairs] == [90.0]  # type: ignore[operator]
