"""What must hold of any class: of clocks, halves, orders and probabilities."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ingest.recording import Recording
from reconcile.classes import LoggedScore
from reconcile.document import class_document, document_text
from reconcile.engine import reconcile_class
from reconcile.result import ClassResult, Interval
from tests.reconcile.classroom import (
    Class,
    Habits,
    beating,
    class_of,
    of_athlete,
    of_file,
    rowed,
    session,
    start_on,
)

PLAN = """title: Slow bridge
blocks:
  - name: warm-up
    rounds: 2
    steps:
      - {work: 40s, tasks: [{movement: machine, effort: easy}]}
      - {rest: 20s}
  - {name: set-up, free: 2m..4m}
  - name: main
    rounds: 3
    steps:
      - {work: 80s, tasks: [{movement: machine, most: calories}]}
      - {rest: 70s}
    score: {measure: calories, take: total}
"""
MAIN_S = 120 + 170.0
HELD = session(PLAN, warm_up=0.0, main=MAIN_S)
LAST_S = MAIN_S + 450 + 40
FIRST, SECOND = Habits(watts=190), Habits(watts=230, late_s=2.7, over_s=0.9)
ROWED = rowed(HELD.wheel(FIRST, -60, LAST_S), seed=1)
OTHER = rowed(HELD.wheel(SECOND, -45, LAST_S), seed=2)
HEART = beating(HELD.work(FIRST), -80, LAST_S, seed=4)
SCORES = (LoggedScore("b01", "main", equipment="rower", score=55),)

FILES: dict[str, Recording] = {
    "b01.rower.fit": ROWED,
    "b01.watch.fit": HEART,
    "b02.rower.fit": OTHER,
}


def made(files: Mapping[str, Recording] = FILES) -> Class:
    return class_of(HELD, files, scores=SCORES)


@pytest.fixture(scope="module")
def usual() -> ClassResult:
    return made().reconciled()


def later(recording: Recording, by_s: float) -> Recording:
    assert recording.start is not None
    return replace(recording, start=recording.start + timedelta(seconds=by_s))


def numbers(interval: Interval) -> list[float]:
    values = (
        interval.machine_start_s,
        interval.machine_end_s,
        interval.machine_active_s,
        interval.machine_calories,
        interval.machine_metres,
    )
    return [np.nan if value is None else value for value in values]


def close(first: ClassResult, second: ClassResult, name: str, within: float) -> bool:
    """Whether an athlete's machine work is the same in both, to so many seconds and calories."""
    here, there = (
        np.array([numbers(one) for one in of_athlete(result, name).intervals])
        for result in (first, second)
    )
    apart = np.abs(here - there)
    apart[:, 4] /= 5.0  # metres: five a second
    same_gaps = bool((np.isnan(here) == np.isnan(there)).all())
    return same_gaps and bool(np.nanmax(apart) <= within)


@settings(max_examples=15)
@given(by_s=st.floats(-7300.0, 7300.0))
def test_a_wrong_clock_shifts_nothing_on_the_recording_itself(by_s: float) -> None:
    usual = made().reconciled()
    result = made({**FILES, "b01.rower.fit": later(ROWED, by_s)}).reconciled()
    for block in ("warm-up", "main"):
        for file in FILES:
            # A machine shows its bell. A watch knows it by the machines' clocks too, and two that
            # differ by a few seconds leave it to its own heart, which is right to some seconds.
            before, after = start_on(usual, file, block), start_on(result, file, block)
            assert after == pytest.approx(before, abs=8.0 if "watch" in file else 2.0)
    assert close(usual, result, "b01", 2.0)
    assert close(usual, result, "b02", 2.0)
    assert of_file(result, "b01.rower.fit").status == "aligned"


@settings(max_examples=10)
@given(days=st.integers(-4000, 4000))
def test_the_whole_class_on_another_day_is_the_same_class(days: int) -> None:
    record = made().record()
    moved = replace(
        record,
        start=record.start + timedelta(days=days),
        uploads=tuple(
            replace(one, recording=later(one.recording, days * 86400.0))
            for one in record.uploads
            if one.recording is not None
        ),
    )
    here, there = reconcile_class(record), reconcile_class(moved)
    for file in FILES:
        assert of_file(here, file).blocks == of_file(there, file).blocks
    assert close(here, there, "b01", 1e-6)
    assert close(here, there, "b02", 1e-6)


