"""Where a watch lies, by how its heart answers what the athlete did on the machine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.answered_work import (
    WATCH_IN_DOUBT_S,
    WATCH_REACH,
    OwnFile,
    OwnTimeline,
    watch_by_work,
)
from reconcile.align.grid import STEP_S, index_of
from reconcile.align.joint import Place, Posterior
from reconcile.align.signals import prepare
from reconcile.timeline import unfold_block
from tests.reconcile.classroom import beating, class_of, of_file, rowed, session, upload
from tests.reconcile.flywheel import spun

ROUNDS, ROUND_S = 8, 120.0
WEIR = session(
    f"""title: Over the weir
blocks:
  - name: main
    rounds: {ROUNDS}
    steps:
      - {{work: 60s, tasks: [{{movement: rower, most: calories}}]}}
      - {{rest: 60s}}
    score: {{measure: calories, take: total}}
""",
    main=0.0,
)
LAST_S = ROUNDS * ROUND_S
# No round is pulled as the one before it: some hard, some easy, one begun late.
WATTS = (230.0, 130.0, 220.0, 225.0, 120.0, 215.0, 120.0, 220.0)
LATE_S = (1.5, 1.5, 2.0, 25.0, 1.5, 1.5, 20.0, 1.5)
PULLS = [
    (ROUND_S * n + late_s, ROUND_S * n + 60.5, watts)
    for n, (late_s, watts) in enumerate(zip(LATE_S, WATTS, strict=True))
]
# A watch that was switched on in the second round and off in the seventh: as the plan has it, it
# would fit a round earlier or later as well. Its clock, half a round out, tells neither.
FIRST_S, UNTIL_S = 150.0, 840.0


def watch() -> Recording:
    work = [(start_s, end_s, watts / 230) for start_s, end_s, watts in PULLS]
    return beating(work, FIRST_S, UNTIL_S, seed=2, clock_s=ROUND_S / 2)


def machine() -> Recording:
    return rowed(spun(PULLS, -40.0, LAST_S), ("power", "speed"))


def file_of(name: str, recording: Recording, clock: Posterior) -> OwnFile:
    signals = prepare(upload(name, recording), "rower")
    assert signals is not None
    return OwnFile(signals, Place(clock, (), 0.0, ((1.0, clock),)))


def spread(*at_s: float) -> Posterior:
    """Equally likely to lie at each of these times."""
    low = index_of(min(at_s)) - 20
    weights = np.zeros(index_of(max(at_s)) + 21 - low)
    weights[[index_of(one) - low for one in at_s]] = 1 / len(at_s)
    return Posterior(low, weights)


OWN = OwnTimeline([0.0], 0.0, [unfold_block(WEIR.plan.timed_blocks[0])])
EITHER_ROUND = np.arange(FIRST_S - ROUND_S - 5, FIRST_S + ROUND_S + 5, STEP_S)


def test_the_machines_work_tells_in_which_round_a_watch_was_switched_on() -> None:
    where = spread(*EITHER_ROUND)
    says = watch_by_work(
        file_of("b01.watch.fit", watch(), where),
        file_of("b01.rower.fit", machine(), spread(-40.0)),
        OWN,
    )
    assert says is not None
    at_s = (where.first + np.arange(len(says))) * STEP_S
    assert at_s[np.argmax(says)] == pytest.approx(FIRST_S, abs=8.0)
    assert np.ptp(says) == pytest.approx(WATCH_REACH, abs=0.1)


def test_a_watch_that_is_not_in_doubt_is_told_nothing() -> None:
    near = spread(*np.arange(FIRST_S, FIRST_S + WATCH_IN_DOUBT_S / 2, STEP_S))
    here = file_of("b01.rower.fit", machine(), spread(-40.0))
    assert watch_by_work(file_of("b01.watch.fit", watch(), near), here, OWN) is None


def test_a_machine_that_is_in_doubt_itself_tells_nothing() -> None:
    unsure = spread(-160.0, -40.0, 80.0)
    watched = file_of("b01.watch.fit", watch(), spread(*EITHER_ROUND))
    assert watch_by_work(watched, file_of("b01.rower.fit", machine(), unsure), OWN) is None


def test_a_watch_without_a_heart_is_told_nothing() -> None:
    dead = replace(watch(), heart_rate_bpm=None)
    watched = file_of("b01.watch.fit", dead, spread(*EITHER_ROUND))
    here = file_of("b01.rower.fit", machine(), spread(-40.0))
    assert watch_by_work(watched, here, OWN) is None


def chance_of_truth(uploads: dict[str, Recording]) -> float:
    result = class_of(WEIR, uploads, starts_s={"main": 0.0}).reconciled()
    entry = of_file(result, "b01.watch.fit")
    near = [b.probability for b in entry.blocks if abs(b.start_s + FIRST_S) < ROUND_S / 2]
    return sum(near)


def test_a_watch_that_would_fit_either_round_is_placed_by_its_athletes_machine() -> None:
    alone = chance_of_truth({"b01.watch.fit": watch()})
    beside = chance_of_truth({"b01.watch.fit": watch(), "b01.rower.fit": machine()})
    assert beside > 1 - (1 - alone) / 3
