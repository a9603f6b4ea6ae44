"""Rope jumping and running show in the cadence at a wrist, and tell when they began and ended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.explain import explain
from reconcile.align.rhythm import (
    FAST_FEET,
    OTHER_STEPS,
    may_pedal,
    rhythm_bouts,
    rhythm_evidence,
    rhythm_windows,
)
from reconcile.energy.movements import MOVEMENTS, UNKNOWN
from reconcile.engine import workings
from reconcile.plan import Plan
from reconcile.plan_text import read_plan
from reconcile.timeline import PlannedStep, unfold_block
from tests.reconcile.classroom import Session, beating, class_of, places, session

PLAN = """title: Ropewalk
options: [prescribed, home]
blocks:
  - name: main
    rounds: 6
    steps:
      - work: 70s
        tasks: [TASKS]
      - {rest: 50s}
    score: {measure: reps, take: total}
"""
ROPE = "{movement: rope jump, reps: 60}, {movement: goblet squat, most: reps}"
ROUNDS = 6
# Each round's jumping: from a second or two after the bell to 25 to 40 s after it.
JUMPS = [(120.0 * n + 1.5 + 0.4 * n, 120.0 * n + 25 + 3.0 * n) for n in range(ROUNDS)]
FIRST_S, LAST_S = -95.0, 120.0 * ROUNDS + 60


def held(tasks: str = ROPE) -> Session:
    return session(PLAN.replace("TASKS", tasks), main=0.0)


def steps_of(tasks: str) -> tuple[PlannedStep, ...]:
    return unfold_block(held(tasks).plan.timed_blocks[0], None, None)


def plan_of(tasks: str) -> Plan:
    return read_plan(PLAN.replace("TASKS", tasks))


def worn(*, per_min: float = 120.0, late_s: float = 0.0, every_s: float = 1.0) -> Recording:
    """A watch that counts the jumps; its wearer strolls at half that pace in the rests."""
    work = [(120.0 * n + 2, 120.0 * n + 71, 1.0) for n in range(ROUNDS)]
    recording = beating(work, FIRST_S, LAST_S, every_s=every_s, noise_bpm=3.0, dated=False)
    clock = recording.time_s + FIRST_S
    cadence = np.where((clock % 120 > 80) & (clock % 120 < 100), 0.5 * per_min, 0.0)
    for start_s, end_s in JUMPS:
        cadence[(clock >= start_s + late_s) & (clock < end_s + late_s)] = per_min
    return replace(recording, cadence_per_min=cadence)


def without(recording: Recording) -> Recording:
    return replace(recording, cadence_per_min=None)


def seldom(recording: Recording) -> Recording:
    assert recording.cadence_per_min is not None
    fifth = np.arange(len(recording.time_s)) % 5 == 0
    return replace(recording, cadence_per_min=np.where(fifth, recording.cadence_per_min, np.nan))


@pytest.mark.parametrize("per_min", [68.0, 120.0, 136.0])
@pytest.mark.parametrize("late_s", [0.0, 4.0])
def test_the_place_follows_from_the_jumps_however_they_are_counted(
    per_min: float, late_s: float
) -> None:
    recording = worn(per_min=per_min, late_s=late_s)
    by_both = class_of(held(), {"d01.watch.fit": recording}).reconciled()
    by_heart = class_of(held(), {"d01.watch.fit": without(recording)}).reconciled()
    (placed,) = places(by_both, "d01.watch.fit", "main")
    heart = places(by_heart, "d01.watch.fit", "main")[0]
    assert placed.start_s == pytest.approx(-FIRST_S, abs=3.0)
    assert placed.low_s <= -FIRST_S <= placed.high_s
    assert placed.high_s - placed.low_s < 0.7 * (heart.high_s - heart.low_s)


@pytest.mark.parametrize("per_min", [60.0, 130.0])
def test_only_quick_stretches_are_counted(per_min: float) -> None:
    bouts = rhythm_bouts(worn(per_min=per_min))
    found = [(bout.start_s + FIRST_S, bout.end_s + FIRST_S) for bout in bouts]
    assert len(found) == ROUNDS
    assert np.asarray(found) == pytest.approx(np.asarray(JUMPS), abs=1.0)


def test_breaths_between_jumps_do_not_cut_them() -> None:
    recording = worn()
    assert recording.cadence_per_min is not None
    cadence = recording.cadence_per_min.copy()
    clock = recording.time_s + FIRST_S
    cadence[(clock > 10) & (clock < 14)] = 0.0
    assert len(rhythm_bouts(replace(recording, cadence_per_min=cadence))) == ROUNDS


@pytest.mark.parametrize(
    "recording",
    [
        pytest.param(without(worn()), id="no cadence"),
        pytest.param(worn(every_s=6.0), id="a sample every 6 s has no edges"),
        pytest.param(seldom(worn()), id="a heart every second, a cadence every 5 s"),
        pytest.param(worn(per_min=30.0), id="as slow as an arm that rows"),
    ],
)
def test_what_tells_no_quick_feet_says_nothing(recording: Recording) -> None:
    assert rhythm_bouts(recording) == ()


@pytest.mark.parametrize(
    ("tasks", "windows"),
    [
        pytest.param(ROPE, [(True, False)] * ROUNDS, id="first, a number of them"),
        pytest.param("{movement: rope jump, most: reps}", [(True, True)] * ROUNDS, id="all along"),
        pytest.param(
            "{movement: goblet squat, reps: 9}, {movement: shuttle run, most: metres}",
            [(False, True)] * ROUNDS,
            id="last, to the bell",
        ),
        pytest.param("{movement: plank}", [], id="nothing quick"),
        pytest.param(
            "{movement: rope jump, reps: 60}, {movement: sandbag carry, most: metres}",
            [],
            id="a carry's steps may be as quick",
        ),
        pytest.param(
            "{movement: rope jump, reps: 60}, {movement: tuck shuffles, most: reps}",
            [],
            id="nobody knows what that is",
        ),
        pytest.param(
            "{movement: run, metres: 60}, {movement: air squat, reps: 9}, "
            "{movement: run, most: metres}",
            [(True, False), (False, True)] * ROUNDS,
            id="first and last",
        ),
    ],
)
def test_windows_stand_where_nothing_else_looks_like_it(
    tasks: str, windows: list[tuple[bool, bool]]
) -> None:
    found = rhythm_windows(steps_of(tasks))
    assert [(window.starts_at_bell, window.ends_at_bell) for window in found] == windows


@pytest.mark.parametrize(
    ("machine", "equipment", "may"),
    [
        ("machine", {"bike"}, True),
        ("machine", set(), True),
        ("machine", {"rower"}, False),
        ("machine", {"none"}, False),
        ("machine", {"rower", "bike"}, True),
        ("bike", {"bike"}, True),
        ("stationary bike", set(), True),
        ("cycling", set(), True),
        ("rower", set(), False),
    ],
)
def test_a_watch_that_may_hear_a_bike_tells_nothing_by_cadence(
    machine: str, equipment: set[str], *, may: bool
) -> None:
    for tasks in (
        f"{{movement: rope jump, reps: 60}}, {{movement: {machine}, most: calories}}",
        f"{{movement: plank, instead: {{home: {{movement: {machine}, most: calories}}}}}}",
    ):
        assert may_pedal(plan_of(tasks), equipment) is may


def test_every_name_is_one_of_our_table() -> None:
    names = {one.name for one in (*MOVEMENTS, UNKNOWN)}
    assert names >= FAST_FEET | OTHER_STEPS
    assert not FAST_FEET & OTHER_STEPS


@pytest.mark.parametrize("hole", [(20.0, 110.0), (15.0, 125.0)])
def test_a_pause_is_no_stretch_and_no_edge(hole: tuple[float, float]) -> None:
    """Jumping up to the pause and after it: nobody knows what was done in it."""
    recording = worn()
    assert recording.cadence_per_min is not None
    clock = recording.time_s + FIRST_S
    kept = (clock <= hole[0]) | (clock >= hole[1])
    paused = replace(
        recording, time_s=recording.time_s[kept], cadence_per_min=recording.cadence_per_min[kept]
    )
    found = [(one.start_s + FIRST_S, one.end_s + FIRST_S) for one in rhythm_bouts(paused)]
    assert found[0] == pytest.approx((JUMPS[0][0], hole[0]), abs=1.0)
    assert found[1] == pytest.approx((max(JUMPS[1][0], hole[1]), JUMPS[1][1]), abs=1.0)
    assert len(found) == ROUNDS


def test_a_channel_that_shows_something_else_does_not_outweigh_a_heart() -> None:
    """The wrist counted in the rests instead: a hand that shook out, a walk, another's sensor."""
    recording = worn()
    assert recording.cadence_per_min is not None
    mirrored = replace(recording, cadence_per_min=np.roll(recording.cadence_per_min, 75))
    evidence = rhythm_evidence(rhythm_bouts(mirrored), (0.0, LAST_S - FIRST_S), steps_of(ROPE), 720)
    assert evidence.values.min() > -1.5
    result = class_of(held(), {"d01.watch.fit": mirrored}).reconciled()
    assert any(abs(one.start_s + FIRST_S) < 10 for one in places(result, "d01.watch.fit", "main"))


def test_an_explanation_says_what_the_cadence_tells() -> None:
    record = class_of(held(), {"d01.watch.fit": worn()}).record()
    told = explain(record, workings(record).placed, "d01.watch.fit")
    assert all("cadence" in one.says for one in told.blocks[0].candidates)
