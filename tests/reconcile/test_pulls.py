"""When somebody pulled: found in whatever a machine's file happens to hold.

The wheel is worked out by hand (`flywheel`); nothing in it comes from the engine.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.recording import Floats, Recording
from reconcile.machine import Machine, MachineTrack, machine_of, machine_track
from tests.reconcile.flywheel import (
    EVERYTHING,
    KAPPA_PER_M,
    Channel,
    sampled,
    spun,
    without_samples,
)

PULLS = ((20.35, 80.15, 220.0), (110.6, 150.9, 180.0))
LENGTH_S = 200.0


def track_of(recording: Recording, machine: Machine = "rower") -> MachineTrack:
    track = machine_track(recording, machine, "a.rower.fit")
    assert track is not None
    return track


def with_strokes(recording: Recording) -> Recording:
    """Power that goes up and down with the stroke, as no display shows the same twice."""
    assert recording.power_w is not None
    wave = 1 + 0.06 * np.sin(1.7 * recording.time_s) + 0.01 * np.sin(0.9 * recording.time_s)
    return replace(recording, power_w=np.round(recording.power_w * wave))


def edges(track: MachineTrack) -> list[tuple[float, float]]:
    return [(pull.start_s, pull.end_s) for pull in track.pulls]


def near(found: list[tuple[float, float]], within_s: float) -> bool:
    return len(found) == len(PULLS) and all(
        abs(start - begin) <= within_s and abs(end - stop) <= within_s
        for (start, end), (begin, stop, _) in zip(found, PULLS, strict=True)
    )


HOLDINGS: dict[str, tuple[Channel, ...]] = {
    "everything": EVERYTHING,
    "power and speed": ("power", "speed"),
    "power and distance": ("power", "distance"),
    "speed only": ("speed",),
    "distance only": ("distance",),
    "speed and cadence": ("speed", "cadence"),
    "speed and count": ("speed", "count"),
    "cadence only": ("cadence",),
}


@pytest.mark.parametrize("machine", ["rower", "ski", "bike"])
@pytest.mark.parametrize("channels", HOLDINGS.values(), ids=HOLDINGS.keys())
def test_both_pulls_are_found_to_less_than_a_sample(
    channels: tuple[Channel, ...], machine: Machine
) -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S, machine), channels), machine)
    # From distance, the first sample's mean speed may be too low to be called moving.
    assert near(edges(track), 1.0 if channels == ("distance",) else 0.7)


@pytest.mark.parametrize("channels", [("power", "speed"), ("power", "distance"), EVERYTHING])
@pytest.mark.parametrize("hold_s", [1.0, 2.0, 3.0])
def test_a_display_that_holds_its_last_power_makes_no_pull_longer(
    hold_s: float, channels: tuple[Channel, ...]
) -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S), channels, hold_s=hold_s))
    assert near(edges(track), 0.7)


def test_means_since_the_last_sample_are_found_as_well() -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S), averaged=True))
    assert near(edges(track), 0.7)


def test_a_sample_every_two_seconds_is_found_to_less_than_a_sample() -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S), every_s=2.0))
    assert near(edges(track), 1.2)


@pytest.mark.parametrize("holding", ["everything", "speed only", "distance only"])
@pytest.mark.parametrize("every_s", [8.0, 10.0, 15.0])
def test_a_sample_every_so_many_seconds_is_no_row_of_pauses(every_s: float, holding: str) -> None:
    wheel = spun(((20.35, 140.15, 220.0), (200.6, 320.9, 180.0)), 0.0, 400.0)
    track = track_of(sampled(wheel, HOLDINGS[holding], every_s=every_s, averaged=True))
    assert len(track.pulls) == 2
    for pull, (start_s, end_s, _) in zip(track.pulls, wheel.pulls, strict=True):
        assert abs(pull.start_s - start_s) <= every_s
        assert abs(pull.end_s - end_s) <= every_s
    counted = float(track.calories_at(400.0) - track.calories_at(0.0))
    assert counted == pytest.approx(wheel.grown(wheel.calories, 0.0, 400.0), rel=0.06)


def test_power_alone_has_edges_half_way_between_samples() -> None:
    recording = with_strokes(sampled(spun(PULLS, 0, LENGTH_S), ("power",)))
    track = track_of(recording)
    assert near(edges(track), 0.7)
    assert track.metres is None


def test_a_count_alone_tells_pulls_to_the_time_that_a_calorie_takes() -> None:
    # 220 W show 4 · 0.8604 · 220 + 300 = 1057 a hour, a calorie in 3.4 s; 180 W one in 3.9 s.
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S), ("count",)))
    assert near(edges(track), 4.0)
    assert track.pulled_power_w is None


def test_mean_power_of_a_pull_is_what_was_pulled() -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S)))
    powers = [pull.mean_power_w for pull in track.pulls]
    assert powers == [pytest.approx(220, abs=1), pytest.approx(180, abs=1)]


def test_speed_alone_gives_a_rower_the_power_of_the_air_and_a_bike_none() -> None:
    long = ((20.0, 120.0, 200.0),)  # long enough for the wheel to run in
    rower = track_of(sampled(spun(long, 0, LENGTH_S), ("speed",)))
    # P = 2.80 · v³ of each sample; the air's power is less than 200 W while the wheel runs in.
    assert rower.pulls[0].mean_power_w == pytest.approx(195, abs=4)
    bike = track_of(sampled(spun(long, 0, LENGTH_S, "bike"), ("speed",)), "bike")
    assert bike.pulls[0].mean_power_w is None


def test_a_lost_sample_breaks_no_pull() -> None:
    recording = without_samples(sampled(spun(PULLS, 0, LENGTH_S)), 49.5, 51.5)
    assert near(edges(track_of(recording)), 0.7)


@pytest.mark.parametrize("lost", [0.0, np.nan])
def test_a_speed_that_is_lost_in_the_last_strokes_takes_no_end_away(lost: float) -> None:
    recording = with_strokes(sampled(spun(PULLS, 0.0, LENGTH_S), ("power", "speed")))
    assert recording.speed_m_s is not None
    of_first = (recording.time_s > 76.0) & (recording.time_s < PULLS[0][1])
    speed = np.where(of_first, lost, recording.speed_m_s)
    assert near(edges(track_of(replace(recording, speed_m_s=speed))), 1.3)


def test_a_missing_power_reading_breaks_no_pull() -> None:
    recording = sampled(spun(PULLS, 0, LENGTH_S))
    assert recording.power_w is not None
    power = recording.power_w.copy()
    power[50:56] = np.nan
    assert near(edges(track_of(replace(recording, power_w=power))), 0.7)


def test_a_pause_of_the_device_ends_a_pull() -> None:
    # What happened while nothing was recorded is not known, and is not called work.
    recording = without_samples(sampled(spun(((20.0, 120.0, 200.0),), 0, LENGTH_S)), 50.0, 80.0)
    track = track_of(recording)
    assert len(track.pulls) == 2
    assert track.pulls[0].end_s == pytest.approx(50, abs=1)
    assert track.pulls[1].start_s == pytest.approx(80, abs=1)


@pytest.mark.parametrize("every_s", [2.0, 5.0])
def test_after_a_pause_a_distance_tells_that_somebody_pulled_before_the_first_sample(
    every_s: float,
) -> None:
    # The device goes on with the first pull, and writes its first sample some seconds later.
    wheel = spun(((40.5, 100.0, 220.0), (189.2, 250.0, 220.0)), 0.0, 300.0)
    whole = sampled(wheel, ("distance",), first_s=3.0, every_s=every_s)
    paused = without_samples(whole, 130.0, 189.2 - 3.0 + 0.2)
    first_after = float(paused.time_s[paused.time_s > 130.0][0])
    assert 189.2 - 3.0 < first_after < 189.2 - 3.0 + every_s
    found = edges(track_of(paused))
    assert len(found) == 2
    assert abs(found[1][0] - (189.2 - 3.0)) <= every_s / 2 + 0.2
    assert found[1][0] < first_after
    track = track_of(paused)
    counted = float(track.calories_at(270.0) - track.calories_at(131.0))
    assert counted == pytest.approx(wheel.grown(wheel.calories, 134.0, 273.0), rel=0.06)


def test_the_recovery_of_a_slow_stroke_is_no_stop() -> None:
    # 20 strokes a minute: 1 s of drive and 2 s of recovery.
    strokes = [(20.0 + 3 * n, 21.0 + 3 * n, 450.0) for n in range(20)]
    track = track_of(sampled(spun(strokes, 0, 120), ("power", "speed"), averaged=True))
    assert len(track.pulls) == 1
    assert track.pulls[0].start_s == pytest.approx(20, abs=1.5)
    assert track.pulls[0].end_s == pytest.approx(78, abs=2.5)


def test_a_flywheel_that_only_runs_on_is_not_pulled() -> None:
    wheel = spun(((0.0, 20.0, 250.0),), 0, 120)
    track = track_of(sampled(wheel, ("speed",), first_s=25.0))
    assert track.pulls == ()


def test_a_still_machine_has_no_pull() -> None:
    track = track_of(sampled(spun((), 0, 60)))
    assert track.pulls == ()


def test_a_recording_of_heart_rate_alone_is_of_no_machine() -> None:
    bare = sampled(spun((), 0, 60), ())
    assert machine_track(replace(bare, heart_rate_bpm=np.full(61, 120.0)), "rower", "f") is None


def after_coasting(speed_m_s: float, seconds: Floats) -> Floats:
    """Speed after so long without a pull: v₀ / (1 + κ·v₀·t), the solution of dv/dt = −κ·v²."""
    return np.asarray(speed_m_s / (1 + KAPPA_PER_M * speed_m_s * seconds))


@settings(max_examples=60)
@given(
    end_s=st.floats(30.0, 31.0),
    speed_m_s=st.floats(3.0, 5.5),
)
def test_the_last_pull_is_found_between_two_samples_by_the_coasting_law(
    end_s: float, speed_m_s: float
) -> None:
    time_s = np.arange(0.0, 60.0)
    speed = np.where(
        time_s <= end_s, speed_m_s, after_coasting(speed_m_s, np.maximum(time_s - end_s, 0))
    )
    recording = Recording("fit", "rower", None, len(time_s), time_s, speed_m_s=speed)
    (pull,) = track_of(recording).pulls
    assert pull.end_s == pytest.approx(end_s, abs=0.1)


def slowing_by_friction(pulls: tuple[tuple[float, float], ...], tau_s: float) -> Recording:
    """Speed that dies away as exp(−t/τ), the solution of dv/dt = −v/τ, after each pull."""
    time_s = np.arange(0.0, pulls[-1][1] + 30)
    speed = np.zeros(time_s.size)
    for begin, end in pulls:
        spun_up = 4.2 * (1 - np.exp(-np.maximum(time_s - begin, 0.0) / 0.9))
        speed = np.where((time_s >= begin) & (time_s <= end), spun_up, speed)
        speed = np.where(time_s > end, 4.2 * np.exp(-(time_s - end) / tau_s), speed)
    return Recording("fit", "rower", None, time_s.size, time_s, speed_m_s=speed)


@settings(max_examples=40)
@given(end_s=st.floats(60.0, 61.0), tau_s=st.floats(2.0, 4.0))
def test_a_wheel_that_friction_stops_is_told_from_one_that_the_air_stops(
    end_s: float, tau_s: float
) -> None:
    pulls = tuple((80.0 * n + 20.5, 80.0 * n + end_s) for n in range(6))
    found = track_of(slowing_by_friction(pulls, tau_s)).pulls
    assert [pull.end_s for pull in found] == pytest.approx([end for _, end in pulls], abs=0.1)


def test_a_pull_that_began_just_before_a_mean_of_power_begins_before_it() -> None:
    # The mean of the second up to 20 s holds a tenth of a second of a first stroke: 2 W.
    power = np.array([0.0] * 20 + [2.0, 90.0] + [180.0] * 40 + [0.0] * 20)
    time_s = np.arange(power.size, dtype=np.float64)
    recording = Recording("fit", "bike", None, time_s.size, time_s, power_w=power)
    (pull,) = track_of(recording, "bike").pulls
    assert pull.start_s == 19.5


@given(by_s=st.floats(-5000, 5000))
def test_a_track_on_another_clock_is_the_same_track(by_s: float) -> None:
    track = track_of(sampled(spun(PULLS, 0, LENGTH_S)))
    moved = track.shifted(by_s)
    assert np.allclose(edges(moved), np.array(edges(track)) + by_s)
    at = np.array([30.0, 100.0])
    assert moved.calories_at(at + by_s) == pytest.approx(track.calories_at(at))


MACHINES: dict[str, tuple[str, str, str | None, Machine | None]] = {
    "the uploader's word comes first": ("ski", "rower", "bike", "ski"),
    "then the file's own": ("unknown", "rower", "bike", "rower"),
    "then what was logged": ("unknown", "unknown", "bike", "bike"),
    "a watch is no machine": ("watch", "watch", "bike", None),
}


@pytest.mark.parametrize(
    ("source", "device", "logged", "machine"), MACHINES.values(), ids=MACHINES.keys()
)
def test_whose_word_counts_for_what_a_file_is(
    source: str, device: str, logged: str | None, machine: Machine | None
) -> None:
    recording = replace(sampled(spun(PULLS, 0, LENGTH_S)), device=device)  # type: ignore[arg-type]
    assert machine_of(recording, source, logged) == machine


@pytest.mark.parametrize("machine", ["rower", "bike"])
def test_an_unnamed_machine_is_known_by_its_law_of_power_and_speed(machine: Machine) -> None:
    # 2.80 W per (m/s)³ on a rower, 0.35 on a bike, which counts twice the metres (the contract).
    recording = sampled(spun(PULLS, 0, LENGTH_S, machine))
    assert machine_of(replace(recording, device="unknown"), "unknown", None) == machine
