"""The simulator is as hard as the description of a real class, and its truth is true."""

from __future__ import annotations

import ast
import dataclasses
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from api.folder.reading import read_class_folder
from ingest.recording import Recording
from reconcile.plan_text import read_plan
from reconcile.timeline import unfold_block
from tests.bench.simulator import simulate
from tests.bench.simulator.bodies import draw_body
from tests.bench.simulator.devices import Take, string_together
from tests.bench.simulator.machine import DRAG, STEP_S, Machine, draw_machine, power_profile
from tests.bench.simulator.members import draw_first_block
from tests.bench.simulator.movements import MOVEMENTS
from tests.bench.simulator.perform import Member, Performance, Track, draw_block_starts, perform
from tests.bench.simulator.plans import ALL_FAMILIES, draw_session, session_text
from tests.bench.simulator.rates import DIFFICULTIES, FACTORS, ODDS, Rates, rates_for
from tests.bench.simulator.simulate import simulate_class, write_truth
from tests.bench.simulator.truth import Truth, own_machine, step_truth
from tests.bench.simulator.work import slots_of, ticks

SIMULATOR = Path(simulate.__file__).parent
CODES = {
    "rounding", "counted_coasting", "counted_rest", "missing_round", "extra_round",
    "arithmetic_slip", "digits_swapped", "wrong_measure", "watch_calories", "other_athlete",
    "inflated", "understated", "unexplained",
}  # fmt: skip
# The contract's codes; the medium class's rates of what goes wrong, as shares.
REFERENCE = {
    "drop_out": 0.18, "smart_sampling": 1 / 3, "clock_minutes": 0.10, "clock_hours": 0.05,
    "late_start": 0.10, "early_stop": 0.08, "watch_pauses": 0.06, "held_power": 1 / 3,
    "no_count": 0.18, "no_power": 0.06, "from_first_pull": 0.25, "auto_pause": 0.15,
    "machine_clock": 0.40, "gzipped": 0.12, "unknown_source": 0.08, "no_owner": 0.06,
    "other_day": 0.05, "stranger": 0.125, "broken": 0.04, "missing_score": 0.05,
    "lagging": 0.12, "cadence_lock": 0.10, "grip_noise": 0.18,
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Read:
    """A simulated class and its files as the readers read them."""

    truth: Truth
    recordings: dict[str, Recording | None]


@pytest.fixture(scope="module")
def classes(tmp_path_factory: pytest.TempPathFactory) -> list[Read]:
    """Some classes, read by several tests."""
    top = tmp_path_factory.mktemp("classes")
    found = []
    for seed in range(700, 710):
        truth = simulate_class(seed, top / str(seed))
        uploads = read_class_folder(top / str(seed)).uploads
        found.append(Read(truth, {upload.file: upload.recording for upload in uploads}))
    return found


def performance_of(seed: int, family: str = "opener then machine") -> Performance:
    rng = np.random.default_rng(seed)
    session = draw_session(rng, family)
    members = [
        Member(f"a{n}", draw_body(rng, 2026), "prescribed", kind)
        for n, kind in enumerate(("rower", "ski", "bike"))
    ]
    return perform(rng, session, members, datetime(2026, 3, 1, 18, tzinfo=UTC))


def machine_of(track: Track) -> Machine:
    assert track.doing.machine is not None
    return track.doing.machine


# independence


def test_the_simulator_imports_nothing_from_reconcile_or_api() -> None:
    for path in SIMULATOR.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                assert name.split(".")[0] not in ("reconcile", "api"), path.name
                assert not name.startswith("ingest.read"), path.name


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    truths = [simulate_class(731, tmp_path / name) for name in ("one", "two")]
    assert truths[0] == truths[1]
    files = sorted(p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*.*"))
    assert files
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def test_another_seed_gives_another_class(tmp_path: Path) -> None:
    first, second = (simulate_class(seed, tmp_path / str(seed)) for seed in (741, 742))
    assert first.files != second.files


def test_the_truth_is_written_outside_the_class_folder(tmp_path: Path) -> None:
    truth = simulate_class(732, tmp_path / "class")
    write_truth(truth, tmp_path / "truth.json")
    assert json.loads((tmp_path / "truth.json").read_text())["seed"] == 732
    text = " ".join(path.name for path in (tmp_path / "class").rglob("*"))
    assert "truth" not in text


# as hard as the description


def test_over_the_difficulties_no_rate_is_kinder_than_the_reference() -> None:
    mean = sum(odds * FACTORS[d] for odds, d in zip(ODDS, DIFFICULTIES, strict=True))
    assert mean >= 1.0
    for name, share in REFERENCE.items():
        average = sum(
            odds * getattr(rates_for(d), name) for odds, d in zip(ODDS, DIFFICULTIES, strict=True)
        )
        assert average >= share - 1e-9, name


def test_every_rate_is_a_probability_in_every_difficulty() -> None:
    for difficulty in DIFFICULTIES:
        for item in dataclasses.fields(Rates):
            assert 0 <= getattr(rates_for(difficulty), item.name) <= 1


def test_bodies_fill_the_described_ranges() -> None:
    rng = np.random.default_rng(1)
    bodies = [draw_body(rng, 2026) for _ in range(1500)]
    highest = np.array([b.heart.highest - (208 - 0.7 * b.age) for b in bodies])
    assert abs(highest.mean()) < 1
    assert highest.std() == pytest.approx(8, abs=0.6)
    for name, low, high in (
        ("resting", 48, 75), ("delay_s", 3, 12), ("tau_on_s", 18, 40), ("tau_off_s", 35, 75),
        ("strength_share", 0.02, 0.08),
    ):  # fmt: skip
        values = np.array([getattr(b.heart, name) for b in bodies])
        assert low <= values.min()
        assert values.max() <= high
        assert np.ptp(values) > 0.95 * (high - low)
    for kind, centre in (("rower", 0.198), ("ski", 0.165), ("bike", 0.225)):
        values = np.array([b.efficiency[kind] for b in bodies])
        assert values.mean() == pytest.approx(centre, abs=0.002)
        assert values.std() == pytest.approx(0.013, abs=0.0015)
    for name, low, high in (
        ("critical_share", 0.74, 0.86), ("reserve_j_kg", 140, 300), ("standing_met", 1.7, 3.0),
    ):  # fmt: skip
        values = np.array([getattr(b, name) for b in bodies])
        assert low <= values.min()
        assert values.max() <= high
        assert np.ptp(values) > 0.95 * (high - low)
    costs = np.array([[b.cost_factor[name] for name in MOVEMENTS] for b in bodies])
    assert costs.mean() == pytest.approx(1.0, abs=0.03)
    assert 0.25 <= np.log(costs).std() <= 0.35
    habits = [b.habits for b in bodies]
    assert np.mean([h.stops_early for h in habits]) == pytest.approx(0.10, abs=0.03)
    assert np.mean([h.rows_in_rests for h in habits]) == pytest.approx(1 / 6, abs=0.03)
    assert np.mean([h.start_delay_s >= 5 for h in habits]) == pytest.approx(0.10, abs=0.03)
    assert np.mean([h.kick > 0 for h in habits]) > 0.6


def test_one_free_block_in_five_goes_beyond_its_range() -> None:
    rng = np.random.default_rng(2)
    beyond, all_of_them = 0, 0
    for _ in range(700):
        session = draw_session(rng, "two scored blocks")
        starts, _ = draw_block_starts(rng, session)
        blocks = [b for b in session.blocks if b.name in ("first piece", "break", "second piece")]
        first, free, second = blocks
        length = (starts[second.name] - starts[first.name]) * STEP_S - first.seconds
        low, high = free.free or (0, 0)
        assert 0.8 * low - 0.1 <= length <= 1.2 * high + 0.1
        beyond += length < low - 0.05 or length > high + 0.05
        all_of_them += 1
    assert beyond / all_of_them == pytest.approx(0.2, abs=0.05)


def test_the_stated_start_is_out_by_about_what_the_reference_says() -> None:
    rng = np.random.default_rng(3)
    stated = datetime(2026, 3, 1, 18, tzinfo=UTC)
    errors = [(draw_first_block(rng, stated) - stated).total_seconds() for _ in range(800)]
    assert np.mean(errors) == pytest.approx(30, abs=12)
    assert np.std(errors) == pytest.approx(110, abs=8)
    assert np.abs(errors).max() <= 600


def test_files_people_and_scores_come_at_the_described_rates(classes: list[Read]) -> None:
    files = [file for read in classes for file in read.truth.files]
    people = sum(read.truth.people for read in classes)
    watches = sum(file.kind == "watch" for file in files)
    assert watches / people == pytest.approx(0.84, abs=0.1)
    assert any(file.damage is not None for file in files)
    assert {file.format for file in files} == {"fit", "tcx", "gpx", "csv"}
    scores = [s for read in classes for a in read.truth.athletes for s in a.scores]
    honest = np.mean([s.code == "rounding" for s in scores])
    assert honest == pytest.approx(0.60, abs=0.1)
    missing = np.mean([s.code is None for s in scores])
    assert missing == pytest.approx(0.05, abs=0.04)


# the plan


@pytest.mark.parametrize("family", ALL_FAMILIES)
@pytest.mark.parametrize("option", ["prescribed", "home"])
def test_every_family_s_plan_reads_and_unfolds_to_what_athletes_did(
    family: str, option: str
) -> None:
    rng = np.random.default_rng(4)
    for _ in range(5):
        session = draw_session(rng, family)
        plan = read_plan(session_text(session))
        assert [b.name for b in plan.timed_blocks] == [b.name for b in session.timed]
        for ours, read in zip(session.timed, plan.timed_blocks, strict=True):
            station = 2 if ours.rotate else None
            slots = slots_of(ours, 0, option, station)
            steps = unfold_block(read, option, station)
            assert [(s.round, s.step, s.kind) for s in slots] == [
                (s.round, s.step, s.kind) for s in steps
            ]
            assert [s.end * STEP_S for s in slots] == pytest.approx([s.end_s for s in steps])
            assert [[j.movement for j in s.jobs] for s in slots] == [
                [t.movement for t in s.tasks] for s in steps
            ]


# the machine


@pytest.mark.parametrize("kind", ["rower", "ski", "bike"])
def test_at_a_steady_pace_speed_follows_the_law_of_the_display(kind: str) -> None:
    machine = Machine(kind, 1200, 15.0)
    machine.pull("a", 0, np.full(1000, 200.0), 24)
    assert machine.speed_m_s[990] == pytest.approx((200 / DRAG[kind]) ** (1 / 3), rel=0.005)


def test_the_count_is_the_contract_s_formula() -> None:
    # 200 W for 60 s: (4 · 0.8604 · 200 + 300) / 60 = 16.472 (class-folder contract, by hand).
    machine = Machine("rower", 3000, 15.0)
    machine.pull("a", 0, np.full(2400, 200.0), 24)
    count = machine.count()
    assert count[1500] - count[900] == pytest.approx(16.472, abs=0.001)


def test_the_flywheel_runs_on_and_the_count_with_it() -> None:
    rng = np.random.default_rng(5)
    for kind in ("rower", "ski", "bike"):
        machine = draw_machine(rng, kind, 2000)
        pull = machine.pull("a", 100, power_profile(rng, 600, 220.0, 2.2, fast_start=0.1,
                                                    finish=0.0), 26)  # fmt: skip
        machine.run_to(2000)
        count, speed = machine.count(), machine.speed_m_s
        coasting = np.flatnonzero(speed[pull.end :] > 0.6).size * STEP_S
        assert 2.0 <= coasting <= 15.0
        added = count[-1] - count[pull.end]
        still = 300 / 3600 * coasting
        lost = float((DRAG[kind] * speed[pull.end :] ** 3)[speed[pull.end :] > 0.6].sum()) * STEP_S
        assert added == pytest.approx(still + 4 * 0.8604 * lost / 3600, rel=1e-6)
        assert np.all(np.diff(speed[pull.end + 1 : pull.end + 20]) < 0)


@pytest.mark.parametrize("measure", ["calories", "metres"])
def test_a_fixed_amount_ends_when_the_machine_s_count_reaches_it(measure: str) -> None:
    family = "fixed calories first" if measure == "calories" else "distance for time"
    checked = 0
    for seed in range(6):
        performance = performance_of(seed, family)
        for track in performance.tracks.values():
            machine = track.doing.machine
            if machine is None:
                continue
            values = machine.count() if measure == "calories" else machine.metres()
            for slot in track.slots:
                job = next((j for j in slot.jobs if j.on_machine and not j.most), None)
                done = track.doing.finished.get((slot.block, slot.round, slot.step))
                if job is None or job.measure != measure or done is None or slot.jobs[-1] != job:
                    continue
                amount = job.amount or 0.0
                assert values[done] - values[slot.start] >= amount - 1e-9
                assert values[done - 1] - values[slot.start] < amount
                checked += 1
    assert checked or measure == "calories"


# the truth


@pytest.mark.parametrize("family", ["opener then machine", "two works", "fixed calories first"])
def test_counts_and_metres_of_steps_add_up_to_the_machine_s_own(family: str) -> None:
    performance = performance_of(6, family)
    for track in performance.tracks.values():
        machine = machine_of(track)
        own = own_machine(machine, track.member.name)
        for block in performance.session.timed:
            slots = [slot for slot in track.slots if slot.block == block.name]
            steps = [step_truth(track, slot, own) for slot in slots]
            count, metres = machine.count(), machine.metres()
            grown = count[slots[-1].end] - count[slots[0].start]
            assert sum(s.machine_calories or 0.0 for s in steps) == pytest.approx(grown)
            travelled = metres[slots[-1].end] - metres[slots[0].start]
            assert sum(s.machine_metres or 0.0 for s in steps) == pytest.approx(travelled)


def test_energy_credited_to_steps_adds_up_to_the_demand() -> None:
    performance = performance_of(7, "whole machine")
    for track in performance.tracks.values():
        own = own_machine(machine_of(track), track.member.name)
        for block in performance.session.timed:
            slots = [slot for slot in track.slots if slot.block == block.name]
            steps = [step_truth(track, slot, own) for slot in slots]
            window = track.demand.cost[slots[0].start : slots[-1].end].sum() * STEP_S / 60
            assert sum(s.energy_in_window_kcal for s in steps) == pytest.approx(window)
            # Only what runs over the block's own edges is credited elsewhere.
            assert sum(s.energy_kcal for s in steps) == pytest.approx(window, rel=0.02)


def test_an_idle_rest_costs_standing_about_and_no_more() -> None:
    performance = performance_of(8, "whole machine")
    seen = 0
    for track in performance.tracks.values():
        own = own_machine(machine_of(track), track.member.name)
        for slot in track.slots:
            step = step_truth(track, slot, own)
            if step.kind == "rest" and step.effort_start_s is None:
                met = step.energy_kcal / (step.planned_s / 60) / (track.member.body.mass_kg / 60)
                assert 1.65 <= met <= 3.05
                seen += 1
    assert seen > 3


def test_machine_work_costs_power_over_efficiency_plus_rest() -> None:
    performance = performance_of(9, "whole machine")
    track = next(iter(performance.tracks.values()))
    body, machine = track.member.body, machine_of(track)
    pull = max(machine.pulls, key=lambda p: p.end - p.start)
    tick = (pull.start + pull.end) // 2
    # Watts over efficiency in kJ/min over 4.184, and one MET of rest.
    expected = machine.power_w[tick] * 0.06 / body.efficiency[machine.kind] / 4.184
    assert track.demand.cost[tick] == pytest.approx(expected + body.mass_kg / 60)


def test_another_s_pulls_on_a_shared_machine_are_not_credited() -> None:
    rng = np.random.default_rng(10)
    machine = draw_machine(rng, "rower", 4000)
    for start, name in ((100, "a"), (900, "b"), (1700, "a")):
        machine.pull(name, start, np.full(500, 180.0), 24)
    machine.run_to(4000)
    first, second = own_machine(machine, "a"), own_machine(machine, "b")
    total = machine.count()[-1]
    assert first.count[-1] + second.count[-1] == pytest.approx(total)
    assert second.count[900] == 0.0
    assert second.count[1690] == pytest.approx(machine.count()[1690] - machine.count()[900])


def test_a_clock_that_stands_still_gives_its_value_at_the_pause() -> None:
    recording = dataclasses.replace(
        simulated_recording(), time_s=np.array([0.0, 10.0, 20.0, 81.0, 90.0])
    )
    take = string_together(Take(recording, 100.0, 190.0, ((120.4, 180.4),)))
    assert take.recording.start is None
    assert take.recording.time_s == pytest.approx([0, 10, 20, 21, 30])
    assert take.device_seconds(110.0) == 10.0
    assert take.device_seconds(150.0) == pytest.approx(20.4)
    assert take.device_seconds(185.0) == pytest.approx(25.0)
    assert take.device_seconds(40.0) == -60.0


def simulated_recording() -> Recording:
    return Recording("csv", "rower", datetime(2026, 1, 1, tzinfo=UTC), 5, np.arange(5.0))


def test_pulls_stand_in_the_files_where_the_truth_says(classes: list[Read]) -> None:
    """Read every sound machine file back: power first shows within two seconds of each pull."""
    checked = 0
    for read in classes:
        athletes = {athlete.athlete: athlete for athlete in read.truth.athletes}
        for file in read.truth.files:
            if file.kind != "machine" or file.status != "aligned" or "held power" in file.tags:
                continue
            recording = read.recordings[file.file]
            if recording is None or recording.power_w is None:
                continue
            # Where the clock stood still, a later pull is not where a running clock puts it.
            if "coarse sampling" in file.tags or "strung together" in file.tags:
                continue
            for owner, starts in file.starts_of.items():
                clock: dict[str, float] = {}
                for step in athletes[owner].steps:
                    begin = clock.get(step.block, 0.0)
                    clock[step.block] = begin + step.planned_s
                    if step.machine_start_s is None or step.block not in file.whole_of[owner]:
                        continue
                    at = starts[step.block] + begin + step.machine_start_s
                    near = np.abs(recording.time_s - at) < 2.1
                    assert np.any(recording.power_w[near] > 0), (read.truth.seed, file.file, step)
                    checked += 1
    assert checked > 100


def test_files_are_said_to_be_unreadable_when_nothing_usable_is_left(classes: list[Read]) -> None:
    for read in classes:
        for file in read.truth.files:
            unreadable = read.recordings[file.file] is None
            assert unreadable == (file.status == "unreadable"), (read.truth.seed, file)


def test_scores_use_the_contract_s_codes_and_say_what_was_done(classes: list[Read]) -> None:
    for read in classes:
        for athlete in read.truth.athletes:
            for score in athlete.scores:
                assert score.code is None or score.code in CODES
                assert (score.logged is None) == (score.code is None)
                steps = [s for s in athlete.steps if s.block == score.block and s.kind == "work"]
                if score.measure == "calories" and score.take == "total":
                    total = sum(s.machine_calories or 0.0 for s in steps)
                    assert score.true == pytest.approx(total)
                if score.impossible and score.logged is not None:
                    factor = score.logged / max(score.true, 1)
                    assert factor > 1.5 or (score.measure == "seconds" and factor < 0.9)


def test_honest_scores_are_readings_of_the_display(classes: list[Read]) -> None:
    off = [
        (score.logged - score.true) / max(len(score.rounds or (1, 2, 3, 4)), 1)
        for read in classes
        for athlete in read.truth.athletes
        for score in athlete.scores
        if score.logged is not None
        and score.code == "rounding"
        and score.measure == "calories"
        and score.take == "total"
    ]
    assert len(off) > 20
    assert min(off) > -4
    assert max(off) < 4
    assert abs(np.median(off)) < 0.8


def test_a_wave_begins_later_by_its_delay() -> None:
    rng = np.random.default_rng(11)
    session = draw_session(rng, "whole machine")
    members = [
        Member(name, draw_body(rng, 2026), "prescribed", "rower", delay_s=delay)
        for name, delay in (("a", 0), ("b", 90))
    ]
    done = perform(rng, session, members, datetime(2026, 3, 1, 18, tzinfo=UTC))
    for block in session.timed:
        later = done.tracks["b"].block_start[block.name] - done.tracks["a"].block_start[block.name]
        assert later == ticks(90)
