"""One test for each way to be wrong by a round: the answer is right, or says that it may not be.

A plan repeats itself, so that its pattern fits a round earlier or later almost as well. Whatever
happened, what the engine claims as `aligned` must be true to half the time between two work starts,
and where it says `ambiguous` the truth must be among the places that it lists.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from ingest.recording import Lap, Recording
from reconcile.classes import LoggedScore
from reconcile.result import ClassResult
from tests.reconcile.classroom import (
    Habits,
    Session,
    beating,
    class_of,
    of_file,
    places,
    rowed,
    session,
    work_of,
)
from tests.reconcile.flywheel import spun

WARM_UP = """  - name: warm-up
    rounds: 2
    steps:
      - {work: 40s, tasks: [{movement: machine, effort: easy}]}
      - {rest: 20s}
  - {name: set-up, free: 3m..6m}
"""


def plan(work_s: int, rest_s: int, rounds: int = 5, *, warm_up: bool = True) -> str:
    return f"""title: Round and round
blocks:
{WARM_UP if warm_up else ""}  - name: main
    rounds: {rounds}
    steps:
      - {{work: {work_s}s, tasks: [{{movement: machine, most: calories}}]}}
      - {{rest: {rest_s}s}}
    score: {{measure: calories, take: total}}
"""


GAP_S = 245.0
MAIN_S = 120 + GAP_S
UNEVEN = session(plan(90, 60), warm_up=0.0, main=MAIN_S)
EVEN = session(plan(75, 75), warm_up=0.0, main=MAIN_S)
BARE = session(plan(90, 60, warm_up=False), main=0.0)
ROUND_S = 150.0
LAST_S = MAIN_S + 5 * ROUND_S + 90


def honest(
    result: ClassResult, file: str, true_s: float, half_s: float = ROUND_S / 2, block: str = "main"
) -> bool:
    """Right, or doubtful with the truth among what is listed."""
    status = of_file(result, file).status
    listed = [abs(place.start_s - true_s) < half_s for place in places(result, file, block)]
    if status == "aligned":
        return bool(listed) and listed[0]
    return status == "ambiguous" and any(listed)


def right(result: ClassResult, file: str, true_s: float, within_s: float) -> bool:
    entry = places(result, file, "main")
    aligned = of_file(result, file).status == "aligned"
    return aligned and abs(entry[0].start_s - true_s) <= within_s


def skipping(*rounds: int) -> Habits:
    return Habits(skips=frozenset(("main", number) for number in rounds))


def rower(
    habits: Habits, held: Session = UNEVEN, *, first_s: float = -60.0, last_s: float = LAST_S,
    clock_s: float = 0.0, dated: bool = True,
) -> Recording:  # fmt: skip
    wheel = held.wheel(habits, first_s, last_s)
    return rowed(wheel, clock_s=clock_s, dated=dated)


def watch(
    habits: Habits, held: Session = UNEVEN, *, first_s: float = -90.0, last_s: float = LAST_S,
    clock_s: float = 0.0, dated: bool = True, seed: int = 1,
) -> Recording:  # fmt: skip
    return beating(held.work(habits), first_s, last_s, clock_s=clock_s, dated=dated, seed=seed)


@pytest.mark.parametrize("left_out", [(1,), (5,), (3,), (1, 2), (4, 5), (1, 5)])
@pytest.mark.parametrize("held", [UNEVEN, EVEN], ids=["uneven", "work equal to rest"])
def test_rounds_that_were_skipped_move_no_others_on_a_machine(
    held: Session, left_out: tuple[int, ...]
) -> None:
    result = class_of(held, {"b01.rower.fit": rower(skipping(*left_out), held)}).reconciled()
    assert honest(result, "b01.rower.fit", MAIN_S + 60)


@pytest.mark.parametrize("left_out", [(1,), (5,), (3,), (4, 5)])
def test_a_machine_with_its_warm_up_finds_which_rounds_were_skipped(
    left_out: tuple[int, ...],
) -> None:
    result = class_of(UNEVEN, {"b01.rower.fit": rower(skipping(*left_out))}).reconciled()
    if of_file(result, "b01.rower.fit").status == "aligned":
        done = [step.attempted for step in work_of(result, "b01", "main")]
        assert done == [number not in left_out for number in range(1, 6)]


@pytest.mark.parametrize("left_out", [(1,), (5,), (3,)])
@pytest.mark.parametrize("held", [UNEVEN, EVEN], ids=["uneven", "work equal to rest"])
def test_rounds_that_were_skipped_move_no_others_by_heart_rate(
    held: Session, left_out: tuple[int, ...]
) -> None:
    result = class_of(held, {"b01.watch.fit": watch(skipping(*left_out), held)}).reconciled()
    assert honest(result, "b01.watch.fit", MAIN_S + 90)


@pytest.mark.parametrize("from_round", [2, 3])
def test_a_recording_that_begins_in_a_later_round_is_no_earlier_class(from_round: int) -> None:
    first_s = MAIN_S + (from_round - 1) * ROUND_S - 20
    machine = class_of(UNEVEN, {"b01.rower.fit": rower(Habits(), first_s=first_s)}).reconciled()
    assert honest(machine, "b01.rower.fit", MAIN_S - first_s)
    heart = class_of(UNEVEN, {"b01.watch.fit": watch(Habits(), first_s=first_s)}).reconciled()
    assert honest(heart, "b01.watch.fit", MAIN_S - first_s)


def test_a_recording_that_ends_before_the_last_round_is_no_later_class() -> None:
    last_s = MAIN_S + 4 * ROUND_S - 30
    machine = class_of(UNEVEN, {"b01.rower.fit": rower(Habits(), last_s=last_s)}).reconciled()
    assert right(machine, "b01.rower.fit", MAIN_S + 60, 2.0)
    heart = class_of(UNEVEN, {"b01.watch.fit": watch(Habits(), last_s=last_s)}).reconciled()
    assert honest(heart, "b01.watch.fit", MAIN_S + 90)


def test_equal_work_and_rest_are_not_mirrored_on_a_machine() -> None:
    result = class_of(EVEN, {"b01.rower.fit": rower(Habits(), EVEN)}).reconciled()
    assert right(result, "b01.rower.fit", MAIN_S + 60, 2.0)


@pytest.mark.parametrize("seed", range(4))
def test_equal_work_and_rest_are_not_mirrored_by_heart_rate(seed: int) -> None:
    # Half a round off is work for rest: the truth must be nearer than a quarter of a round.
    result = class_of(EVEN, {"b01.watch.fit": watch(Habits(), EVEN, seed=seed)}).reconciled()
    assert honest(result, "b01.watch.fit", MAIN_S + 90, half_s=ROUND_S / 4)


@pytest.mark.parametrize("rounds", [-2, -1, 1, 2])
@pytest.mark.parametrize("file", ["b01.rower.fit", "b01.watch.fit"])
def test_a_clock_out_by_whole_rounds_takes_nobody_along(file: str, rounds: int) -> None:
    clock_s = rounds * ROUND_S
    if "rower" in file:
        result = class_of(UNEVEN, {file: rower(Habits(), clock_s=clock_s)}).reconciled()
        assert honest(result, file, MAIN_S + 60)
    else:
        result = class_of(UNEVEN, {file: watch(Habits(), clock_s=clock_s)}).reconciled()
        assert honest(result, file, MAIN_S + 90)


@pytest.mark.parametrize("rounds", [-2, -1, 1, 2])
def test_a_start_stated_whole_rounds_off_takes_nobody_along(rounds: int) -> None:
    files = {"b01.rower.fit": rower(Habits()), "b02.watch.fit": watch(Habits(late_s=2.5))}
    result = class_of(UNEVEN, files, stated_s=rounds * ROUND_S).reconciled()
    assert honest(result, "b01.rower.fit", MAIN_S + 60)
    assert honest(result, "b02.watch.fit", MAIN_S + 90)


def extra_effort(before_s: float) -> list[tuple[float, float, float]]:
    """A try at the machine that looks like a round, so long before the main block."""
    return [(MAIN_S - before_s + 1.5, MAIN_S - before_s + 90, 205.0)]


@pytest.mark.parametrize("before_s", [ROUND_S, 120.0, 175.0])
def test_one_effort_more_before_the_block_is_not_its_first_round(before_s: float) -> None:
    pulls = sorted([*UNEVEN.pulls(Habits()), *extra_effort(before_s)])
    result = class_of(UNEVEN, {"b01.rower.fit": rowed(spun(pulls, -60, LAST_S))}).reconciled()
    assert honest(result, "b01.rower.fit", MAIN_S + 60)


def test_one_effort_more_after_the_block_is_not_its_last_round() -> None:
    after_s = MAIN_S + 5 * ROUND_S
    pulls = [*UNEVEN.pulls(Habits()), (after_s + 1.5, after_s + 90, 200.0)]
    wheel = spun(pulls, -60, after_s + 200)
    result = class_of(UNEVEN, {"b01.rower.fit": rowed(wheel)}).reconciled()
    assert honest(result, "b01.rower.fit", MAIN_S + 60)


def test_a_warm_up_with_one_round_more_shifts_nothing() -> None:
    pulls = sorted([(121.5, 160.0, 95.0), *UNEVEN.pulls(Habits())])
    result = class_of(UNEVEN, {"b01.rower.fit": rowed(spun(pulls, -60, LAST_S))}).reconciled()
    assert right(result, "b01.rower.fit", MAIN_S + 60, 2.0)
    assert honest(result, "b01.rower.fit", 60.0, 30.0, "warm-up")


TWINS = """title: Twice the same
blocks:
  - name: first
    rounds: 3
    steps:
      - {work: 60s, tasks: [{movement: machine, most: calories}]}
      - {rest: 60s}
    score: {measure: calories, take: total}
  - {name: water, free: 1m..3m}
  - name: second
    rounds: 3
    steps:
      - {work: 60s, tasks: [{movement: machine, most: calories}]}
      - {rest: 60s}
    score: {measure: calories, take: total}
