"""What each athlete does, step by step: tasks, pulls, waiting about; and what that costs.

All times are ticks of a tenth of a second on one clock for the whole class.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.simulator.bodies import KCAL_MIN_PER_WATT, Body
from tests.bench.simulator.machine import (
    STEP_S,
    TICKS_A_SECOND,
    Machine,
    Pull,
    power_profile,
)
from tests.bench.simulator.movements import MOVEMENTS
from tests.bench.simulator.plans import Block, Job

# A break in the pulling shorter than this would not part two runs of strokes.
SHORTEST_GAP_S = 4.0


@dataclass(frozen=True)
class Slot:
    """One step of one round as this athlete does it."""

    block: str
    round: int
    step: int
    rounds: int
    kind: str
    start: int
    end: int
    jobs: tuple[Job, ...]
    last: bool


@dataclass(frozen=True)
class Bout:
    """A stretch of one task or one pull, and the slot in which it began."""

    slot: Slot
    start: int
    end: int
    movement: str
    machine: str | None = None


@dataclass
class Doing:
    """What an athlete has done so far, and has left."""

    name: str
    body: Body
    option: str
    machine: Machine | None
    shares: bool
    loads_kg: dict[str, float]
    skipped: frozenset[tuple[str, int]]
    rng: Generator
    bouts: list[Bout] = field(default_factory=list)
    pulls: dict[tuple[str, int, int], list[Pull]] = field(default_factory=dict)
    reps: dict[tuple[str, int, int], int] = field(default_factory=dict)
    finished: dict[tuple[str, int, int], int] = field(default_factory=dict)
    reserve_j: float = 0.0
    reserve_at: int = 0
    pace: float = 1.0


def ticks(seconds: float) -> int:
    return round(seconds * TICKS_A_SECOND)


def slots_of(block: Block, start: int, option: str, station: int | None) -> list[Slot]:
    """A block's steps from its first bell, with the option's and the station's tasks."""
    work = [step.jobs for step in block.steps if step.kind == "work"]
    shift = station - 1 if block.rotate and station is not None else 0
    slots = []
    clock = start
    for number in range(1, block.rounds + 1):
        seen = 0
        for index, step in enumerate(block.steps, start=1):
            jobs = step.jobs
            if step.kind == "work":
                jobs = work[(seen + shift) % len(work)]
                seen += 1
            chosen = tuple(job.instead.get(option, job) for job in jobs)
            end = clock + ticks(step.seconds)
            slots.append(
                Slot(block.name, number, index, block.rounds, step.kind, clock, end, chosen,
                     last=number == block.rounds)
            )  # fmt: skip
            clock = end
    return slots


def recover(doing: Doing, now: int) -> None:
    """Let the work reserve come back since it was last drawn on."""
    full = doing.body.reserve_j
    elapsed_s = (now - doing.reserve_at) * STEP_S
    missing = (full - doing.reserve_j) * math.exp(-max(elapsed_s, 0.0) / doing.body.recovery_s)
    doing.reserve_j, doing.reserve_at = full - missing, now


def target_power(doing: Doing, slot: Slot, seconds: float, kind: str, effort: str | None) -> float:
    """The power that this athlete chooses for so many seconds of machine work."""
    body, rng = doing.body, doing.rng
    critical = body.critical_power(kind)
    if effort == "easy":
        return critical * rng.uniform(0.4, 0.65)
    if effort == "steady":
        return critical * rng.uniform(0.65, 0.85)
    habits = body.habits
    share = 0.75 if slot.last else 0.45
    power = critical + share * doing.reserve_j / max(seconds, 25.0)
    power = min(power, critical * 2.2)
    through = (slot.round - 1) / max(slot.rounds - 1, 1)
    power *= habits.effort * (1 - habits.fade * through) * rng.normal(1.0, 0.03)
    if slot.last:
        power *= 1 + habits.kick
    return float(max(power, 0.4 * critical))


