"""What two recordings of one body say of each other's clocks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.explain import OWN_OTHER_FILES, explain
from reconcile.align.grid import STEP_S, LogRatio
from reconcile.align.lag import OF_WRISTS, WRIST_S
from reconcile.align.same_body import HEARTS_REACH, one_heart
from reconcile.align.signals import Signals, prepare
from reconcile.engine import workings
from reconcile.result import BlockPlacement
from tests.reconcile.classroom import beating, class_of, of_file, rowed, session, upload
from tests.reconcile.flywheel import spun

# A first task, then a distance: neither end of a pull is on a bell.
HELD = session(
    """title: Sluice keeper
blocks:
  - name: main
    rounds: 5
    steps:
      - work: 160s
        tasks:
          - {movement: sandbag carry, metres: 40}
          - {movement: rower, metres: 250}
      - {rest: 90s}
    score: {measure: seconds, take: total}
""",
    main=0.0,
)
LAST_S = 5 * 250.0 + 60
# Pulls of a bit more than a minute, from 50 to 60 s after the bell.
PULLS = [(250.0 * n + 50 + 2.5 * n, 250.0 * n + 115 + 4 * n, 200.0 - 4 * n) for n in range(5)]
# The gym's clock recorded the bell.
RECORDED = {"main": 0.0}
TASKS = [(250.0 * n + 2.0, 250.0 * n + 45 + 2.5 * n, 0.55) for n in range(5)]


def watch(*, late_s: float = 0.0, clock_s: float = 0.0, seed: int = 4) -> Recording:
    work = [*TASKS, *((start, end, watts / 210) for start, end, watts in PULLS)]
    return beating(work, -90.0, LAST_S, seed=seed, delay_s=8.0 + late_s, clock_s=clock_s)


def machine(*, strap: bool, dated: bool = True) -> Recording:
    recording = rowed(spun(PULLS, -40.0, LAST_S), ("power", "speed"), dated=dated)
    heard = watch()
    assert heard.heart_rate_bpm is not None
    if not strap:
        return recording
    heart = np.interp(recording.time_s - 40.0, heard.time_s - 90.0, heard.heart_rate_bpm)
    return replace(recording, heart_rate_bpm=np.round(heart))


def signals(file: str, recording: Recording) -> Signals:
    found = prepare(upload(file, recording), "rower")
    assert found is not None
    return found


def likeliest_s(ratio: LogRatio) -> float:
    return (ratio.first + int(np.argmax(ratio.values))) * STEP_S


def told(*, late_s: float = 0.0, strap: bool = True) -> tuple[LogRatio, ...]:
    return one_heart(
        signals("b01.rower.fit", machine(strap=strap)),
        signals("b01.watch.fit", watch(late_s=late_s)),
    )


@pytest.mark.parametrize("late_s", [1.0, 3.0, 5.0])
def test_one_heart_in_two_files_tells_the_time_between_them(late_s: float) -> None:
    usual, *lagging = told(late_s=late_s)
    # The machine's file begins 50 s after the watch's; a wrist sensor is usually some 3 s late.
    assert likeliest_s(usual) == pytest.approx(50.0 + late_s - WRIST_S, abs=1.5)
    assert max(ratio.values.max() for ratio in (usual, *lagging)) == pytest.approx(HEARTS_REACH)
    assert min(ratio.values.min() for ratio in (usual, *lagging)) >= 0.0


def test_a_sensor_that_lags_tells_another_time_in_each_way_to_lag() -> None:
    ratios = told(late_s=15.0)
    assert len(ratios) == len(OF_WRISTS)
    for lag, ratio in zip(OF_WRISTS, ratios, strict=True):
        assert likeliest_s(ratio) == pytest.approx(50.0 + 15.0 - lag.late_s, abs=0.5 + lag.width_s)


def test_a_file_without_a_heart_says_nothing() -> None:
    assert told(strap=False) == ()


def placed(*, strap: bool, with_watch: bool, clock_s: float = 0.0) -> BlockPlacement:
    files = {"b01.rower.csv": machine(strap=strap, dated=False)}
    if with_watch:
        files["b01.watch.fit"] = watch(clock_s=clock_s)
    entry = of_file(class_of(HELD, files, starts_s=RECORDED).reconciled(), "b01.rower.csv")
    assert entry.blocks, entry
    return entry.blocks[0]


@pytest.mark.parametrize("strap", [True, False])
def test_a_machine_without_a_clock_is_placed_by_its_athletes_watch(strap: bool) -> None:
    alone = placed(strap=strap, with_watch=False)
    together = placed(strap=strap, with_watch=True)
    assert together.low_s <= 40.0 <= together.high_s
    assert together.high_s - together.low_s < 0.8 * (alone.high_s - alone.low_s)
    assert abs(together.start_s - 40.0) < 6.0


def test_a_strap_in_the_machines_file_sets_the_watchs_clock_right() -> None:
    # The watch is 47 s out; the machine's own clock is right.
    files = {
        "b01.rower.fit": machine(strap=True),
        "b01.watch.fit": watch(clock_s=47.0, late_s=2.0),
    }
    result = class_of(HELD, files, starts_s=RECORDED).reconciled()
    (block,) = of_file(result, "b01.watch.fit").blocks[:1]
    assert block.start_s == pytest.approx(90.0, abs=4.0)


@pytest.mark.parametrize("late_s", [12.0, 15.0, 18.0])
def test_a_sensor_that_lags_is_not_taken_for_a_clock_that_is_out(late_s: float) -> None:
    """A strap in the machine's file says it as the answer to the work does: it is one lag."""
    files = {"b01.rower.fit": machine(strap=True), "b01.watch.fit": watch(late_s=late_s)}
    result = class_of(HELD, files, starts_s=RECORDED).reconciled()
    (block,) = of_file(result, "b01.watch.fit").blocks[:1]
    assert block.start_s == pytest.approx(90.0, abs=3.0)


def test_what_the_athletes_other_files_say_is_told_beside_the_other_sources() -> None:
    files = {"b01.rower.csv": machine(strap=True, dated=False), "b01.watch.fit": watch()}
    record = class_of(HELD, files, starts_s=RECORDED).record()
    placed = workings(record).placed
    (block,) = explain(record, placed, "b01.rower.csv").blocks
    assert set(block.candidates[0].says) >= {"machine", OWN_OTHER_FILES}
    assert all(rival.says[OWN_OTHER_FILES] <= -3.0 for rival in block.candidates[1:])
