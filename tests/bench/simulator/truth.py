"""What really happened, in the terms of the contract."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.bench.simulator.machine import STEP_S, Machine
from tests.bench.simulator.perform import Performance, Track
from tests.bench.simulator.plans import Block
from tests.bench.simulator.work import Slot


@dataclass(frozen=True)
class FileTruth:
    """One file.

    kind: what recorded it: watch, machine, phone or stranger. first_sample, samples: the first data
    point by the device's clock (None without a date), and how many there were before any damage.
    owners: those whose work it holds. start_s: each timed block that it covers, and its start in
    seconds from the first sample on the device's clock, for the first of the owners; starts_of: the
    same for each owner. whole_of: for each owner, the blocks that it holds to the full, a machine's
    file every pull, a watch's every second. tags: what is odd about it.
    """

    file: str
    status: str
    kind: str
    format: str
    damage: str | None
    first_sample: datetime | None
    samples: int
    uploaded_by: tuple[str, ...]
    owners: tuple[str, ...]
    wrong_name: bool
    other_day: bool
    at_home: bool
    start_s: dict[str, float]
    starts_of: dict[str, dict[str, float]]
    whole_of: dict[str, tuple[str, ...]]
    tags: tuple[str, ...]


@dataclass(frozen=True)
class StepTruth:
    """One step of one round, in the contract's own terms (seconds from its planned start).

    `energy_kcal` credits work that ran over the bell to the step in which it began;
    `energy_in_window_kcal` is everything between the step's two bells.
    """

    block: str
    round: int
    step: int
    kind: str
    planned_s: float
    attempted: bool | None
    effort_start_s: float | None
    effort_end_s: float | None
    machine_start_s: float | None
    machine_end_s: float | None
    machine_active_s: float | None
    machine_calories: float | None
    machine_metres: float | None
    mean_power_w: float | None
    energy_kcal: float
    energy_in_window_kcal: float


@dataclass(frozen=True)
class ScoreTruth:
    """One scored block: what the score at the bells was, what was logged, and why.

    `code` is the contract's code of the mistake, "rounding" where the score is honest, None where
    nothing was logged. `direct`: the measure is one that a machine counts and its recording shows.
    """

    block: str
    measure: str
    take: str
    true: float
    logged: float | None
    rounds: tuple[float, ...] | None
    code: str | None
    impossible: bool


@dataclass(frozen=True)
class AthleteTruth:
    """One athlete. `load_advice` maps a block to the right advice on its load."""

    athlete: str
    at_home: bool
    equipment: str
    option: str
    steps: tuple[StepTruth, ...]
    scores: tuple[ScoreTruth, ...]
    load_advice: dict[str, str]
    habits: dict[str, Any]


@dataclass(frozen=True)
class Truth:
    """One simulated class."""

    seed: int
    difficulty: str
    family: str
    grouping: str
    people: int
    has_machine_file: bool
    first_block_s: float
    block_start_s: dict[str, float]
    files: tuple[FileTruth, ...]
    athletes: tuple[AthleteTruth, ...]
    first_scored_block: str | None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class OwnMachine:
    """A machine as one of its users experienced it: their pulls and the running on after them."""

    count: NDArray[np.float64]
    metres: NDArray[np.float64]
    machine: Machine


def own_machine(machine: Machine, athlete: str) -> OwnMachine:
    """Take everything out that others' pulls put on the count of a shared machine."""
    mine = np.ones(machine.ticks, dtype=bool)
    if any(pull.athlete != athlete for pull in machine.pulls):
        edges = [pull.start for pull in machine.pulls] + [machine.ticks]
        mine[: edges[0]] = False
        for pull, start, end in zip(machine.pulls, edges, edges[1:], strict=False):
            mine[start:end] = pull.athlete == athlete
    count = np.concatenate(([0.0], np.cumsum(machine.rate() * mine) * STEP_S))
    metres = np.concatenate(([0.0], np.cumsum(machine.speed_m_s * mine) * STEP_S))
    return OwnMachine(count, metres, machine)


def grown(values: NDArray[np.float64], slot: Slot) -> float:
    """By how much a running count grew between a step's bells."""
    return float(values[slot.end] - values[slot.start])


