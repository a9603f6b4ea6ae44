"""A machine's file whose clock stood in the rests: the pauses put back, and the way back again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.recording import Floats, Recording
from reconcile.align.device_clock import DeviceClock
from reconcile.align.pull_chain import summed_out
from reconcile.align.signals import Signals, prepare
from reconcile.align.stopped_clock import (
    on_device_clock,
    paused_shares,
    pulls_between_stops,
    spread_out,
)
from reconcile.align.whole_class import Placed, place_class
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin, Upload
from reconcile.engine import reconcile_class
from reconcile.history import History
from reconcile.machine import speed_of
from reconcile.plan import Plan
from reconcile.plan_text import read_plan
from reconcile.result import BlockPlacement, Interval
from reconcile.timeline import unfold_block
from tests.reconcile.flywheel import Channel, Wheel, sampled, spun

STATED = datetime(2026, 5, 19, 6, 15, tzinfo=UTC)

CARRY_AND_ROW = read_plan("""\
title: Herring quay
blocks:
  - name: loosen
    rounds: 2
    steps:
      - {work: 40s, tasks: [{movement: machine, effort: easy}]}
      - {rest: 20s}
      - {work: 40s, tasks: [{movement: hip hinge, effort: easy}]}
      - {rest: 20s}
  - name: fetch crates
    free: 4m..7m
  - name: quay
    rounds: 4
    steps:
      - work: 2m30s
        tasks:
          - {movement: crate carry, metres: 40}
          - {movement: machine, most: calories, intended: 45s..75s}
      - rest: 90s
    score: {measure: calories, take: total}
""")
LADDER = read_plan("""\
title: Harbour steps
blocks:
  - name: steps
    steps:
      - {work: 30s, tasks: [{movement: machine, most: metres}]}
      - {rest: 60s}
      - {work: 60s, tasks: [{movement: machine, most: metres}]}
      - {rest: 60s}
      - {work: 90s, tasks: [{movement: machine, most: metres}]}
      - {rest: 60s}
      - {work: 60s, tasks: [{movement: machine, most: metres}]}
      - {rest: 60s}
    score: {measure: metres, take: total}
""")
TURNS = read_plan("""\
title: Two to a boat
blocks:
  - name: boat
    rounds: 5
    steps:
      - {work: 40s, tasks: [{movement: machine, most: metres}]}
      - {rest: 2m20s}
""")
STATIONS = read_plan("""\
title: Round the mast
blocks:
  - name: ring
    rotate: true
    rounds: 4
    steps:
      - {work: 35s, tasks: [{movement: machine, most: calories}]}
      - {rest: 15s}
      - {work: 35s, tasks: [{movement: crate carry}]}
      - {rest: 15s}
      - {work: 35s, tasks: [{movement: hip hinge}]}
      - {rest: 15s}
    score: {measure: calories, take: total}
""")
# Pulls on the block's own clock: (start_s, end_s, watts).
LOOSE = [(1.5, 40.3, 90.0), (122.0, 160.4, 95.0)]
QUAY = [(88.0, 150.6, 210.0), (331.0, 390.4, 205.0), (573.0, 630.8, 200.0), (812.0, 870.5, 215.0)]
STEPS = [(1.6, 30.5, 230.0), (92.0, 150.2, 220.0), (211.3, 300.6, 210.0), (361.8, 420.3, 225.0)]
FREE_S = 395.0


@dataclass(frozen=True, eq=False)
class Stopped:
    """A recording whose clock stood, and what the clock showed at a time of the class."""

    recording: Recording
    wheel: Wheel
    first_s: float
    pauses: tuple[tuple[float, float], ...]

    def shown(self, at_s: float) -> float:
        """The device's own time; before the first sample it counts backwards."""
        stood = sum(max(0.0, min(end, at_s) - start) for start, end in self.pauses if start < at_s)
        return at_s - self.first_s - stood


