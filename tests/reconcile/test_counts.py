"""The machine's own count as a fraction: through the floor of a display, or from power and speed.

Growth is compared with the wheel worked out by hand (`flywheel`), and while coasting with the
closed form: ∫ k·v³ dt = k·v₀² / (2κ) · (1 − (1 + κ·v₀·T)⁻²).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.recording import Floats, Recording
from reconcile.machine import Machine, MachineTrack, machine_track
from tests.reconcile.flywheel import BRAKE, KAPPA_PER_M, Channel, Wheel, sampled, spun

ROUNDS = tuple((60.0 * n + 5.3, 60.0 * n + 41.7, 150.0 + 25 * n) for n in range(5))
WHEEL = spun(ROUNDS, 0, 320)
BELLS = [(60.0 * n, 60.0 * n + 40) for n in range(5)]

# Two thirds of a calorie at most: a floor hides up to one, and knows it once a count goes up.
CALORIE = 0.4


def track_of(recording: Recording, machine: Machine = "rower") -> MachineTrack:
    track = machine_track(recording, machine, "a.rower.fit")
    assert track is not None
    return track


def grown(track: MachineTrack, start_s: float, end_s: float) -> float:
    return float(np.diff(track.calories_at(np.array([start_s, end_s])))[0])


def with_count(recording: Recording, count: Floats) -> Recording:
    return replace(recording, calories=count)


@pytest.mark.parametrize(("start_s", "end_s"), BELLS)
def test_the_count_is_known_to_a_fraction_through_the_floor_of_the_display(
    start_s: float, end_s: float
) -> None:
    track = track_of(sampled(WHEEL))
    assert track.counted
    true = WHEEL.grown(WHEEL.calories, start_s, end_s)
    assert grown(track, start_s, end_s) == pytest.approx(true, abs=CALORIE)


@pytest.mark.parametrize(
    "channels",
    [("power", "speed"), ("power", "distance"), ("speed",), ("distance",)],
    ids=["power and speed", "power and distance", "speed only", "distance only"],
)
def test_without_a_count_it_grows_by_the_displays_formula(channels: tuple[Channel, ...]) -> None:
    track = track_of(sampled(WHEEL, channels))
    assert not track.counted
    for start_s, end_s in BELLS:
        true = WHEEL.grown(WHEEL.calories, start_s, end_s)
        # From speed alone the power that goes into the wheel's own turning is not seen.
        within = 0.03 * true if "power" in channels else 0.06 * true
        assert grown(track, start_s, end_s) == pytest.approx(true, abs=within)


def test_steady_power_counts_as_the_formula_says() -> None:
    # 4 · 0.8604 · 200 + 300 = 988.32 kcal/h: 16.472 in a minute.
    steady = spun(((0.0, 200.0, 200.0),), 0, 200)
    track = track_of(sampled(steady, ("power", "speed")))
    assert grown(track, 60, 120) == pytest.approx(16.472, abs=0.02)


def test_power_without_speed_counts_only_while_there_is_power() -> None:
    # Nothing tells that the flywheel runs on: (4 · 0.8604 · W + 300) / 3600 for 36.4 s.
    recording = sampled(WHEEL, ("power",))
    assert recording.power_w is not None
    wave = replace(recording, power_w=recording.power_w * (1 + 0.05 * np.sin(recording.time_s)))
    track = track_of(wave)
    for (start_s, end_s, watts), (bell_s, _) in zip(ROUNDS, BELLS, strict=True):
        true = (4 * 0.8604 * watts + 300) / 3600 * (end_s - start_s)
        assert grown(track, bell_s, bell_s + 60) == pytest.approx(true, rel=0.03)


@pytest.mark.parametrize("machine", ["rower", "ski", "bike"])
def test_without_a_speed_the_count_tells_what_the_wheel_adds_after_a_pull(
    machine: Machine,
) -> None:
    # Class-folder contract: what the flywheel adds after the bell belongs to the next step.
    wheel = spun(ROUNDS, 0, 320, machine)
    track = track_of(sampled(wheel, ("power", "count")), machine)
    for (_, end_s, _), (bell_s, _) in zip(ROUNDS, BELLS, strict=True):
        for low_s, high_s in ((bell_s, end_s), (end_s, bell_s + 60)):
            true = wheel.grown(wheel.calories, low_s, high_s)
            assert grown(track, low_s, high_s) == pytest.approx(true, abs=CALORIE)


@pytest.mark.parametrize("machine", ["rower", "ski", "bike"])
def test_a_wheel_that_runs_on_counts_the_airs_power_and_the_base(machine: Machine) -> None:
    wheel = spun(((0.0, 60.0, 250.0),), 0, 120, machine)
    track = track_of(sampled(wheel, ("power", "speed")), machine)
    speed = float(np.interp(62.0, wheel.time_s, wheel.speed_m_s))
    seconds = 6.0
    air = BRAKE[machine] * speed**2 / (2 * KAPPA_PER_M)
    air *= 1 - (1 + KAPPA_PER_M * speed * seconds) ** -2
    true = (4 * 0.8604 * air + 300 * seconds) / 3600
    assert grown(track, 62.0, 62.0 + seconds) == pytest.approx(true, abs=0.02)


def test_below_0_6_metres_a_second_the_machine_is_still_and_counts_nothing() -> None:
    time_s = np.arange(0.0, 100.0)
    slow = Recording("fit", "rower", None, 100, time_s, speed_m_s=np.full(100, 0.55))
    quick = replace(slow, speed_m_s=np.full(100, 0.65))
    assert grown(track_of(slow), 10, 90) == 0
    # 300 + 4 · 0.8604 · 2.80 · 0.65³ = 302.6 kcal/h for 80 s.
    assert grown(track_of(quick), 10, 90) == pytest.approx(6.73, abs=0.1)


def reset_each_round(recording: Recording) -> Recording:
    """The display goes back to 0 at each bell, its fraction with it."""
    assert recording.calories is not None
    exact = np.interp(recording.time_s, WHEEL.time_s, WHEEL.calories)
    at_bell = np.interp(np.floor(recording.time_s / 60) * 60, WHEEL.time_s, WHEEL.calories)
    return with_count(recording, np.floor(exact - at_bell + 1e-9))


@pytest.mark.parametrize("channels", [("power", "speed", "count"), ("speed", "count")])
def test_a_display_that_starts_again_each_round_counts_every_round(
    channels: tuple[Channel, ...],
) -> None:
    track = track_of(reset_each_round(sampled(WHEEL, channels)))
    for start_s, end_s in BELLS:
        true = WHEEL.grown(WHEEL.calories, start_s, end_s)
        assert grown(track, start_s, end_s) == pytest.approx(true, abs=0.6)
    whole = WHEEL.grown(WHEEL.calories, 0, 300)
    assert grown(track, 0, 300) == pytest.approx(whole, abs=2.5)


def test_a_count_alone_is_a_fraction_between_its_steps() -> None:
    track = track_of(sampled(WHEEL, ("count",)))
    for start_s, end_s in BELLS:
        true = WHEEL.grown(WHEEL.calories, start_s, end_s)
        assert grown(track, start_s, end_s) == pytest.approx(true, abs=1.0)


def test_missing_readings_of_the_count_change_nothing_of_note() -> None:
    recording = sampled(WHEEL)
    assert recording.calories is not None
    count = recording.calories.copy()
    count[::3] = np.nan
    track = track_of(with_count(recording, count))
    for start_s, end_s in BELLS:
        true = WHEEL.grown(WHEEL.calories, start_s, end_s)
        assert grown(track, start_s, end_s) == pytest.approx(true, abs=CALORIE)


def test_missing_readings_of_power_are_not_zero_watts() -> None:
    recording = sampled(WHEEL, ("power", "speed"))
    assert recording.power_w is not None
    power = recording.power_w.copy()
    power[[70, 71, 80, 90]] = np.nan
    whole, holed = track_of(recording), track_of(replace(recording, power_w=power))
    assert grown(holed, 60, 120) == pytest.approx(grown(whole, 60, 120), rel=0.005)
    means = [pull.mean_power_w for pull in holed.pulls]
    assert means == [pytest.approx(pull.mean_power_w, rel=0.01) for pull in whole.pulls]


def test_metres_are_the_distance_of_the_file() -> None:
    track = track_of(sampled(WHEEL))
    for start_s, end_s in BELLS:
        metres = float(np.diff(track.metres_at(np.array([start_s, end_s])))[0])
        assert metres == pytest.approx(WHEEL.grown(WHEEL.metres, start_s, end_s), abs=0.5)


def test_a_distance_that_starts_again_runs_on() -> None:
    recording = sampled(WHEEL)
    assert recording.distance_m is not None
    again = np.where(
        recording.time_s >= 120,
        recording.distance_m - recording.distance_m[120],
        recording.distance_m,
    )
    track = track_of(replace(recording, distance_m=again))
    metres = float(np.diff(track.metres_at(np.array([60.0, 240.0])))[0])
    assert metres == pytest.approx(WHEEL.grown(WHEEL.metres, 60, 240), abs=5)


def test_without_a_distance_metres_come_from_the_speed() -> None:
    track = track_of(sampled(WHEEL, ("speed",)))
    metres = float(np.diff(track.metres_at(np.array([60.0, 240.0])))[0])
    assert metres == pytest.approx(WHEEL.grown(WHEEL.metres, 60, 240), rel=0.01)


def any_wheel(starts: list[float], lengths: list[float], watts: list[float]) -> Wheel:
    pulls = [
        (60.0 * n + start, 60.0 * n + start + length, power)
        for n, (start, length, power) in enumerate(zip(starts, lengths, watts, strict=True))
    ]
    return spun(pulls, 0, 60.0 * len(pulls))


three = st.lists(st.floats(0, 1), min_size=3, max_size=3)


@given(starts=three, lengths=three, watts=three, cut_s=st.floats(1, 179))
def test_a_count_never_falls_and_its_parts_make_the_whole(
    starts: list[float], lengths: list[float], watts: list[float], cut_s: float
) -> None:
    wheel = any_wheel(
        [5 + 10 * x for x in starts], [5 + 30 * x for x in lengths], [60 + 300 * x for x in watts]
    )
    track = track_of(sampled(wheel))
    at = np.linspace(0, 180, 721)
    assert (np.diff(track.calories_at(at)) > -0.05).all()
    assert grown(track, 0, cut_s) + grown(track, cut_s, 180) == pytest.approx(grown(track, 0, 180))
    true = wheel.grown(wheel.calories, 0, 180)
    assert grown(track, 0, 180) == pytest.approx(true, abs=1.0)


@given(watts=st.floats(60, 400))
def test_the_fraction_stays_inside_what_the_display_shows(watts: float) -> None:
    recording = sampled(spun(((3.0, 117.0, watts),), 0, 140))
    track = track_of(recording)
    assert track.calories is not None
    assert recording.calories is not None
    over = track.calories - recording.calories
    assert over.min() > -0.6
    assert over.max() < 1.6
