"""Each step as it was done: whose pull it is, active time, what the display counted, heart rate.

Every rule here is the contract's (`intervals` of the class folder); the pulls are made by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.recording import Floats
from reconcile.intervals import interval
from reconcile.machine import MachineTrack, machine_track
from reconcile.plan import Step, Task, TimedBlock
from reconcile.result import Interval
from reconcile.through_bells import cut_at_bells
from reconcile.timeline import PlannedStep, unfold_block
from tests.reconcile.flywheel import Channel, Wheel, sampled, spun, without_samples

CARRY = Task("sandbag carry", "metres", 20)
MACHINE = Task("machine", "calories", most=True)
WORK_S, REST_S = 60.0, 70.0
ROUND_S = WORK_S + REST_S


def block(*tasks: Task, rounds: int = 3, rest_s: float = REST_S) -> tuple[PlannedStep, ...]:
    return unfold_block(
        TimedBlock("main", rounds, (Step("work", WORK_S, tasks), Step("rest", rest_s)))
    )


STEPS = block(MACHINE)


def track_of(
    wheel: Wheel, channels: tuple[Channel, ...] = ("power", "speed", "distance", "count")
) -> MachineTrack:
    """The wheel's track on the block's clock; the recording begins at the wheel's first second."""
    track = machine_track(sampled(wheel, channels), wheel.machine, "a.rower.fit")
    assert track is not None
    return track.shifted(float(wheel.time_s[0]))


def done(
    pulls: list[tuple[float, float, float]],
    steps: tuple[PlannedStep, ...] = STEPS,
    *,
    first_s: float = -30.0,
    last_s: float | None = None,
) -> list[Interval]:
    """The intervals of a block whose machine was pulled so."""
    end_s = steps[-1].end_s + 30.0 if last_s is None else last_s
    track = cut_at_bells(track_of(spun(pulls, first_s, end_s)), steps)
    return [interval(steps, index, [track], None, {}, 0.0) for index in range(len(steps))]


def work(intervals: list[Interval]) -> list[Interval]:
    return [one for one in intervals if one.kind == "work"]


def test_a_pull_inside_its_step_is_told_from_the_steps_planned_start() -> None:
    first, rest, second, *_ = done([(4.0, 58.0, 200.0), (ROUND_S + 10.0, ROUND_S + 50.0, 180.0)])
    assert first.machine_start_s == pytest.approx(4.0, abs=0.7)
    assert first.machine_end_s == pytest.approx(58.0, abs=0.3)
    assert first.machine_active_s == pytest.approx(54.0, abs=0.8)
    assert first.mean_power_w == pytest.approx(200.0, abs=2.0)
    assert first.attempted is True
    assert second.machine_start_s == pytest.approx(10.0, abs=0.7)
    assert (rest.machine_active_s, rest.machine_start_s, rest.mean_power_w) == (0.0, None, None)
    assert rest.attempted is None


def test_a_pull_over_the_bell_belongs_whole_to_its_step_but_is_active_to_the_bell() -> None:
    first, rest, *_ = done([(10.0, 63.5, 200.0)])
    assert first.machine_end_s == pytest.approx(63.5, abs=0.3)
    assert first.machine_active_s == pytest.approx(50.0, abs=0.8)
    assert rest.machine_active_s == 0.0
    assert rest.machine_start_s is None


def test_what_the_flywheel_adds_after_the_bell_is_counted_in_the_rest() -> None:
    wheel = spun([(10.0, 60.0, 250.0)], -30, 180)
    track = cut_at_bells(track_of(wheel), STEPS)
    first = interval(STEPS, 0, [track], None, {}, 0.0)
    rest = interval(STEPS, 1, [track], None, {}, 0.0)
    assert first.machine_calories == pytest.approx(wheel.grown(wheel.calories, 0, 60), abs=0.4)
    assert rest.machine_calories == pytest.approx(wheel.grown(wheel.calories, 60, ROUND_S), abs=0.4)
    assert rest.machine_calories is not None
    assert rest.machine_calories > 0.5
    assert rest.machine_active_s == 0.0


