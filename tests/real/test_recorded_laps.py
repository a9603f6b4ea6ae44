"""Real recordings whose laps follow a plan that can be stated: laps hidden, plan written, compared.

- `indoor-trainer.fit`: twice ten minutes of hard riding, six minutes easy between, a lap at each
  change. With its power, and by heart rate alone.
- `indoor-bike-intervals.fit`: three rounds of 30 s and 15 s after eight easy minutes; here by heart
  rate alone (by power in `test_own_workout_steps`).
- `run-developer-fields.fit`: four fast kilometres, a minute's walk after each; by heart rate alone.

The other recordings with laps follow no plan in time (laps by distance, races, swims).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest

from ingest.reading import read_file
from ingest.writers.fit import write_fit
from tests.real.class_folder import entry, intervals, reconciled, starts_of, write_class
from tests.real.fit_messages import LAP, rewritten
from tests.real.straight import Straight, straight_from

# (Rounds of) work and rest as the laps have them, to the second.
TRAINER = """title: two tens
blocks:
  - {name: ride in, free: 5m..8m}
  - name: main
    rounds: 2
    steps:
      - {work: 10m, tasks: [{movement: bike, most: calories}]}
      - {rest: 6m12s}
    score: {measure: calories, take: total}
"""
BIKE = """title: thirties
blocks:
  - name: easy
    steps:
      - {work: 8m, tasks: [{movement: bike, effort: easy}]}
  - name: main
    rounds: 3
    steps:
      - {work: 30s, tasks: [{movement: bike, most: calories}]}
      - {rest: 15s}
    score: {measure: calories, take: total}
"""
RUN = """title: fast kilometres
blocks:
  - name: main
    steps:
      - {work: 4m39s, tasks: [{movement: run, metres: 1000}]}
      - {rest: 1m}
      - {work: 4m22s, tasks: [{movement: run, metres: 1000}]}
      - {rest: 1m}
      - {work: 4m28s, tasks: [{movement: run, metres: 1000}]}
      - {rest: 1m}
      - {work: 4m23s, tasks: [{movement: run, metres: 1000}]}
      - {rest: 1m}
    score: {measure: seconds, take: total}
"""


@dataclass(frozen=True)
class Session:
    """A recording and the plan that it follows.

    work_laps: which laps are its work. first_block_s: when the plan's first block began.
    within_s: how near to the laps heart rate alone is asked to come.
    """

    file: str
    plan: str
    work_laps: tuple[int, ...]
    first_block_s: float
    within_s: float


TENS = Session("indoor-trainer.fit", TRAINER, (1, 3), 0.0, 10.0)
THIRTIES = Session("indoor-bike-intervals.fit", BIKE, (5, 7, 9), 220.0, 10.0)
# The runner sets off up to 18 s before a walk's lap ends (as the file's own speed shows), so that
# no heart can tell the laps to better than that.
KILOMETRES = Session("run-developer-fields.fit", RUN, (1, 3, 5, 7), 1.0, 20.0)
BY_HEART = {"two tens": TENS, "thirties": THIRTIES, "fast kilometres": KILOMETRES}
CLOCKS_S = {"clock right": 0, "clock 37 s slow": -37, "clock an hour fast": 3600}


def laps_of(recordings: Path, session: Session) -> tuple[Straight, list[float]]:
    straight = straight_from((recordings / session.file).read_bytes())
    return straight, [straight.laps[number].start_s for number in session.work_laps]


def planned_work_starts(session: Session) -> list[float]:
    """Seconds from the main block's start to each of its work steps, worked out by hand."""
    return {
        TENS: [0.0, 972.0],
        THIRTIES: [0.0, 45.0, 90.0],
        KILOMETRES: [0.0, 339.0, 661.0, 989.0],
    }[session]


def heart_only(recordings: Path, session: Session, later_s: float = 0.0) -> bytes:
    """The recording written anew with its heart rate and nothing else."""
    return worn(recordings, session, later_s)


def worn(
    recordings: Path, session: Session, later_s: float = 0.0, *, cadence: bool = False
) -> bytes:
    """The recording written anew with its heart rate and, if asked for, its cadence."""
    (reading,) = read_file((recordings / session.file).read_bytes(), session.file)
    recording = reading.recording
    assert recording is not None
    assert recording.start is not None
    bare = replace(
        recording,
        device="watch",
        start=recording.start + timedelta(seconds=later_s),
        laps=(),
        power_w=None,
        speed_m_s=None,
        distance_m=None,
        cadence_per_min=recording.cadence_per_min if cadence else None,
        calories=None,
    )
    return write_fit(bare)


@pytest.mark.parametrize("session", BY_HEART.values(), ids=BY_HEART.keys())
def test_the_plan_is_what_the_laps_say_to_two_seconds(session: Session, recordings: Path) -> None:
    _, starts_s = laps_of(recordings, session)
    planned = planned_work_starts(session)
    assert [start - starts_s[0] for start in starts_s] == pytest.approx(planned, abs=2.0)