def stopped(
    pulls: Sequence[tuple[float, float, float]],
    channels: Sequence[Channel] = ("power", "speed", "distance", "count", "cadence"),
    *,
    wait_s: float = 4.0,
    lead_s: float = 200.0,
) -> Stopped:
    """A rower that pauses `wait_s` after its wheel came to rest, and goes on at the next pull."""
    wheel = spun(pulls, pulls[0][0] - lead_s, pulls[-1][1] + 40.0)
    pauses = [(pulls[0][0] - lead_s + wait_s, pulls[0][0] - 0.25)] if lead_s > wait_s else []
    for (_, end_s, _), (next_s, _, _) in pairwise(pulls):
        turning = wheel.time_s[(wheel.speed_m_s > 0.6) & (wheel.time_s < next_s)]
        if next_s - float(turning[-1]) > wait_s + 2.0:
            pauses.append((float(turning[-1]) + wait_s, next_s - 0.25))
        assert turning[-1] > end_s
    whole = sampled(wheel, channels, dated=False)
    at_s = whole.time_s + float(wheel.time_s[0])
    kept = np.all([(at_s <= low) | (at_s >= high) for low, high in pauses], axis=0)
    stand = Stopped(whole, wheel, float(at_s[0]), tuple(pauses))

    def left(column: Floats | None) -> Floats | None:
        return None if column is None else column[kept]

    recording = replace(
        whole,
        time_s=np.round([stand.shown(float(moment)) for moment in at_s[kept]], 1),
        sample_count=int(kept.sum()),
        power_w=left(whole.power_w),
        speed_m_s=left(whole.speed_m_s),
        distance_m=left(whole.distance_m),
        calories=left(whole.calories),
        cadence_per_min=left(whole.cadence_per_min),
    )
    return replace(stand, recording=recording)


def moved(
    pulls: Sequence[tuple[float, float, float]], by_s: float
) -> list[tuple[float, float, float]]:
    return [(start + by_s, end + by_s, watts) for start, end, watts in pulls]


def class_of(plan: Plan, recording: Recording, pins: tuple[Pin, ...] = ()) -> ClassRecord:
    """One athlete, one file."""
    upload = Upload("c04.rower.csv", ("c04",), "rower", recording)
    return ClassRecord(plan, STATED, 600.0, (Athlete("c04"),), (), (upload,), pins=pins)


def placed(record: ClassRecord) -> Placed:
    signals = [item for upload in record.uploads if (item := prepare(upload, None)) is not None]
    return place_class(record, signals, History())[record.uploads[0].file]


def reported(item: Placed) -> dict[str, BlockPlacement]:
    """Starts on the device's own clock; the likeliest where there are several."""
    assert item.signals.device_clock is not None
    blocks = on_device_clock(item.placement.blocks, item.signals.device_clock)
    return {block.block: block for block in reversed(blocks)}


MAIN_S = 240.0 + FREE_S
WHOLE = [*LOOSE, *moved(QUAY, MAIN_S)]

# The map between the two clocks ------------------------------------------------------------------

TWO_PAUSES = DeviceClock(np.array([10.0, 25.0]), np.array([100.0, 7.0]))


@pytest.mark.parametrize(
    ("device_s", "running_s"),
    [(-5.0, -5.0), (0.0, 0.0), (9.5, 9.5), (10.0, 110.0), (24.0, 124.0), (25.0, 132.0), (30, 137)],
)
def test_time_goes_on_by_every_pause_passed(device_s: float, running_s: float) -> None:
    assert TWO_PAUSES.running(device_s) == pytest.approx(running_s)
    assert TWO_PAUSES.device(running_s) == pytest.approx(device_s)


@pytest.mark.parametrize("running_s", [10.0, 10.5, 60.0, 109.9])
def test_all_through_a_pause_the_clock_shows_the_same(running_s: float) -> None:
    assert TWO_PAUSES.device(running_s) == pytest.approx(10.0)


@st.composite
def clocks(draw: st.DrawFn) -> DeviceClock:
    gaps = draw(st.lists(st.floats(0.5, 300), min_size=1, max_size=8))
    pauses = draw(st.lists(st.floats(0.5, 900), min_size=len(gaps), max_size=len(gaps)))
    return DeviceClock(np.cumsum(gaps), np.array(pauses))


@given(clocks(), st.lists(st.floats(-500, 3000), min_size=2, max_size=20))
def test_there_and_back_is_where_one_was_and_order_is_kept(
    clock: DeviceClock, times: list[float]
) -> None:
    device_s = np.sort(np.array(times))
    running_s = clock.running(device_s)
    assert clock.device(running_s) == pytest.approx(device_s, abs=1e-6)
    assert np.all(np.diff(running_s) >= np.diff(device_s) - 1e-9)
    assert np.all(np.diff(clock.device(np.sort(running_s + 3.0))) >= -1e-9)


# Where the clock may have stood ------------------------------------------------------------------