def test_a_pull_begun_a_moment_before_the_bell_is_the_coming_steps() -> None:
    intervals = done([(ROUND_S - 2.0, ROUND_S + 40.0, 200.0)])
    before, second = intervals[1], intervals[2]
    assert second.machine_start_s == pytest.approx(-2.0, abs=0.7)
    assert second.machine_active_s == pytest.approx(40.0, abs=0.5)
    assert before.machine_active_s == 0.0


def test_easy_pulling_in_a_rest_belongs_to_the_rest() -> None:
    _, rest, *_ = done([(5.0, 60.0, 220.0), (75.0, 110.0, 60.0)])
    assert rest.machine_start_s == pytest.approx(15.0, abs=0.8)
    assert rest.machine_active_s == pytest.approx(35.0, abs=1.0)
    assert rest.mean_power_w == pytest.approx(60.0, abs=3.0)


def test_who_pulls_on_easily_after_the_bell_worked_to_the_bell_and_easily_after_it() -> None:
    first, rest, *_ = done([(5.0, 60.0, 220.0), (60.0, 110.0, 60.0)])
    assert first.machine_end_s == pytest.approx(60.0, abs=1.0)
    assert first.mean_power_w == pytest.approx(220.0, abs=4.0)
    assert rest.machine_active_s == pytest.approx(50.0, abs=5.0)
    assert rest.mean_power_w == pytest.approx(60.0, abs=12.0)


def test_pedalling_that_never_stops_gives_every_step_its_own_share() -> None:
    hard = [(ROUND_S * n, ROUND_S * n + WORK_S, 240.0 + 20 * n) for n in range(3)]
    soft = [(ROUND_S * n + WORK_S, ROUND_S * (n + 1), 70.0) for n in range(3)]
    intervals = done(sorted([(-25.0, 0.0, 70.0), *hard, *soft]))
    for one in intervals:
        # The last rest ends in real coasting, and slowing under easy pedalling looks much like it.
        assert one.machine_active_s == pytest.approx(one.planned_s, abs=2.5)
    assert [one.mean_power_w for one in work(intervals)] == [
        pytest.approx(240, abs=5), pytest.approx(260, abs=5), pytest.approx(280, abs=5)
    ]  # fmt: skip
    assert all(one.mean_power_w == pytest.approx(70, abs=8) for one in intervals[1::2])


def test_two_pulls_in_a_step_are_both_counted_and_the_pause_is_not() -> None:
    first, *_ = done([(5.0, 25.0, 200.0), (35.0, 59.0, 200.0)])
    assert first.machine_start_s == pytest.approx(5.0, abs=0.7)
    assert first.machine_end_s == pytest.approx(59.0, abs=0.3)
    assert first.machine_active_s == pytest.approx(44.0, abs=1.2)


def test_with_a_recording_and_no_pull_there_are_zeros_and_nothing_else() -> None:
    intervals = done([(5.0, 55.0, 200.0)])
    third = intervals[4]
    assert (third.machine_active_s, third.machine_calories, third.machine_metres) == (0, 0, 0)
    assert (third.machine_start_s, third.machine_end_s, third.mean_power_w) == (None, None, None)
    assert third.attempted is False


def test_where_the_machine_is_one_task_of_two_no_pull_is_no_proof_of_a_skipped_round() -> None:
    second = done([(30.0, 55.0, 200.0)], block(CARRY, MACHINE))[2]
    assert second.machine_active_s == 0.0
    assert second.attempted is None


def test_without_a_machine_recording_nothing_is_said_of_the_machine() -> None:
    one = interval(STEPS, 0, [], None, {}, 0.0)
    assert one.machine_active_s is None
    assert one.machine_calories is None
    assert one.attempted is None


