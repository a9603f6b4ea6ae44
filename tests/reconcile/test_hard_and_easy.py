"""Machine work in stretches, hard and easy apart, in whatever way a file is written."""

from __future__ import annotations

import numpy as np
import pytest

from ingest.recording import Floats, Recording
from reconcile.align.edges import Bout
from reconcile.align.signals import bouts_of
from reconcile.machine import DRAG, machine_track

ROUND_S, HARD_S, STOP_S, ROUNDS = 200.0, 60.0, 10.0, 4


def rowed(time_s: Floats, power_w: Floats) -> Recording:
    """A recording whose distance follows from its power; nothing moves where none was pulled."""
    steps = np.diff(time_s, prepend=time_s[0])
    speed = np.where(steps > 10.0, 0.0, (power_w / DRAG["rower"]) ** (1 / 3))
    return Recording(
        format="csv",
        device="rower",
        start=None,
        sample_count=len(time_s),
        time_s=time_s,
        power_w=power_w,
        distance_m=np.cumsum(speed * steps),
    )


def bouts(recording: Recording) -> tuple[Bout, ...]:
    track = machine_track(recording, "rower", "a.rower.csv")
    assert track is not None
    return bouts_of(track)


@pytest.mark.parametrize("stroke_s", [1.8, 2.4, 3.0])
def test_a_file_of_strokes_alone_has_a_stretch_for_each_pull(stroke_s: float) -> None:
    begins = ROUND_S * np.arange(ROUNDS)
    time_s = np.concatenate([begin + np.arange(0.0, HARD_S, stroke_s) for begin in begins])
    found = bouts(rowed(time_s, 200 + 8 * np.sin(1.7 * time_s)))
    assert [bout.easy for bout in found] == [False] * ROUNDS
    for bout, begin in zip(found, begins, strict=True):
        assert bout.start_s == pytest.approx(begin, abs=stroke_s + 1)
        assert bout.end_s == pytest.approx(begin + HARD_S, abs=stroke_s + 1)


@pytest.mark.parametrize("easy_share", [0.25, 0.4, 0.5])
def test_easy_pulling_in_rests_is_one_stretch_also_where_it_is_about_half_of_hard_work(
    easy_share: float,
) -> None:
    time_s = np.arange(0.0, ROUND_S * ROUNDS)
    at_s = time_s % ROUND_S
    easy = (at_s >= HARD_S + STOP_S) & (at_s < ROUND_S - STOP_S)
    power = np.where(at_s < HARD_S, 200.0, np.where(easy, 200.0 * easy_share, 0.0))
    found = bouts(rowed(time_s, power * (1 + 0.1 * np.sin(1.7 * time_s))))
    assert [bout.easy for bout in found] == [False, True] * ROUNDS


@pytest.mark.parametrize("step_s", [1.0, 2.0, 5.0])
def test_a_pull_that_grows_over_one_sample_is_one_stretch_however_far_apart_these_are(
    step_s: float,
) -> None:
    time_s = np.arange(0.0, ROUND_S * ROUNDS, step_s)
    at_s = time_s % ROUND_S
    power = np.where((at_s >= 20.0) & (at_s < 20.0 + HARD_S), 200.0, 0.0)
    growing = (at_s >= 20.0) & (at_s < 20.0 + step_s)
    found = bouts(rowed(time_s, np.where(growing, 60.0, power * (1 + 0.05 * np.sin(time_s)))))
    assert [bout.easy for bout in found] == [False] * ROUNDS


def test_work_that_only_fades_stays_hard() -> None:
    time_s = np.arange(0.0, ROUND_S * ROUNDS)
    faded = 220.0 * (1 - 0.25 * time_s / time_s[-1])
    power = np.where(time_s % ROUND_S < HARD_S, faded * (1 + 0.06 * np.sin(1.7 * time_s)), 0.0)
    assert [bout.easy for bout in bouts(rowed(time_s, power))] == [False] * ROUNDS