def test_rests_of_one_length_ended_in_a_pause_and_shorter_ones_did_not() -> None:
    shares = paused_shares(np.array([4.1, 3.9, 4.0, 1.0, np.nan, 4.2, -1.5]), 0.4)
    assert np.all(shares[[0, 1, 2, 5]] > 0.9)
    assert np.all(shares[[3, 6]] < 0.4)
    assert shares[4] == 0


def test_a_stop_is_found_before_every_pull_that_follows_a_rest() -> None:
    file = stopped(WHOLE)
    pulls = pulls_between_stops(signals_of(file.recording))
    assert pulls is not None
    truth = [file.shown(end - 0.01) for _, end in file.pauses]
    assert pulls.restart_s == pytest.approx(truth, abs=0.7)


@pytest.mark.parametrize("change", ["date", "gap", "long rest"])
def test_a_clock_that_surely_went_on_is_left_alone(change: str) -> None:
    recording = stopped(WHOLE).recording
    if change == "date":
        recording = replace(recording, start=STATED)
    elif change == "gap":
        late = np.where(recording.time_s > 120.0, 30.0, 0.0)
        recording = replace(recording, time_s=recording.time_s + late)
    else:
        recording = sampled(spun(WHOLE, -20.0, WHOLE[-1][1] + 40.0), dated=False)
    assert pulls_between_stops(signals_of(recording)) is None


def signals_of(recording: Recording) -> Signals:
    signals = prepare(Upload("c04.rower.csv", ("c04",), "rower", recording), None)
    assert signals is not None
    return signals


def test_short_rests_that_fit_the_plan_are_no_stops() -> None:
    # 40 s of work and 12 s of rest: the rests are as long as a device's wait, and as the plan says.
    plan = read_plan("""\
title: Short tides
blocks:
  - name: tides
    rounds: 8
    steps:
      - {work: 40s, tasks: [{movement: machine, most: metres}]}
      - {rest: 12s}
""")
    pulls = [(52.0 * n + 1.5, 52.0 * n + 40.4, 220.0) for n in range(8)]
    item = placed(class_of(plan, sampled(spun(pulls, -8.0, 440.0), dated=False)))
    assert item.signals.device_clock is None
    assert item.start_of("tides") == pytest.approx(8.0, abs=1.0)


def test_what_the_wheel_rolled_in_a_pause_is_no_burst_of_speed() -> None:
    # 0.4 m/s of rolling, then a clock that stood for half a minute (12 m), then three strokes.
    recording = Recording(
        "csv",
        "rower",
        None,
        7,
        np.array([0.0, 1.0, 2.0, 2.5, 3.5, 4.5, 5.5]),
        distance_m=np.array([0.0, 0.4, 0.8, 12.8, 14.3, 17.0, 20.6]),
    )
    assert speed_of(recording) == pytest.approx([0.4, 0.4, 0.4, 1.5, 1.5, 2.7, 3.6])


# Known answers -----------------------------------------------------------------------------------

