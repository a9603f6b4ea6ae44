"""One heart and the machine whose work it answers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reconcile.align.heart import heart_grid
from reconcile.align.heart_of_machine import (
    BETTER_BY,
    SAYS,
    answered_best,
    explained_beyond_rest,
    explained_by,
    work_on,
)
from reconcile.machine import machine_track
from reconcile.timeline import unfold_block
from tests.reconcile.classroom import Habits, beating, rowed, session
from tests.reconcile.flywheel import Channel, Wheel

HELD = session(
    """title: Weir and lock
blocks:
  - name: main
    rounds: 6
    steps:
      - work: 100s
        tasks:
          - {movement: box step-up, reps: 10}
          - {movement: machine, most: calories}
      - {rest: 80s}
    score: {measure: calories, take: total}
""",
    main=0.0,
)
WHOLE = session(
    """title: All the way
blocks:
  - name: main
    rounds: 6
    steps:
      - {work: 100s, tasks: [{movement: machine, most: calories}]}
      - {rest: 80s}
    score: {measure: calories, take: total}
""",
    main=0.0,
)
(BLOCK,) = HELD.plan.timed_blocks
STEPS = unfold_block(BLOCK)
LAST_S = 6 * 180.0 + 60
# Everybody pulls harder or easier than they did the first task (0.6 of 260 W): else no heart
# tells when the pull began.
GROUP = {
    "b01": Habits(first_task_share=0.15, watts=240),
    "b02": Habits(first_task_share=0.45, watts=240, fade=0.05),
    "b03": Habits(first_task_share=0.60, watts=200, over_s=-9.0),
    "b04": Habits(first_task_share=0.38, watts=150, skips=frozenset({("main", 3)})),
    "b05": Habits(first_task_share=0.70, watts=220, late_s=4.0),
}


def wheel_of(name: str) -> Wheel:
    return HELD.wheel(GROUP[name], -60.0, LAST_S)


def explained(
    name: str, machines: list[str], *, channels: tuple[Channel, ...] = ("power",)
) -> np.ndarray:
    """How well each machine explains the heart of who pulled one of them."""
    tasks = [
        (at + GROUP[name].late_s, at + GROUP[name].first_task_share * 100.0, 0.6)
        for at, _ in HELD.steps(GROUP[name])
    ]
    pulls = [(start, end, watts / 260) for start, end, watts in wheel_of(name).pulls]
    watch = beating([*tasks, *pulls], -120.0, LAST_S, seed=int(name[1:]))
    assert watch.heart_rate_bpm is not None
    heart = heart_grid(watch.time_s, watch.heart_rate_bpm)
    found = []
    for machine in machines:
        track = machine_track(rowed(wheel_of(machine), channels), "rower", "file")
        assert track is not None
        found.append(explained_by(-60, heart, work_on(track, -60.0, [0.0], [STEPS])))
    return np.array(found)


@pytest.mark.parametrize("name", list(GROUP))
def test_a_heart_answers_its_own_machine_best(name: str) -> None:
    machines = list(GROUP)
    said = answered_best(explained(name, machines), 600)
    assert machines[int(np.argmax(said))] == name
    assert said.max() > 0.8
    assert np.sort(said)[-2] < 0.5


def test_a_wheel_without_power_tells_by_its_speed() -> None:
    machines = list(GROUP)
    said = answered_best(explained("b02", machines, channels=("speed", "distance")), 600)
    assert machines[int(np.argmax(said))] == "b02"


def test_without_its_own_machine_no_other_is_sure() -> None:
    said = answered_best(explained("b02", ["b01", "b03", "b04"]), 600)
    assert said.max() <= SAYS[-1]


def test_one_machine_alone_cannot_be_compared() -> None:
    assert answered_best(np.array([-12.0]), 600).tolist() == [0.0]
    assert answered_best(np.zeros(0), 600).tolist() == []


def test_machines_that_explain_equally_say_nothing() -> None:
    assert answered_best(np.full(7, -300.0), 600) == pytest.approx(np.zeros(7))


def test_the_better_one_explains_the_more_it_says() -> None:
    better = [
        answered_best(np.array([gain, 0.0, 0.0, -1.0]), 600)[0] for gain in np.linspace(-9, 30, 40)
    ]
    assert better == sorted(better)
    assert list(BETTER_BY) == sorted(BETTER_BY)
    assert list(SAYS) == sorted(SAYS)


def test_a_heart_outside_the_class_is_told_nothing_of() -> None:
    track = machine_track(rowed(wheel_of("b01")), "rower", "file")
    assert track is not None
    work = work_on(track, -60.0, [0.0], [STEPS])
    assert explained_by(-9000, np.full(500, 80.0), work) == 0.0
    assert explained_by(0, np.full(500, np.nan), work) == 0.0


def test_a_short_recording_and_few_machines_say_less() -> None:
    explained = np.array([0.0, -30.0, -30.0, -30.0, -30.0])
    whole, short = answered_best(explained, 600), answered_best(explained, 75)
    assert short == pytest.approx(whole / 4)
    assert 0 < answered_best(explained[:2], 600)[0] < whole[0] / 2


def test_a_machine_that_nobody_pulled_explains_a_heart_no_better_than_rest() -> None:
    """Nothing but the machine was to be done, and its file shows that nothing was."""
    pulled = machine_track(
        rowed(WHOLE.wheel(Habits(), -60.0, LAST_S), ("power", "speed")), "rower", "file"
    )
    assert pulled is not None
    idle = np.zeros(len(pulled.time_s))
    still = replace(pulled, pulling=idle.astype(bool), pulls=(), pulled_power_w=idle)
    watch = beating(WHOLE.work(Habits()), -120.0, LAST_S, seed=3)
    assert watch.heart_rate_bpm is not None
    heart = heart_grid(watch.time_s, watch.heart_rate_bpm)
    steps = [unfold_block(WHOLE.plan.timed_blocks[0])]
    beyond = [
        explained_beyond_rest(-60, heart, work_on(track, -60.0, [0.0], steps))
        for track in (still, pulled)
    ]
    assert beyond[0] == pytest.approx(0.0, abs=0.5)
    assert beyond[1] > 20.0


@pytest.mark.parametrize("before_s", [120.0, 900.0, 1500.0])
def test_a_place_where_less_is_seen_is_no_better_for_it(before_s: float) -> None:
    """A heart at rest before and after the work is seen more or less of, and tells as little."""
    track = machine_track(rowed(WHOLE.wheel(Habits(), -60.0, LAST_S), ("power",)), "rower", "file")
    assert track is not None
    watch = beating(WHOLE.work(Habits()), -before_s, LAST_S + before_s, seed=3)
    assert watch.heart_rate_bpm is not None
    heart = heart_grid(watch.time_s, watch.heart_rate_bpm)
    work = work_on(track, -60.0, [0.0], [unfold_block(WHOLE.plan.timed_blocks[0])])
    here = -int(before_s / 2)
    places = [here, here - 270, here + 270, here - 700, here + 700]
    beyond = [explained_beyond_rest(place, heart, work) for place in places]
    assert int(np.argmax(beyond)) == 0