def draw_on_reserve(doing: Doing, pull: Pull, kind: str) -> None:
    recover(doing, pull.start)
    assert doing.machine is not None
    over = doing.machine.power_w[pull.start : pull.end] - doing.body.critical_power(kind)
    doing.reserve_j = max(0.0, doing.reserve_j - float(over.clip(0.0).sum()) * STEP_S)
    doing.reserve_at = pull.end


def record_pull(doing: Doing, slot: Slot, pull: Pull, kind: str) -> None:
    draw_on_reserve(doing, pull, kind)
    doing.pulls.setdefault((slot.block, slot.round, slot.step), []).append(pull)
    doing.bouts.append(Bout(slot, pull.start, pull.end, "machine", kind))


def one_pull(
    doing: Doing, slot: Slot, start: int, end: int, watts: float, *, easy: bool = False
) -> Pull | None:
    """Pull from `start` to `end` unless that is too short to be worth sitting down."""
    machine = doing.machine
    assert machine is not None
    if machine.pulls:
        start = max(start, machine.pulls[-1].end + ticks(SHORTEST_GAP_S))
    end = min(end, machine.ticks)
    if end - start < ticks(3) or start > slot.end - ticks(2):
        return None
    rng = doing.rng
    rate = doing.body.stroke_rate[machine.kind] * (0.75 if easy else rng.uniform(0.95, 1.08))
    profile = power_profile(
        rng, end - start, watts, 60 / rate,
        fast_start=0.0 if easy else rng.uniform(0.0, 0.2),
        finish=0.0 if easy else rng.uniform(0.0, 0.12),
    )  # fmt: skip
    return machine.pull(doing.name, start, profile, rate, easy=easy)


def use_machine(doing: Doing, slot: Slot, job: Job, start: int, stop: int) -> int | None:
    """Do a machine task from `start`; returns the tick at which its amount was reached, or None."""
    machine = doing.machine
    assert machine is not None
    fixed = job.amount if not job.most else None
    seconds = (stop - start) * STEP_S
    watts = target_power(doing, slot, seconds, machine.kind, job.effort)
    stops = [stop]
    if fixed is None and seconds > 25 and doing.rng.random() < doing.body.habits.breaks:
        halfway = start + int((stop - start) * doing.rng.uniform(0.35, 0.7))
        stops = [halfway, stop]
    begin = start
    for end in stops:
        pull = one_pull(doing, slot, begin, end, watts)
        if pull is None:
            continue
        if fixed is not None:
            speed = machine.speed_m_s[slot.start : pull.end]
            rate = machine.rate(slot.start, pull.end) if job.measure == "calories" else speed
            reached = np.flatnonzero(np.cumsum(rate) * STEP_S >= fixed)
            if reached.size:
                done = slot.start + int(reached[0]) + 1
                over = ticks(doing.rng.uniform(0.0, 1.2))
                if done + over < pull.end:
                    machine.cut(done + over)
                record_pull(doing, slot, machine.pulls[-1], machine.kind)
                return done
        record_pull(doing, slot, pull, machine.kind)
        begin = pull.end + ticks(doing.rng.uniform(SHORTEST_GAP_S, 9))
    return None


def task_ticks(doing: Doing, slot: Slot, job: Job) -> tuple[int, float]:
    """How long a fixed task takes, breaks included, and the seconds of one repetition."""
    body, rng = doing.body, doing.rng
    load = doing.loads_kg.get(f"{slot.block}/{job.movement}", 0.0)
    one = body.seconds_per_repetition(job.movement, load)
    one *= 1 + 0.6 * body.habits.fade * (slot.round - 1) / max(slot.rounds - 1, 1)
    one *= rng.normal(1.0, 0.03)
    amount = job.amount or 0.0
    share = body.share_of_limit(job.movement, load)
    breaks = 0.0
    if share > 0.65:
        every = max(2.0, 14 * (1.1 - share))
        breaks = int(amount / every) * rng.uniform(3, 9)
    return ticks(amount * one + breaks), one