def only(recording: Recording, kept: NDArray[np.bool_]) -> Recording:
    """The samples of a recording that are kept, as a file of its own."""
    columns: dict[str, Any] = {}
    for name in (
        "heart_rate_bpm",
        "power_w",
        "cadence_per_min",
        "speed_m_s",
        "distance_m",
        "calories",
    ):
        column = getattr(recording, name)
        columns[name] = None if column is None else column[kept]
    times = recording.time_s[kept]
    assert recording.start is not None
    return replace(
        recording,
        start=recording.start + timedelta(seconds=float(times[0])),
        time_s=times - times[0],
        sample_count=len(times),
        **columns,
    )


@settings(max_examples=10)
@given(cut_s=st.floats(60.0, LAST_S - 40.0))
def test_a_watch_restarted_in_the_middle_gives_the_same_heart(cut_s: float) -> None:
    usual = made().reconciled()
    before = HEART.time_s - 80 <= cut_s
    halves = {
        "b01.rower.fit": ROWED,
        "b01.watch.1.fit": only(HEART, before),
        "b01.watch.2.fit": only(HEART, ~before),
        "b02.rower.fit": OTHER,
    }
    result = made(halves).reconciled()
    steps = zip(
        of_athlete(usual, "b01").intervals, of_athlete(result, "b01").intervals, strict=True
    )
    clock = {"warm-up": 0.0, "main": MAIN_S}
    for whole, split in steps:
        starts = clock[whole.block]
        clock[whole.block] += whole.planned_s
        if whole.mean_hr is None or starts - 3 <= cut_s <= starts + whole.planned_s + 3:
            continue  # each half is placed by itself, so that a step between them may shift
        assert split.mean_hr == pytest.approx(whole.mean_hr, abs=3.0)


@settings(max_examples=10)
@given(cut_s=st.floats(20.0, LAST_S - 60.0))
def test_a_machine_restarted_in_the_middle_gives_the_same_intervals(cut_s: float) -> None:
    usual = made().reconciled()
    before = ROWED.time_s - 60 <= cut_s
    halves = {
        "b01.rower.1.fit": only(ROWED, before),
        "b01.rower.2.fit": only(ROWED, ~before),
        "b01.watch.fit": HEART,
        "b02.rower.fit": OTHER,
    }
    result = made(halves).reconciled()
    steps = zip(
        of_athlete(usual, "b01").intervals, of_athlete(result, "b01").intervals, strict=True
    )
    if any(of_file(result, f"b01.rower.{part}.fit").status != "aligned" for part in (1, 2)):
        return  # a part too short to be placed by itself says so
    for whole, split in steps:
        # What is not known is the second in which it was restarted.
        assert np.allclose(numbers(split)[:4], numbers(whole)[:4], atol=2.0, equal_nan=True)


def probabilities(value: object) -> list[float]:
    """Every number called probability in a document."""
    if isinstance(value, dict):
        own = [value["probability"]] if "probability" in value else []
        return own + [p for inner in value.values() for p in probabilities(inner)]
    if isinstance(value, list):
        return [p for inner in value for p in probabilities(inner)]
    return []


