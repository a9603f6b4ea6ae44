"""A class's recordings are much of a length; where little else tells, that does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.length import FEWEST_OTHERS, as_long_as_others
from reconcile.align.signals import Signals, prepare
from reconcile.engine import workings
from tests.reconcile.classroom import Habits, beating, class_of, rowed, session, upload
from tests.reconcile.flywheel import spun

HELD = session(
    """title: Slack tide
blocks:
  - name: main
    rounds: 5
    steps:
      - {work: 80s, tasks: [{movement: goblet squat}]}
      - {rest: 70s}
    score: {measure: reps, take: total}
""",
    main=0.0,
)
END_S = 5 * 150.0


def watch(first_s: float, last_s: float, *, dated: bool = True, seed: int = 1) -> Recording:
    return beating(HELD.work(Habits()), first_s, last_s, dated=dated, seed=seed)


def signals(file: str, recording: Recording) -> Signals:
    found = prepare(upload(file, recording), None)
    assert found is not None
    return found


OTHERS = [
    signals("e01.watch.fit", watch(-200, END_S + 60)),
    signals("e02.watch.fit", watch(-240, END_S + 80)),
    signals("e03.watch.fit", watch(-180, END_S + 40)),
    signals("e04.watch.fit", watch(-230, END_S + 20)),
]


@pytest.mark.parametrize(
    ("length_s", "as_long"),
    [(1000.0, True), (900.0, True), (1100.0, True), (2200.0, False), (3600.0, False)],
)
def test_as_long_as_the_others_speaks_for_the_class(length_s: float, *, as_long: bool) -> None:
    one = signals("e05.watch.csv", watch(-200, -200 + length_s, dated=False))
    assert (as_long_as_others([*OTHERS, one])[-1] > 0) is as_long


def test_a_short_one_says_less_than_a_long_one() -> None:
    """People come late, leave early, and start a device anew; nobody stays for a second class."""
    half, double = (
        as_long_as_others([*OTHERS, signals("e05.watch.csv", watch(-200, -200 + length_s))])[-1]
        for length_s in (500.0, 2000.0)
    )
    assert double < half < 0.5


def test_however_long_it_is_it_does_not_settle_the_matter() -> None:
    lengths = (120.0, 1000.0, 10 * 3600.0)
    said = [
        as_long_as_others([*OTHERS, signals("e05.watch.csv", watch(-60, length_s))])[-1]
        for length_s in lengths
    ]
    assert all(abs(one) < 3.0 for one in said)


def test_few_others_of_its_kind_say_nothing() -> None:
    one = signals("e05.watch.csv", watch(-200, END_S, dated=False))
    undated = [signals(f"f{n:02d}.watch.csv", watch(-200, END_S, dated=False)) for n in range(5)]
    machines = [
        signals(f"g{n:02d}.rower.fit", rowed(spun([(0.0, 80.0, 150.0)], -100, END_S)))
        for n in range(5)
    ]
    few = OTHERS[: FEWEST_OTHERS - 1]
    assert as_long_as_others([*few, *undated, *machines, one])[-1] == 0.0
    assert as_long_as_others([]) == []


def test_a_heart_that_hardly_answers_is_rather_of_the_class_if_it_is_as_long(
    rng: np.random.Generator,
) -> None:
    faint = watch(-200, END_S + 40, dated=False)
    noise = np.convolve(rng.normal(0, 9, len(faint.time_s)), np.ones(9) / 3, "same")
    faint = replace(faint, heart_rate_bpm=np.round(120 + noise))
    odds = []
    for beyond_s in (0, 3000):  # the others took their watches off, or went home with them on
        files = {
            f"e0{n}.watch.fit": watch(-200 - 9 * n, END_S + 9 * n + beyond_s, seed=n)
            for n in range(1, 5)
        }
        files["e05.watch.csv"] = faint
        placed = workings(class_of(HELD, files).record()).placed["e05.watch.csv"]
        odds.append(placed.placement.match / (1 - placed.placement.match))
    assert odds[0] > 3 * odds[1]