def do_work(doing: Doing, slot: Slot) -> None:
    """Do a work step's tasks one after the other until they or the time run out."""
    key = (slot.block, slot.round, slot.step)
    if (slot.block, slot.round) in doing.skipped or not slot.jobs:
        return
    habits, rng = doing.body.habits, doing.rng
    clock = slot.start + ticks(habits.start_delay_s + abs(rng.normal(0, habits.start_spread_s)))
    if doing.bouts:
        clock = max(clock, doing.bouts[-1].end + ticks(1))
    own, any_time = (1 - habits.stop_spread) * habits.stop_s, rng.uniform(-2.0, 3.0)
    stop = slot.end + ticks(own + habits.stop_spread * any_time)
    if habits.stops_early and rng.random() < 0.8:
        stop = min(stop, slot.end - ticks(rng.uniform(5, 20)))
    for index, job in enumerate(slot.jobs):
        if index:
            clock += ticks(habits.change_over_s * rng.uniform(0.7, 1.3))
        if clock >= min(stop, slot.end) - ticks(2):
            return
        if job.on_machine:
            if doing.machine is None:
                return
            reached = use_machine(doing, slot, job, clock, stop)
            if reached is None:
                return
            done = reached
            clock = doing.machine.pulls[-1].end
        else:
            length, one = task_ticks(doing, slot, job)
            if job.most or job.amount is None:
                length = stop - clock
            end = min(clock + length, stop)
            doing.bouts.append(Bout(slot, clock, end, job.movement))
            if job.most:
                doing.reps[key] = int((min(end, slot.end) - clock) * STEP_S / one)
            if end < clock + length:
                return
            clock = done = end
        if done > slot.end:
            return
    doing.finished[key] = done


def do_rest(doing: Doing, slot: Slot) -> None:
    """Wait, or pull easily for a part of the rest, unless somebody else needs the machine."""
    if not doing.body.habits.rows_in_rests or doing.machine is None or doing.shares:
        return
    rng = doing.rng
    mine = [pull for pull in doing.machine.pulls if pull.athlete == doing.name]
    seconds = (slot.end - slot.start) * STEP_S
    if not mine or seconds < 25 or rng.random() < 0.25:
        return
    start = max(slot.start, mine[-1].end) + ticks(rng.uniform(SHORTEST_GAP_S + 1, 12))
    end = min(start + ticks(seconds * rng.uniform(0.3, 0.8)), slot.end - ticks(SHORTEST_GAP_S + 2))
    kind = doing.machine.kind
    watts = doing.body.critical_power(kind) * rng.uniform(0.25, 0.5)
    pull = one_pull(doing, slot, start, end, watts, easy=True)
    if pull is not None:
        record_pull(doing, slot, pull, kind)


@dataclass(frozen=True)
class Demand:
    """A value a tick: gross cost and what mere waiting about would cost (kcal/min), whether it is
    strength work, and the cadence at the wrist."""

    cost: NDArray[np.float64]
    waiting: NDArray[np.float64]
    strength: NDArray[np.bool_]
    cadence: NDArray[np.float64]


def demand(doing: Doing, slots: list[Slot], length: int) -> Demand:
    """What each tick costs this athlete."""
    body, rng = doing.body, doing.rng
    waiting = np.empty(length)
    edges = [0, *(slot.start for slot in slots), length]
    for start, end in itertools.pairwise(edges):
        met = float(np.clip(body.standing_met + rng.normal(0, 0.2), 1.7, 3.0))
        waiting[start:end] = met * body.resting_kcal_min
    cost = waiting.copy()
    strength = np.zeros(length, dtype=bool)
    cadence = np.zeros(length)
    for bout in doing.bouts:
        here = slice(bout.start, bout.end)
        if bout.machine is not None:
            assert doing.machine is not None
            watts = doing.machine.power_w[here]
            work = watts / body.efficiency[bout.machine] * KCAL_MIN_PER_WATT
            cost[here] = body.resting_kcal_min + work
            cadence[here] = doing.machine.cadence_per_min[here]
        else:
            movement = MOVEMENTS[bout.movement]
            cost[here] = body.task_kcal_min(bout.movement)
            strength[here] = movement.strength
            cadence[here] = movement.cadence or 0.0
    return Demand(cost, waiting, strength, cadence)