def step_truth(track: Track, slot: Slot, own: OwnMachine | None) -> StepTruth:
    """Work out one step from what the athlete and the machine did."""
    key = (slot.block, slot.round, slot.step)
    bouts = [bout for bout in track.doing.bouts if bout.slot == slot]
    pulls = track.doing.pulls.get(key, [])
    demand = track.demand
    excess = demand.cost - demand.waiting
    window = float(demand.cost[slot.start : slot.end].sum())
    credited = window
    for bout in track.doing.bouts:
        if bout.slot == slot and bout.end > slot.end:
            credited += float(excess[max(slot.end, bout.start) : bout.end].sum())
        elif bout.slot != slot and bout.start < slot.end and bout.end > slot.start:
            credited -= float(excess[max(bout.start, slot.start) : min(bout.end, slot.end)].sum())
    per_tick = STEP_S / 60
    active = [(p.start, min(p.end, slot.end)) for p in pulls if p.start < slot.end]
    active_ticks = sum(end - start for start, end in active)
    power = None
    if own is not None and active_ticks:
        power = sum(float(own.machine.power_w[a:b].sum()) for a, b in active) / active_ticks
    return StepTruth(
        block=slot.block,
        round=slot.round,
        step=slot.step,
        kind=slot.kind,
        planned_s=(slot.end - slot.start) * STEP_S,
        attempted=bool(bouts) if slot.kind == "work" else None,
        effort_start_s=(bouts[0].start - slot.start) * STEP_S if bouts else None,
        effort_end_s=(bouts[-1].end - slot.start) * STEP_S if bouts else None,
        machine_start_s=(pulls[0].start - slot.start) * STEP_S if pulls else None,
        machine_end_s=(pulls[-1].end - slot.start) * STEP_S if pulls else None,
        machine_active_s=None if own is None else active_ticks * STEP_S,
        machine_calories=None if own is None else grown(own.count, slot),
        machine_metres=None if own is None else grown(own.metres, slot),
        mean_power_w=power,
        energy_kcal=credited * per_tick,
        energy_in_window_kcal=window * per_tick,
    )  # fmt: skip


def covered_starts(
    performance: Performance, track: Track, first_s: float, last_s: float
) -> dict[str, float]:
    """The first bells, on the performance's clock, of the timed blocks that a span overlaps."""
    starts = {}
    for block in performance.session.timed:
        begin = track.block_start[block.name] * STEP_S
        if begin < last_s and begin + block.seconds > first_s:
            starts[block.name] = begin
    return starts


def held_whole(
    performance: Performance, track: Track, first_s: float, last_s: float, *, machine: bool
) -> tuple[str, ...]:
    """The timed blocks of which a span misses nothing: no pull, or with a watch no second."""
    blocks = []
    for block in performance.session.timed:
        begin = track.block_start[block.name] * STEP_S
        end = begin + block.seconds
        if machine:
            mine = [slot for slot in track.slots if slot.block == block.name]
            if not any(job.on_machine for slot in mine for job in slot.jobs):
                continue
            pulls = [
                pull
                for key, pulled in track.doing.pulls.items()
                if key[0] == block.name
                for pull in pulled
            ]
            begin = min((pull.start * STEP_S for pull in pulls), default=begin) + 1.2
            end = max((pull.end * STEP_S for pull in pulls), default=end)
        if first_s <= begin and end <= last_s:
            blocks.append(block.name)
    return tuple(blocks)


def load_advice(block: Block, steps: tuple[StepTruth, ...], option: str) -> str | None:
    """The right advice on the load of a block whose machine task has an intended length."""
    intended = None
    for step in block.steps:
        for job in step.jobs:
            chosen = job.instead.get(option, job)
            if chosen.on_machine and chosen.intended is not None:
                intended = chosen.intended
    if intended is None:
        return None
    rounds = []
    for number in range(1, block.rounds + 1):
        mine = [s for s in steps if s.block == block.name and s.round == number and s.attempted]
        if mine:
            rounds.append(sum(s.machine_active_s or 0.0 for s in mine))
    if not rounds:
        return None
    mean = sum(rounds) / len(rounds)
    if mean < intended[0]:
        return "load_too_heavy"
    return "load_too_light" if mean > intended[1] else "load_right"