@pytest.mark.parametrize("later_s", CLOCKS_S.values(), ids=CLOCKS_S.keys())
@pytest.mark.parametrize("shift_s", [-240, 0, 180])
def test_power_places_two_tens_within_3_s_of_their_laps(
    shift_s: int, later_s: int, recordings: Path, tmp_path: Path
) -> None:
    straight, starts_s = laps_of(recordings, TENS)
    data = (recordings / TENS.file).read_bytes()
    folder = write_class(
        tmp_path / "class",
        plan=TRAINER,
        start=straight.start + timedelta(seconds=shift_s),
        recordings={"rider.bike.fit": rewritten(data, without={LAP}, later_s=later_s)},
    )
    document = reconciled(folder)
    assert entry(document, "rider.bike.fit")["status"] == "aligned"
    (placed,) = starts_of(document, "rider.bike.fit", "main")
    assert abs(placed["start_s"] - starts_s[0]) <= 3.0
    work = [done for done in intervals(document, "rider", "main") if done["kind"] == "work"]
    for done, start_s in zip(work, starts_s, strict=True):
        # Ten minutes: a second of 150 W instead of 260 W at either end is less than a watt.
        straight_w = straight.mean_power(start_s, start_s + 600)
        assert done["mean_power_w"] == pytest.approx(straight_w, abs=2.0)


@pytest.mark.parametrize("later_s", CLOCKS_S.values(), ids=CLOCKS_S.keys())
@pytest.mark.parametrize("session", BY_HEART.values(), ids=BY_HEART.keys())
def test_heart_rate_alone_places_the_rounds_near_their_laps_or_doubts_them(
    session: Session, later_s: int, recordings: Path, tmp_path: Path
) -> None:
    straight, starts_s = laps_of(recordings, session)
    folder = write_class(
        tmp_path / "class",
        plan=session.plan,
        start=straight.start + timedelta(seconds=session.first_block_s),
        recordings={"one.watch.fit": heart_only(recordings, session, later_s)},
    )
    document = reconciled(folder)
    placed = starts_of(document, "one.watch.fit", "main")
    assert placed, "the recording is of the class"
    assert abs(placed[0]["start_s"] - starts_s[0]) <= session.within_s
    work = [done for done in intervals(document, "one", "main") if done["kind"] == "work"]
    assert all(done["attempted"] is not False for done in work)
    assert all(done["machine_start_s"] is None for done in work)


@pytest.mark.parametrize("later_s", CLOCKS_S.values(), ids=CLOCKS_S.keys())
def test_a_runners_cadence_brings_the_place_nearer_to_the_laps(
    later_s: int, recordings: Path, tmp_path: Path
) -> None:
    """Running shows some 85 strides a minute there, walking 55; the kilometres end at laps."""
    straight, starts_s = laps_of(recordings, KILOMETRES)
    found = {}
    for cadence in (False, True):
        folder = write_class(
            tmp_path / f"class {cadence}",
            plan=KILOMETRES.plan.replace(", metres: 1000", ""),
            start=straight.start + timedelta(seconds=KILOMETRES.first_block_s),
            recordings={"one.watch.fit": worn(recordings, KILOMETRES, later_s, cadence=cadence)},
        )
        found[cadence] = starts_of(reconciled(folder), "one.watch.fit", "main")[0]
    by_heart, by_both = (abs(found[cadence]["start_s"] - starts_s[0]) for cadence in (False, True))
    assert by_both < by_heart - 1.0
    assert found[True]["low_s"] <= starts_s[0] <= found[True]["high_s"]


@pytest.mark.parametrize("session", BY_HEART.values(), ids=BY_HEART.keys())
def test_mean_and_peak_heart_rate_are_the_files_over_the_step_as_placed(
    session: Session, recordings: Path, tmp_path: Path
) -> None:
    straight, _ = laps_of(recordings, session)
    folder = write_class(
        tmp_path / "class",
        plan=session.plan,
        start=straight.start + timedelta(seconds=session.first_block_s),
        recordings={"one.watch.fit": heart_only(recordings, session)},
    )
    document = reconciled(folder)
    clock_s = starts_of(document, "one.watch.fit", "main")[0]["start_s"]
    compared = 0
    for done in intervals(document, "one", "main"):
        inside = (straight.time_s >= clock_s) & (straight.time_s < clock_s + done["planned_s"])
        if clock_s >= 0 and clock_s + done["planned_s"] <= straight.time_s[-1]:
            heart = straight.heart_rate_bpm[inside]
            # The start is written to 0.01 s, so that a sample on an edge may be in or out: a beat.
            assert done["mean_hr"] == pytest.approx(heart.mean(), abs=1.0)
            assert done["peak_hr"] == pytest.approx(heart.max(), abs=1.0)
            compared += 1
        clock_s += done["planned_s"]
    assert compared >= 3