def test_steps_that_the_recording_does_not_cover_are_not_called_idle() -> None:
    # It begins in the rest of round 1, still, and ends in the rest of round 2.
    intervals = done(
        [(ROUND_S + 5.0, ROUND_S + 55.0, 200.0)], first_s=90.0, last_s=ROUND_S + WORK_S + 20.0
    )
    assert intervals[0].machine_active_s is None
    assert intervals[0].attempted is None
    assert intervals[2].machine_active_s == pytest.approx(50, abs=1)
    assert intervals[4].machine_active_s is None
    assert intervals[4].attempted is None


def test_a_machine_that_records_from_its_first_pull_was_still_before_it() -> None:
    intervals = done([(ROUND_S + 5.0, ROUND_S + 55.0, 200.0)], first_s=ROUND_S + 5.0)
    assert intervals[0].machine_active_s == 0.0
    assert intervals[0].attempted is False
    assert intervals[2].attempted is True


def test_work_recorded_twice_counts_once_and_the_machines_own_count_wins() -> None:
    wheel = spun([(5.0, 58.0, 220.0)], -30, 180)
    machine = track_of(wheel)
    phone = track_of(wheel, ("power", "speed"))
    assert phone.calories is not None
    # The phone's estimate is out by a tenth, and it saw the pull a moment longer.
    phone = replace(
        phone,
        file="a.unknown.fit",
        calories=phone.calories * 1.1,
        pulls=tuple(replace(pull, end_s=pull.end_s + 0.6) for pull in phone.pulls),
    )
    for tracks in ([machine, phone], [phone, machine]):
        one = interval(STEPS, 0, tracks, None, {}, 0.0)
        true = wheel.grown(wheel.calories, 0, 60)
        assert one.machine_calories == pytest.approx(true, abs=0.4)


def test_of_two_machines_the_one_that_was_pulled_tells_the_step() -> None:
    rower = track_of(spun([(5.0, 58.0, 220.0)], -30, 400))
    other = track_of(spun([(ROUND_S + 5.0, ROUND_S + 58.0, 180.0)], -30, 400))
    powers = [interval(STEPS, n, [rower, other], None, {}, 0.0).mean_power_w for n in (0, 2)]
    assert powers == [pytest.approx(220, abs=2), pytest.approx(180, abs=2)]


def test_effort_starts_and_ends_with_the_machine_where_it_is_all_there_is_to_do() -> None:
    first = done([(4.0, 58.0, 200.0)])[0]
    assert (first.effort_start_s, first.effort_end_s) == (
        first.machine_start_s, first.machine_end_s
    )  # fmt: skip


def test_effort_before_the_machine_is_not_seen_by_the_machine() -> None:
    first = done([(30.0, 58.0, 200.0)], block(CARRY, MACHINE))[0]
    assert first.effort_start_s is None
    assert first.effort_end_s == first.machine_end_s


def falling(time_s: Floats) -> Floats:
    """A heart at 170 that falls to 100 with a time constant of 50 s from the first bell's rest."""
    return np.asarray(100 + 70 * np.exp(-np.maximum(time_s - WORK_S, 0) / 50))


def of_heart(time_s: Floats, bpm: Floats, index: int) -> Interval:
    return interval(STEPS, index, [], (time_s, bpm), {}, 0.0)


def test_the_drop_in_the_first_minute_of_rest_is_start_less_a_minute_later() -> None:
    time_s = np.arange(-20.0, 400.0)
    rest = of_heart(time_s, falling(time_s), 1)
    # 70 · (1 − e^(−60/50)) = 48.9
    assert rest.hr_drop_60s == pytest.approx(48.9, abs=1.0)
    assert of_heart(time_s, falling(time_s), 0).hr_drop_60s is None


def test_a_rest_shorter_than_a_minute_has_no_drop() -> None:
    steps = block(MACHINE, rest_s=59.0)
    time_s = np.arange(-20.0, 400.0)
    assert interval(steps, 1, [], (time_s, falling(time_s)), {}, 0.0).hr_drop_60s is None
    steps = block(MACHINE, rest_s=60.0)
    assert interval(steps, 1, [], (time_s, falling(time_s)), {}, 0.0).hr_drop_60s is not None


