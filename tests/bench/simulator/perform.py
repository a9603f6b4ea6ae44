"""One performance of a session: some athletes on one clock, their machines and their hearts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.simulator.bodies import Body
from tests.bench.simulator.heart import heart_rate
from tests.bench.simulator.machine import STEP_S, TICKS_A_SECOND, Machine, draw_machine
from tests.bench.simulator.plans import Session
from tests.bench.simulator.work import (
    Demand,
    Doing,
    Slot,
    demand,
    do_rest,
    do_work,
    slots_of,
    ticks,
)

# The clock of a performance begins so long before its first timed block.
LEAD_S = 900
TAIL_S = 600


@dataclass(frozen=True)
class Member:
    """Who takes part and how. `machine_id` names the machine; members may share one."""

    name: str
    body: Body
    option: str
    machine_kind: str | None
    machine_id: int | None = None
    delay_s: int = 0
    station: int | None = None
    loads_kg: tuple[tuple[str, float], ...] = ()
    skipped: frozenset[tuple[str, int]] = frozenset()


@dataclass
class Track:
    """What one member did. Arrays are a tick each, `heart_rate` a second each.

    `block_start` maps a timed block to its first bell for this member, in ticks.
    """

    member: Member
    doing: Doing
    slots: list[Slot]
    block_start: dict[str, int]
    demand: Demand
    heart_rate: NDArray[np.float64]


@dataclass
class Performance:
    """Everything that happened, on one clock. `origin` is the UTC time of tick 0."""

    session: Session
    origin: datetime
    length: int
    block_start: dict[str, int]
    tracks: dict[str, Track]
    machines: dict[int, Machine]


def draw_block_starts(rng: Generator, session: Session) -> tuple[dict[str, int], int]:
    """The class's first bells in ticks, and by how much the first block precedes tick LEAD_S.

    A free block lasts anywhere in its range, one time in five up to 20 % beyond either end.
    """
    starts: dict[str, int] = {}
    clock = 0.0
    first_timed = None
    for block in session.blocks:
        if block.free is None:
            first_timed = clock if first_timed is None else first_timed
            starts[block.name] = ticks(LEAD_S + clock - first_timed)
            clock += block.seconds
            continue
        low, high = block.free
        if rng.random() < 0.2:
            beyond = rng.uniform(0, 0.2)
            length = low * (1 - beyond) if rng.random() < 0.4 else high * (1 + beyond)
        else:
            length = rng.uniform(low, high)
        clock += round(length, 1)
    return starts, ticks(first_timed or 0.0)


def perform(
    rng: Generator, session: Session, members: list[Member], first_block_at: datetime
) -> Performance:
    """Let the members do the session; `first_block_at` is when its first block really began."""
    starts, before = draw_block_starts(rng, session)
    last_block = session.timed[-1]
    latest = max(member.delay_s for member in members)
    length = starts[last_block.name] + ticks(last_block.seconds + latest + TAIL_S)
    length += -length % TICKS_A_SECOND
    origin = first_block_at + timedelta(seconds=before * STEP_S - LEAD_S)
    machines: dict[int, Machine] = {}
    tracks: dict[str, Track] = {}
    queue: list[tuple[int, int, Slot, Doing]] = []
    for number, member in enumerate(members):
        machine = None
        if member.machine_kind is not None:
            key = -1 - number if member.machine_id is None else member.machine_id
            if key not in machines:
                machines[key] = draw_machine(rng, member.machine_kind, length)
            machine = machines[key]
        doing = Doing(
            member.name, member.body, member.option, machine, member.machine_id is not None,
            dict(member.loads_kg), member.skipped, rng.spawn(1)[0], reserve_j=member.body.reserve_j,
        )  # fmt: skip
        mine = {name: start + ticks(member.delay_s) for name, start in starts.items()}
        slots: list[Slot] = []
        for block in session.timed:
            slots += slots_of(block, mine[block.name], member.option, member.station)
        queue += [(slot.start, number, slot, doing) for slot in slots]
        nothing = np.empty(0)
        unknown = Demand(nothing, nothing, nothing.astype(bool), nothing)
        tracks[member.name] = Track(member, doing, slots, mine, unknown, nothing)
    for _, _, slot, doing in sorted(queue, key=lambda item: item[:2]):
        (do_work if slot.kind == "work" else do_rest)(doing, slot)
    for machine in machines.values():
        machine.run_to(length)
    for track in tracks.values():
        doing = track.doing
        track.demand = demand(doing, track.slots, length)
        seconds = track.demand.cost.reshape(-1, TICKS_A_SECOND).mean(axis=1)
        strong = track.demand.strength[::TICKS_A_SECOND]
        track.heart_rate = heart_rate(doing.rng, doing.body, seconds, strong)
    return Performance(session, origin, length, starts, tracks, machines)