@settings(max_examples=15)
@given(
    clock_s=st.sampled_from([-3600.0, -150.0, -20.0, 0.0, 75.0, 150.0, 40000.0]),
    stated_s=st.floats(-500.0, 500.0),
    cut_s=st.floats(-60.0, 500.0),
    dated=st.booleans(),
    skipped=st.sets(st.integers(1, 3), max_size=2),
)
def test_probabilities_are_probabilities_and_ranges_hold_their_middle(
    clock_s: float, stated_s: float, cut_s: float, dated: bool, skipped: set[int]
) -> None:
    habits = replace(FIRST, skips=frozenset(("main", number) for number in skipped))
    wheel = HELD.wheel(habits, -60, LAST_S)
    recording = only(rowed(wheel), wheel.time_s[::20] >= cut_s)
    recording = later(recording, clock_s) if dated else replace(recording, start=None)
    files = {"b01.rower.fit": recording, "b02.watch.fit": HEART}
    result = class_of(HELD, files, stated_s=stated_s, scores=SCORES).reconciled()
    document = class_document(result)
    found = probabilities(document)
    assert found
    assert all(0 <= probability <= 1 for probability in found)
    for athlete in document["athletes"]:
        for entry in athlete["recordings"]:
            for block in entry["blocks"]:
                assert block["low_s"] <= block["start_s"] <= block["high_s"]
            for name in ("warm-up", "main"):
                of_block = [b["probability"] for b in entry["blocks"] if b["block"] == name]
                assert of_block == sorted(of_block, reverse=True)
                assert sum(of_block) <= 1.001
            assert (entry["status"] in ("aligned", "ambiguous")) == bool(entry["blocks"])
        for interval in athlete["intervals"]:
            energy = interval["energy"]
            assert energy is None or energy["low"] <= energy["kcal"] <= energy["high"]
        for score in athlete["scores"]:
            told = [one["probability"] for one in score["explanations"]]
            assert sum(told) <= 1.001
            assert score["flag"] == (score["verdict"] in ("doubtful", "impossible"))
            if score["recorded"] is not None:
                assert score["low"] <= score["recorded"] <= score["high"]


def test_the_same_class_gives_the_same_bytes(usual: ClassResult) -> None:
    assert document_text(made().reconciled()) == document_text(usual)


@pytest.mark.parametrize("order", [(2, 1, 0), (1, 2, 0), (0, 2, 1)])
def test_the_order_of_uploads_does_not_matter(order: tuple[int, ...], usual: ClassResult) -> None:
    names = list(FILES)
    result = made({names[number]: FILES[names[number]] for number in order}).reconciled()
    for file in FILES:
        here, there = of_file(result, file), of_file(usual, file)
        assert (here.status, here.belongs_to) == (there.status, there.belongs_to)
        assert [(b.block, round(b.start_s, 2)) for b in here.blocks] == [
            (b.block, round(b.start_s, 2)) for b in there.blocks
        ]
    for name in ("b01", "b02"):
        assert close(result, usual, name, 0.01)
        assert of_athlete(result, name).advice == of_athlete(usual, name).advice


def test_the_order_of_the_roster_does_not_matter(usual: ClassResult) -> None:
    record = made().record()
    turned = reconcile_class(replace(record, athletes=record.athletes[::-1]))
    for name in ("b01", "b02"):
        assert close(turned, usual, name, 0.01)
        (here,), (there,) = of_athlete(turned, name).scores, of_athlete(usual, name).scores
        assert here.verdict == there.verdict


def test_progress_is_told_and_changes_nothing(usual: ClassResult) -> None:
    stages: list[tuple[str, int, int]] = []
    result = reconcile_class(made().record(), lambda *told: stages.append(told))
    assert document_text(result) == document_text(usual)
    assert stages
    assert all(0 <= done <= total for _, done, total in stages)


def test_a_class_without_any_recording_is_a_class() -> None:
    result = class_of(HELD, {}, athletes=made().athletes, scores=SCORES).reconciled()
    assert [athlete.athlete for athlete in result.athletes] == ["b01", "b02"]
    assert len(of_athlete(result, "b01").intervals) == 10
    assert all(one.attempted is None for one in of_athlete(result, "b01").intervals)


def test_nothing_of_what_was_uploaded_is_changed() -> None:
    before = {name: recording.time_s.copy() for name, recording in FILES.items()}
    power = ROWED.power_w.copy() if ROWED.power_w is not None else None
    made().reconciled()
    for name, recording in FILES.items():
        assert np.array_equal(recording.time_s, before[name])
    assert power is not None
    assert ROWED.power_w is not None
    assert np.array_equal(ROWED.power_w, power)