BROKEN = [*moved(QUAY, MAIN_S)]
BROKEN[1:2] = [(MAIN_S + 331.0, MAIN_S + 356.0, 205.0), (MAIN_S + 363.0, MAIN_S + 390.4, 190.0)]
CASES = {
    "everything done": (CARRY_AND_ROW, WHOLE, {"loosen": 0.0, "quay": MAIN_S}, 200.0),
    "from the first pull": (CARRY_AND_ROW, WHOLE, {"loosen": 0.0, "quay": MAIN_S}, 0.0),
    "a pull broken off and taken up again": (
        CARRY_AND_ROW, [*LOOSE, *BROKEN], {"loosen": 0.0, "quay": MAIN_S}, 200.0,
    ),
    "easy pulling in a rest": (
        CARRY_AND_ROW,
        [*LOOSE, *moved([QUAY[0], (165.0, 200.0, 70.0), *QUAY[1:]], MAIN_S)],
        {"loosen": 0.0, "quay": MAIN_S}, 200.0,
    ),
    "machine first": (LADDER, STEPS, {"steps": 0.0}, 0.0),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_blocks_begin_where_the_devices_clock_showed_it(name: str) -> None:
    plan, pulls, starts, lead_s = CASES[name]
    file = stopped(pulls, lead_s=lead_s)
    item = placed(class_of(plan, file.recording))
    assert item.placement.status == "aligned"
    found = reported(item)
    for block, start_s in starts.items():
        assert found[block].start_s == pytest.approx(file.shown(start_s), abs=1.5)
        assert found[block].low_s <= file.shown(start_s) <= found[block].high_s


@pytest.mark.parametrize(
    "channels", [("power",), ("speed",), ("distance", "power"), ("power", "speed", "count")]
)
def test_few_columns_do(channels: tuple[Channel, ...]) -> None:
    file = stopped(WHOLE, channels)
    item = placed(class_of(CARRY_AND_ROW, file.recording))
    assert item.placement.status == "aligned"
    assert reported(item)["quay"].start_s == pytest.approx(file.shown(MAIN_S), abs=1.5)


def test_every_interval_has_its_own_count() -> None:
    file = stopped(WHOLE)
    result = reconcile_class(class_of(CARRY_AND_ROW, file.recording))
    quay = [each for each in result.athletes[0].intervals if each.block == "quay"]
    work = [each for each in quay if each.kind == "work"]
    assert len(work) == 4
    for each, (start_s, end_s, watts) in zip(work, moved(QUAY, MAIN_S), strict=True):
        bell_s = MAIN_S + 240.0 * (each.round - 1)
        counted = file.wheel.grown(file.wheel.calories, bell_s, bell_s + 150.0)
        assert each.machine_calories == pytest.approx(counted, abs=1.2)
        assert each.machine_start_s == pytest.approx(start_s - bell_s, abs=1.5)
        assert each.machine_end_s == pytest.approx(end_s - bell_s, abs=1.5)
        assert each.mean_power_w == pytest.approx(watts, abs=6)


def test_a_round_skipped_between_others_is_seen_where_lengths_tell() -> None:
    # The ladder without its rung of 90 s: only lengths can tell which one is missing.
    pulls = [pull for pull in STEPS if pull != STEPS[2]]
    result = reconcile_class(class_of(LADDER, stopped(pulls).recording))
    work = [each for each in result.athletes[0].intervals if each.kind == "work"]
    assert [pulled(each) for each in work] == [True, True, False, True]


def pulled(interval: Interval) -> bool:
    assert interval.machine_active_s is not None
    return interval.machine_active_s > 5


def test_who_shares_a_machine_in_turns_is_told_apart_by_the_plan() -> None:
    # Each has the machine while the other rests; its clock stands while neither pulls.
    first = [(180.0 * n + 1.4, 180.0 * n + 40.3, 230.0) for n in range(5)]
    second = [(180.0 * n + 91.6, 180.0 * n + 130.2, 150.0) for n in range(5)]
    upload = Upload(
        "c04+c05.rower.csv", ("c04", "c05"), "rower", stopped(sorted([*first, *second])).recording
    )
    record = ClassRecord(
        TURNS, STATED, 600.0, (Athlete("c04"), Athlete("c05", delay_s=90.0)), (), (upload,)
    )
    item = placed(record)
    assert item.placement.status == "aligned"
    assert item.signals.device_clock is not None
    for athlete, watts in zip(reconcile_class(record).athletes, (230.0, 150.0), strict=True):
        work = [each for each in athlete.intervals if each.kind == "work"]
        assert [each.mean_power_w for each in work] == pytest.approx([watts] * 5, abs=6)


def test_a_nameless_file_whose_clock_stood_between_turns_is_of_those_who_had_them() -> None:
    # Three stations, of which two had somebody on this machine: the third is at the skis.
    turns = [
        (150.0 * round_ + 50.0 * place + late, 150.0 * round_ + 50.0 * place + 36.5, watts)
        for round_ in range(4)
        for place, late, watts in ((0, 1.4, 230.0), (2, 3.0, 150.0))
    ]
    rower = [LoggedScore(name, "ring", equipment="rower") for name in ("c04", "c06")]
    record = ClassRecord(
        STATIONS,
        STATED,
        600.0,
        (Athlete("c04", station=1), Athlete("c05", station=3), Athlete("c06", station=2)),
        (*rower, LoggedScore("c05", "ring", equipment="ski")),
        (Upload("unassigned.rower.1.csv", (), "rower", stopped(turns).recording),),
    )
    entry = reconcile_class(record).unassigned[0]
    assert entry.status == "aligned"
    assert entry.belongs_to == ("c04", "c06")


def test_pulls_of_another_workout_are_not_of_this_class() -> None:
    pulls = [(55.0 * n, 55.0 * n + 22.0, 260.0) for n in range(16)]
    item = placed(class_of(CARRY_AND_ROW, stopped(pulls).recording))
    assert item.placement.status == "unmatched"
    assert item.signals.device_clock is None


def test_what_a_coach_fixed_by_hand_holds() -> None:
    # Left alone, the first pull is taken for the loosening; the coach saw the main block begin.
    file = stopped([*LOOSE[1:], *moved(QUAY, MAIN_S)])
    first_pull_s = file.shown(LOOSE[1][0])
    pin = Pin("c04.rower.csv", block="quay", start_s=first_pull_s - 0.3)
    item = placed(class_of(CARRY_AND_ROW, file.recording, (pin,)))
    assert item.placement.status == "aligned"
    assert reported(item)["quay"].start_s == pytest.approx(first_pull_s - 0.3, abs=1.0)
    assert item.signals.track is not None
    assert item.signals.track.pulls[0].start_s > (item.start_of("quay") or np.inf)


# What spreading out may not change ---------------------------------------------------------------

RECORDED = signals_of(stopped(WHOLE).recording)


@given(st.lists(st.floats(0.0, 2000.0), min_size=6, max_size=6))
def test_spreading_out_changes_neither_the_count_nor_the_work(pauses: list[float]) -> None:
    pulls = pulls_between_stops(RECORDED)
    assert pulls is not None
    clock = DeviceClock(pulls.restart_s, np.array(pauses))
    spread = spread_out(RECORDED, clock, pulls.chain.bouts)
    before, after = RECORDED.track, spread.track
    assert before is not None
    assert after is not None
    assert after.time_s[-1] - after.time_s[0] == pytest.approx(
        before.time_s[-1] - before.time_s[0] + sum(pauses)
    )
    assert after.calories is before.calories
    assert after.metres is before.metres
    assert after.pulled_power_w is before.pulled_power_w
    for one, other in zip(before.pulls, after.pulls, strict=True):
        assert other.end_s - other.start_s == pytest.approx(one.end_s - one.start_s, abs=1e-6)
        assert other.mean_power_w == one.mean_power_w
        assert np.ptp(after.calories_at(np.array([other.start_s, other.end_s]))) == pytest.approx(
            np.ptp(before.calories_at(np.array([one.start_s, one.end_s]))), abs=0.5
        )
    recording = spread.upload.recording
    assert recording is not None
    assert clock.device(recording.time_s) == pytest.approx(before.time_s, abs=1e-6)


# The sums of the chain against every path written out (Rabiner 1989, equations 13, 19 and 27) -----


@given(st.integers(0, 2**32 - 1))
def test_the_chain_sums_up_what_all_its_paths_weigh(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pulls, places = 3, 4
    evidence = rng.normal(0.0, 2.0, (pulls, 2, 2, places))
    paused, breaks = rng.uniform(0.0, 1.0, pulls - 1), rng.uniform(0.0, 0.5, pulls - 1)
    density = rng.uniform(0.1, 1.0, (pulls, places))
    log_evidence, marginals = summed_out(evidence, paused, breaks, density)
    expected = np.zeros((pulls, places))
    for path in product(range(places), repeat=pulls):
        for going in product((0, 1), repeat=pulls - 1):
            weight = path_weight(path, going, evidence, paused, breaks, density)
            for pull, place in enumerate(path):
                expected[pull, place] += weight
    total = float(expected[0].sum())
    assert log_evidence == pytest.approx(np.log(total), abs=1e-9)
    assert marginals == pytest.approx(expected / total, abs=1e-9)


def path_weight(
    path: tuple[int, ...],
    going: tuple[int, ...],
    evidence: Floats,
    paused: Floats,
    breaks: Floats,
    density: Floats,
) -> float:
    """One path's weight, term by term: begin, stay, or move on by a pause, half a second a place.

    going: 1 after each pull that goes on in the same effort.
    """
    states = (0, *going, 0)
    weight = float(density[0, path[0]] / density[0].sum())
    for pull, place in enumerate(path):
        weight *= float(np.exp(evidence[pull, states[pull], states[pull + 1], place]))
        if pull == 0:
            continue
        before, q, b = path[pull - 1], paused[pull - 1], breaks[pull - 1]
        if states[pull]:
            weight *= b if place == before else 0.0
        elif place == before:
            weight *= (1 - q) * (1 - b)
        else:
            weight *= q * (1 - b) * density[pull, place] * 0.5 if place > before else 0.0
    return weight


def test_the_plans_of_these_tests_are_as_described() -> None:
    assert unfold_block(CARRY_AND_ROW.timed_blocks[1])[-1].end_s == 960.0
    assert CARRY_AND_ROW.timed_blocks[0].duration_s == 240.0
    assert unfold_block(LADDER.timed_blocks[0])[-1].end_s == 480.0