"""


@pytest.mark.parametrize("water_s", [60.0, 120.0, 180.0])
def test_two_blocks_of_the_same_rounds_are_not_taken_for_one_another(water_s: float) -> None:
    second_s = 360 + water_s
    held = session(TWINS, first=0.0, second=second_s)
    wheel = held.wheel(Habits(), -60, second_s + 420)
    result = class_of(held, {"b01.rower.fit": rowed(wheel)}).reconciled()
    assert honest(result, "b01.rower.fit", 60.0, 60.0, "first")
    assert honest(result, "b01.rower.fit", second_s + 60, 60.0, "second")


def test_a_plan_of_bare_rounds_of_which_one_was_skipped_says_which_it_cannot_tell() -> None:
    # Four efforts under a plan of five and nothing else: the first or the last may be missing.
    bare = BARE.wheel(skipping(1), -400, 840)
    result = class_of(BARE, {"b01.rower.csv": rowed(bare, dated=False)}).reconciled()
    assert honest(result, "b01.rower.csv", 400.0)
    assert of_file(result, "b01.rower.csv").status == "ambiguous"
    starts = sorted(place.start_s for place in places(result, "b01.rower.csv", "main"))
    assert starts[0] == pytest.approx(400, abs=3)
    assert starts[-1] == pytest.approx(400 + ROUND_S, abs=3)


def row(*rounds: float, notes: str = "") -> LoggedScore:
    return LoggedScore("b01", "main", None, "rower", sum(rounds), rounds or None, None, notes)


@pytest.mark.parametrize("left_out", [1, 5])
@pytest.mark.parametrize("way", ["a nought", "words"])
def test_a_row_that_says_which_round_was_left_out_settles_what_the_pulls_leave_open(
    left_out: int, way: str
) -> None:
    values = [0.0 if number == left_out else 17.0 for number in range(1, 6)]
    said = row(*values) if way == "a nought" else row(notes=f"skipped round {left_out}")
    bare = BARE.wheel(skipping(left_out), -400, 840)
    files = {"b01.rower.csv": rowed(bare, dated=False)}
    result = class_of(BARE, files, scores=(said,)).reconciled()
    assert right(result, "b01.rower.csv", 400.0, 3.0)


@pytest.mark.parametrize("left_out", [1, 5])
def test_and_nearly_settles_what_a_heart_leaves_open(left_out: int) -> None:
    values = [0.0 if number == left_out else 17.0 for number in range(1, 6)]
    heart = beating(BARE.work(skipping(left_out)), -400, 840, dated=False, seed=2)
    without, with_it = (
        class_of(BARE, {"b01.watch.csv": heart}, scores=scores).reconciled()
        for scores in ((), (row(*values),))
    )
    assert honest(without, "b01.watch.csv", 400.0)
    best = places(with_it, "b01.watch.csv", "main")[0]
    assert best.start_s == pytest.approx(400, abs=8)
    assert best.probability > max(0.96, places(without, "b01.watch.csv", "main")[0].probability)


def test_the_likeliest_of_several_places_is_listed_first_and_they_make_no_more_than_one() -> None:
    bare = BARE.wheel(skipping(1), -400, 840)
    result = class_of(BARE, {"b01.rower.csv": rowed(bare, dated=False)}).reconciled()
    told = [place.probability for place in places(result, "b01.rower.csv", "main")]
    assert told == sorted(told, reverse=True)
    assert 0 < sum(told) <= 1 + 1e-9


def test_the_rest_of_the_class_tells_which_round_was_skipped() -> None:
    # The same four efforts beside two who did all five, on right clocks.
    files = {
        "b01.rower.csv": rowed(BARE.wheel(skipping(1), -100, 840)),
        "b02.rower.fit": rowed(BARE.wheel(Habits(watts=170), -100, 840)),
        "b03.rower.fit": rowed(BARE.wheel(Habits(late_s=2.6), -100, 840)),
    }
    result = class_of(BARE, files).reconciled()
    assert right(result, "b01.rower.csv", 100.0, 2.0)
    assert [s.attempted for s in work_of(result, "b01", "main")] == [False, *[True] * 4]


def test_laps_at_the_bells_settle_what_a_heart_leaves_open() -> None:
    marks = [MAIN_S + ROUND_S * n + edge + 90 for n in range(5) for edge in (0.0, 90.0)]
    edges = [0.0, *marks, LAST_S + 90]
    laps = tuple(Lap(float(a), float(b)) for a, b in pairwise(edges))
    plain = watch(Habits())
    lapped = replace(plain, laps=laps)
    result = class_of(UNEVEN, {"b01.watch.fit": lapped}).reconciled()
    assert right(result, "b01.watch.fit", MAIN_S + 90, 2.0)


def test_the_one_lap_that_every_file_holds_lets_a_heart_say_no_more_than_it_may() -> None:
    plain = watch(skipping(1, 2))
    lapped = replace(plain, laps=(Lap(0.0, float(plain.time_s[-1])),))
    without, with_it = (
        places(class_of(UNEVEN, {"b01.watch.tcx": one}).reconciled(), "b01.watch.tcx", "main")
        for one in (plain, lapped)
    )
    assert without == with_it


def test_a_heart_that_answers_very_late_is_not_taken_for_a_later_bell_by_a_round() -> None:
    lagging = beating(UNEVEN.work(Habits()), -90, LAST_S, delay_s=24.0, seed=3)
    files = {"b01.watch.fit": lagging, "b02.rower.fit": rower(Habits())}
    result = class_of(UNEVEN, files).reconciled()
    assert right(result, "b02.rower.fit", MAIN_S + 60, 2.0)
    assert honest(result, "b01.watch.fit", MAIN_S + 90)


def test_a_sensor_that_dropped_out_for_a_round_moves_nothing() -> None:
    whole = watch(Habits())
    assert whole.heart_rate_bpm is not None
    holed = whole.heart_rate_bpm.copy()
    holed[(whole.time_s > MAIN_S + 90 + ROUND_S) & (whole.time_s < MAIN_S + 90 + 2 * ROUND_S)] = (
        np.nan
    )
    lost = replace(whole, heart_rate_bpm=holed)
    result = class_of(UNEVEN, {"b01.watch.fit": lost}).reconciled()
    assert honest(result, "b01.watch.fit", MAIN_S + 90)