def test_mean_and_peak_are_those_inside_the_step() -> None:
    time_s = np.arange(-20.0, 400.0)
    bpm = 120 + np.minimum(np.maximum(time_s, 0), 60) / 2
    first = of_heart(time_s, bpm, 0)
    assert first.mean_hr == pytest.approx(134.75, abs=0.6)
    assert first.peak_hr == pytest.approx(149.5, abs=0.6)


@pytest.mark.parametrize("every_s", [2.0, 4.0, 7.0])
def test_a_watch_that_records_only_changes_has_the_same_heart(every_s: float) -> None:
    time_s = np.arange(-20.0, 400.0, every_s)
    rest = of_heart(time_s, falling(time_s), 1)
    whole = of_heart(np.arange(-20.0, 400.0), falling(np.arange(-20.0, 400.0)), 1)
    assert rest.mean_hr == pytest.approx(whole.mean_hr, abs=1.0)
    assert rest.peak_hr == pytest.approx(whole.peak_hr, abs=5.0)
    assert rest.hr_drop_60s == pytest.approx(whole.hr_drop_60s, abs=3.0)


def test_what_a_sensor_missed_for_most_of_a_step_is_not_made_up() -> None:
    time_s = np.arange(-20.0, 400.0)
    bpm = falling(time_s)
    bpm[(time_s > 10) & (time_s < 55)] = np.nan
    assert of_heart(time_s, bpm, 0).mean_hr is None
    bpm = falling(time_s)
    bpm[(time_s > 112) & (time_s < 130)] = np.nan
    assert of_heart(time_s, bpm, 1).hr_drop_60s is None


def test_a_device_that_lost_contact_in_a_step_reports_what_it_saw() -> None:
    wheel = spun([(5.0, 58.0, 200.0)], -30, 180)
    holed = machine_track(without_samples(sampled(wheel), 50.0, 60.0), "rower", "a.rower.fit")
    assert holed is not None
    one = interval(STEPS, 0, [holed.shifted(-30.0)], None, {}, 0.0)
    assert one.machine_start_s == pytest.approx(5.0, abs=0.7)
    assert one.machine_end_s == pytest.approx(58.0, abs=0.3)
    assert one.machine_active_s == pytest.approx(53.0 - 10.0, abs=2.0)


@given(start_s=st.floats(0.0, 40.0), length_s=st.floats(4.0, 55.0), watts=st.floats(80.0, 350.0))
def test_the_intervals_calories_are_the_growth_of_the_count_over_the_block(
    start_s: float, length_s: float, watts: float
) -> None:
    pulls = [(ROUND_S * n + start_s, ROUND_S * n + start_s + length_s, watts) for n in range(3)]
    wheel = spun(pulls, -30, 3 * ROUND_S + 30)
    track = track_of(wheel)
    intervals = [
        interval(STEPS, index, [cut_at_bells(track, STEPS)], None, {}, 0.0)
        for index in range(len(STEPS))
    ]
    counted = [one.machine_calories or 0.0 for one in intervals]
    ends = track.calories_at(np.array([0.0, STEPS[-1].end_s]))
    assert sum(counted) == pytest.approx(ends[1] - ends[0], abs=1e-6)
    assert all(one.machine_active_s is not None for one in intervals)
    assert all(0 <= (one.machine_active_s or 0) <= one.planned_s for one in intervals)


@given(by_s=st.floats(0.05, 0.95))
def test_where_the_samples_fall_moves_no_edge_by_more_than_one(by_s: float) -> None:
    wheel = spun([(7.2, 51.6, 210.0)], -30, 180)
    track = machine_track(sampled(wheel, first_s=-30 + by_s), "rower", "a.rower.fit")
    assert track is not None
    one = interval(STEPS, 0, [track.shifted(-30 + by_s)], None, {}, 0.0)
    assert one.machine_start_s == pytest.approx(7.2, abs=0.7)
    assert one.machine_end_s == pytest.approx(51.6, abs=0.3)
