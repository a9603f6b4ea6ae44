"""What was found in a recording is kept, and told again only where the same is asked."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import permutations

import numpy as np

from reconcile.align.assignment import Assignment
from reconcile.align.signals import Signals, prepare
from reconcile.align.sources import Findings, evidence_by_source
from reconcile.timeline import unfold_block
from tests.reconcile.classroom import Habits, beating, rowed, session, upload

HELD = session(
    """title: Ford and ferry
options: [prescribed, home]
blocks:
  - name: main
    rounds: 4
    steps:
      - work: 95s
        tasks:
          - {movement: step-up, reps: 12}
          - movement: machine
            most: metres
            instead: {home: {movement: rope jump, most: reps}}
      - {rest: 65s}
    score: {measure: metres, take: total}
""",
    main=0.0,
)
(BLOCK,) = HELD.plan.timed_blocks
STEPS, AT_HOME = unfold_block(BLOCK), unfold_block(BLOCK, "home")
HABITS = Habits(skips=frozenset({("main", 3)}))


def signals_of(file: str) -> Signals:
    recording = (
        rowed(HELD.wheel(HABITS, -60.0, 700.0))
        if "rower" in file
        else beating(HELD.work(HABITS), -60.0, 700.0)
    )
    found = prepare(upload(file, recording), None, pedals=False)
    assert found is not None
    return found


def asked_of(signals: Signals) -> list[Assignment]:
    """The same recording as of several owners: each asks for something else."""
    plain, home = {"main": STEPS}, {"main": AT_HOME}
    left_out: Mapping[str, Mapping[int, float]] = {"main": {3: 0.9}}
    return [
        Assignment(signals, ("a",), 0.0, plain, ((0.0, plain),)),
        Assignment(signals, ("b",), 0.0, plain, ((0.0, plain),), left_out),
        Assignment(signals, ("c",), 0.0, home, ((0.0, home),)),
        Assignment(signals, ("a", "d"), 0.0, plain, ((0.0, plain), (40.0, plain))),
    ]


def test_what_is_kept_is_told_only_to_who_asks_the_same() -> None:
    for file in ("a.rower.csv", "a.watch.csv"):
        for asked in permutations(asked_of(signals_of(file))):
            kept = Findings()
            for assignment in (*asked, *asked):
                told = evidence_by_source(assignment, BLOCK, None, kept)
                anew = evidence_by_source(assignment, BLOCK, None, Findings())
                assert told.keys() == anew.keys()
                for source, ratio in told.items():
                    assert ratio.first == anew[source].first
                    np.testing.assert_array_equal(ratio.values, anew[source].values)


def test_what_the_same_steps_ask_is_looked_for_once() -> None:
    kept = Findings()
    first, *others = asked_of(signals_of("a.watch.csv"))
    evidence_by_source(first, BLOCK, None, kept)
    assert len(kept.hearts) == 1
    evidence_by_source(others[-1], BLOCK, None, kept)
    assert len(kept.hearts) == 1
    evidence_by_source(others[0], BLOCK, None, kept)
    assert len(kept.hearts) == 2
