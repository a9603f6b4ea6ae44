"""Who takes part in a class, with what option, load, machine, wave or station."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from numpy.random import Generator

from tests.bench.simulator.bodies import Body
from tests.bench.simulator.movements import LOOSENERS
from tests.bench.simulator.perform import Member
from tests.bench.simulator.plans import Block, Job, Session, Stretch

KG_PER_LB = 0.45359237

TOLERANCE_S = 600.0


def machine_word(session: Session) -> str | None:
    """The machine that the plan names, "machine" where athletes choose, None without one."""
    word = None
    for block in session.timed:
        for step in block.steps:
            for job in step.jobs:
                if job.on_machine:
                    if job.movement != "machine":
                        return job.movement
                    word = "machine"
    return word


def without_machine(block: Block, rng: Generator) -> Block:
    """The block with loosening up in place of the machine."""
    steps = []
    for step in block.steps:
        jobs = tuple(
            Job(str(rng.choice(LOOSENERS)), effort="easy") if job.on_machine else job
            for job in step.jobs
        )
        steps.append(Stretch(step.kind, step.seconds, jobs))
    return replace(block, steps=tuple(steps))


def prescribed_kg(job: Job, sex: str) -> float:
    assert job.load is not None
    value = job.load[0] if sex == "m" else job.load[1]
    return value * (KG_PER_LB if job.load_unit == "lb" else 1.0)


def draw_loads(rng: Generator, session: Session, body: Body, option: str) -> dict[str, float]:
    """The load that this athlete takes for each loaded movement of each block."""
    loads = {}
    for block in session.timed:
        for step in block.steps:
            for job in step.jobs:
                if job.load is None:
                    continue
                factor = rng.uniform(0.6, 0.85) if option == "lighter" else 1.0
                if rng.random() < 0.15:
                    factor *= rng.uniform(0.7, 1.15)
                kg = prescribed_kg(job, body.sex) * factor
                if factor != 1.0:
                    kg = max(4.0, 2.0 * round(kg / 2))
                loads[f"{block.name}/{job.movement}"] = round(kg, 1)
    return loads


def first_load(block: Block, loads: dict[str, float]) -> float | None:
    for step in block.steps:
        for job in step.jobs:
            if job.load is not None:
                return loads.get(f"{block.name}/{job.movement}")
    return None


def draw_skips(rng: Generator, session: Session) -> frozenset[tuple[str, int]]:
    """About six in a hundred leave one round of the main work out."""
    skipped = set()
    for block in session.timed:
        if block.measure is not None and block.rounds >= 3 and rng.random() < 0.06:
            skipped.add((block.name, int(rng.integers(1, block.rounds + 1))))
    return frozenset(skipped)


def draw_members(
    rng: Generator, session: Session, grouping: str, bodies: dict[str, Body]
) -> list[Member]:
    """Give everybody an option, a machine, a wave or a station."""
    word = machine_word(session)
    names = list(bodies)
    stations = 0
    if session.family == "stations":
        stations = sum(step.kind == "work" for step in session.timed[-1].steps)
    sharing = grouping in ("stations", "waves, shared")
    work_s = session.timed[-1].steps[0].seconds
    later_s = work_s if grouping == "waves, shared" else 30 * int(rng.integers(2, 16))
    kinds: dict[int, str] = {}
    members = []
    for index, name in enumerate(names):
        body = bodies[name]
        option = str(rng.choice(("prescribed", "lighter", "home"), p=(0.62, 0.33, 0.05)))
        machine_id = None
        delay_s = 0
        if grouping == "stations":
            machine_id = index // stations
        elif grouping == "waves, shared":
            machine_id = index // 2
            delay_s = later_s * (index % 2)
        elif grouping == "waves":
            delay_s = later_s * (index % 2)
        kind: str | None = None
        if word is not None:
            chosen = str(rng.choice(("rower", "ski", "bike"), p=(0.5, 0.25, 0.25)))
            kind = chosen if word == "machine" else word
            if machine_id is not None:
                kind = kinds.setdefault(machine_id, kind)
        if option == "home":
            kind = None
        members.append(
            Member(
                name, body, option, kind, machine_id if sharing and kind else None, delay_s,
                index % stations + 1 if stations else None,
                tuple(draw_loads(rng, session, body, option).items()),
                draw_skips(rng, session),
            )
        )  # fmt: skip
    return members


def draw_first_block(rng: Generator, stated: datetime) -> datetime:
    """When the first block really began: the statement's error is about N(30, 110) s."""
    while True:
        error = rng.normal(30, 110)
        if abs(error) <= TOLERANCE_S:
            return stated + timedelta(seconds=round(error, 1))


def draw_grouping(rng: Generator, session: Session) -> str:
    if session.family == "stations":
        return "stations"
    if session.family == "work equals rest" and rng.random() < 0.35:
        return "waves, shared"
    return "waves" if rng.random() < 0.1 else "together"


def draw_people(rng: Generator) -> int:
    draw = rng.random()
    if draw < 0.1:
        return 30
    if draw < 0.22:
        return int(rng.integers(1, 7))
    return int(rng.integers(10, 15))
