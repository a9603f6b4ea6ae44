"""Sessions of many families, drawn at random, and how a coach writes them down."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from numpy.random import Generator

from tests.bench.simulator.movements import (
    COUNTED,
    LOOSENERS,
    MACHINE_KINDS,
    MOVEMENTS,
    OPENERS,
)


@dataclass(frozen=True)
class Job:
    """One task of a work step; `load` is (men, women) in `load_unit`."""

    movement: str
    measure: str | None = None
    amount: float | None = None
    most: bool = False
    load: tuple[float, float] | None = None
    load_unit: Literal["kg", "lb"] = "kg"
    height: tuple[float, float] | None = None
    height_unit: Literal["cm", "in"] = "cm"
    effort: str | None = None
    intended: tuple[int, int] | None = None
    instead: Mapping[str, Job] = field(default_factory=dict)

    @property
    def on_machine(self) -> bool:
        return self.movement == "machine" or self.movement in MACHINE_KINDS


@dataclass(frozen=True)
class Stretch:
    """A step of a timed block."""

    kind: Literal["work", "rest"]
    seconds: int
    jobs: tuple[Job, ...] = ()


@dataclass(frozen=True)
class Block:
    """A timed block, or a free one where `free` gives its usual range in seconds."""

    name: str
    rounds: int = 1
    steps: tuple[Stretch, ...] = ()
    free: tuple[int, int] | None = None
    measure: str | None = None
    take: str | None = None
    rotate: bool = False

    @property
    def seconds(self) -> int:
        return self.rounds * sum(step.seconds for step in self.steps)


@dataclass(frozen=True)
class Session:
    """A whole plan and the family that it was drawn from."""

    title: str
    family: str
    blocks: tuple[Block, ...]
    options: tuple[str, ...] = ()

    @property
    def timed(self) -> tuple[Block, ...]:
        return tuple(block for block in self.blocks if block.free is None)


def one_of(rng: Generator, values: Sequence[int]) -> int:
    return int(values[int(rng.integers(len(values)))])


def name_of(rng: Generator, values: Sequence[str]) -> str:
    return values[int(rng.integers(len(values)))]


def fixed_job(rng: Generator, name: str, seconds: float) -> Job:
    """A fixed amount of a movement that takes an average person about so many seconds."""
    movement = MOVEMENTS[name]
    amount = max(3.0, seconds / (movement.seconds * 1.15))
    if movement.unit == "metres":
        amount = max(10.0, 10.0 * round(amount / 10))
    load = None
    load_unit: Literal["kg", "lb"] = "kg"
    if movement.loads_kg:
        men = float(one_of(rng, movement.loads_kg))
        women = 2.0 * round(men / 3)
        if rng.random() < 0.15:
            load_unit, men, women = "lb", 5.0 * round(men / 2.268), 5.0 * round(women / 2.268)
        load = (men, women)
    height = None
    height_unit: Literal["cm", "in"] = "cm"
    if movement.height_cm:
        tall = rng.random() < 0.2
        height = (50.0, 40.0) if tall else (40.0, 40.0)
        if rng.random() < 0.2:
            height_unit, height = "in", ((20.0, 16.0) if tall else (16.0, 16.0))
    return Job(
        name, movement.unit, float(round(amount)), load=load, load_unit=load_unit, height=height,
        height_unit=height_unit,
    )  # fmt: skip


def opening(rng: Generator, seconds: float, count: int) -> tuple[Job, ...]:
    """Some fixed tasks that together take about so many seconds."""
    names = [str(name) for name in rng.choice(OPENERS, size=count, replace=False)]
    return tuple(fixed_job(rng, name, seconds / count) for name in names)


def opening_seconds(jobs: Sequence[Job]) -> float:
    """What fixed tasks take an average person, changing over included."""
    return sum(7.0 + 1.15 * MOVEMENTS[j.movement].seconds * (j.amount or 0.0) for j in jobs)


def machine_job(
    rng: Generator, measure: str = "calories", intended: tuple[int, int] | None = None
) -> Job:
    """As much as possible on the machine, with a way to do it without one."""
    movement = "machine" if rng.random() < 0.8 else name_of(rng, MACHINE_KINDS)
    home = Job(name_of(rng, ("rope jump", "burpee", "air squat")), "reps", most=True)
    return Job(movement, measure, most=True, intended=intended, instead={"home": home})


def intended_range(rng: Generator, left: float) -> tuple[int, int]:
    """How long the coach means the machine to last: near what is left, not always right."""
    centre = max(22.0, left + rng.uniform(-14, 14))
    half = rng.uniform(8, 16)
    return max(10, 5 * round((centre - half) / 5)), 5 * round((centre + half) / 5)


def opener_then_machine(rng: Generator) -> Block:
    work = one_of(rng, (120, 135, 150, 165, 180, 200))
    jobs = opening(rng, work * rng.uniform(0.4, 0.62), int(rng.integers(1, 3)))
    left = work - opening_seconds(jobs)
    measure = "calories" if rng.random() < 0.8 else "metres"
    machine = machine_job(rng, measure, intended_range(rng, left))
    steps = (Stretch("work", work, (*jobs, machine)), Stretch("rest", one_of(rng, (60, 90, 120))))
    take = name_of(rng, ("total", "total", "total", "mean", "lowest"))
    return Block("main", int(rng.integers(4, 7)), steps, measure=measure, take=take)


def work_equals_rest(rng: Generator) -> Block:
    work = one_of(rng, (45, 60, 75, 90, 120))
    jobs: tuple[Job, ...] = ()
    intended = None
    if work >= 75 and rng.random() < 0.6:
        jobs = opening(rng, work * 0.4, 1)
        intended = intended_range(rng, work - opening_seconds(jobs))
    machine = machine_job(rng, "calories", intended)
    steps = (Stretch("work", work, (*jobs, machine)), Stretch("rest", work))
    return Block("main", int(rng.integers(5, 9)), steps, measure="calories", take="total")


def whole_machine(rng: Generator) -> Block:
    measure = name_of(rng, ("calories", "calories", "metres"))
    steps = (
        Stretch("work", one_of(rng, (60, 90, 120, 180, 240)), (machine_job(rng, measure),)),
        Stretch("rest", one_of(rng, (45, 60, 90, 120, 150))),
    )
    take = name_of(rng, ("total", "total", "mean", "lowest", "highest"))
    return Block("main", int(rng.integers(4, 8)), steps, measure=measure, take=take)


def no_machine(rng: Generator) -> Block:
    work = one_of(rng, (60, 75, 90, 120))
    most = Job(name_of(rng, COUNTED), "reps", most=True)
    jobs = opening(rng, work * 0.5, 1) if rng.random() < 0.7 else ()
    steps = (Stretch("work", work, (*jobs, most)), Stretch("rest", one_of(rng, (30, 45, 60))))
    take = name_of(rng, ("total", "total", "lowest"))
    return Block("main", int(rng.integers(5, 9)), steps, measure="reps", take=take)


def pyramid(rng: Generator) -> Block:
    unit = one_of(rng, (20, 30))
    rest = one_of(rng, (30, 45, 60))
    steps: list[Stretch] = []
    machine = machine_job(rng)
    for height in (1, 2, 3, 4, 3, 2, 1):
        steps += [Stretch("work", unit * height, (machine,)), Stretch("rest", rest)]
    return Block("main", 1, tuple(steps), measure="calories", take="total")


def long_rounds(rng: Generator) -> Block:
    work = one_of(rng, (240, 270, 300, 360))
    jobs = opening(rng, work * rng.uniform(0.5, 0.65), int(rng.integers(2, 4)))
    machine = machine_job(rng, "calories", intended_range(rng, work - opening_seconds(jobs)))
    steps = (Stretch("work", work, (*jobs, machine)), Stretch("rest", one_of(rng, (120, 150, 180))))
    take = name_of(rng, ("lowest", "highest"))
    return Block("main", int(rng.integers(3, 5)), steps, measure="calories", take=take)


def distance_for_time(rng: Generator) -> Block:
    kind = name_of(rng, ("rower", "ski", "bike"))
    metres = one_of(rng, (200, 250, 300, 400, 500)) * (2 if kind == "bike" else 1)
    jobs = opening(rng, 35, 1) if rng.random() < 0.5 else ()
    typical = metres / (8.2 if kind == "bike" else 3.9) + opening_seconds(jobs)
    work = 15 * round(typical * rng.uniform(1.25, 1.6) / 15)
    home = Job("shuttle run", "metres", 200.0)
    race = Job(kind, "metres", float(metres), instead={"home": home})
    steps = (Stretch("work", work, (*jobs, race)), Stretch("rest", one_of(rng, (60, 90, 120))))
    take = name_of(rng, ("total", "mean", "lowest", "highest"))
    return Block("main", int(rng.integers(4, 7)), steps, measure="seconds", take=take)


def short_rounds(rng: Generator) -> Block:
    work, rest = ((30, 15), (40, 20), (30, 30), (45, 15), (45, 45), (60, 60))[int(rng.integers(6))]
    steps: tuple[Stretch, ...]
    if rng.random() < 0.5:
        steps = (Stretch("work", work, (machine_job(rng),)), Stretch("rest", rest))
        rounds = int(rng.integers(8, 13))
    else:
        other = replace(fixed_job(rng, name_of(rng, OPENERS), 20), measure=None, amount=None)
        steps = (
            Stretch("work", work, (machine_job(rng),)), Stretch("rest", rest),
            Stretch("work", work, (other,)), Stretch("rest", rest),
        )  # fmt: skip
        rounds = int(rng.integers(4, 8))
    return Block("main", rounds, steps, measure="calories", take="total")


def fixed_calories_first(rng: Generator) -> Block:
    work = one_of(rng, (150, 180, 210, 240))
    amount = float(one_of(rng, (6, 8, 10, 12)))
    home = Job("shuttle run", "metres", 100.0)
    first = Job("machine", "calories", amount, instead={"home": home})
    middle = opening(rng, work * 0.3, 1)
    home_reps = Job("rope jump", "reps", most=True)
    last = Job("machine", "calories", most=True, instead={"home": home_reps})
    steps = (
        Stretch("work", work, (first, *middle, last)),
        Stretch("rest", one_of(rng, (90, 120))),
    )
    return Block("main", int(rng.integers(3, 6)), steps, measure="calories", take="total")


def two_works(rng: Generator) -> Block:
    work = one_of(rng, (60, 90, 120))
    other = one_of(rng, (45, 60, 75))
    rest = one_of(rng, (30, 45, 60))
    jobs = opening(rng, other * rng.uniform(0.5, 0.9), int(rng.integers(1, 3)))
    between = (Stretch("rest", rest),) if rng.random() < 0.6 else ()
    steps = (
        Stretch("work", work, (machine_job(rng),)), *between,
        Stretch("work", other, jobs), Stretch("rest", rest),
    )  # fmt: skip
    take = name_of(rng, ("total", "total", "highest"))
    return Block("main", int(rng.integers(4, 7)), steps, measure="calories", take=take)


def stations(rng: Generator) -> Block:
    count = int(rng.integers(3, 6))
    work = one_of(rng, (45, 60, 75, 90))
    rest = one_of(rng, (20, 30, 45))
    names = [str(name) for name in rng.choice(OPENERS, size=count - 1, replace=False)]
    tasks = [(machine_job(rng),)] + [
        (replace(fixed_job(rng, name, 30), measure=None, amount=None),) for name in names
    ]
    steps: list[Stretch] = []
    for jobs in tasks:
        steps += [Stretch("work", work, jobs), Stretch("rest", rest)]
    return Block(
        "main", int(rng.integers(3, 5)), tuple(steps), measure="calories", take="total", rotate=True
    )


FAMILIES: dict[str, Callable[[Generator], Block]] = {
    "opener then machine": opener_then_machine,
    "work equals rest": work_equals_rest,
    "whole machine": whole_machine,
    "no machine": no_machine,
    "pyramid": pyramid,
    "long rounds": long_rounds,
    "distance for time": distance_for_time,
    "short rounds": short_rounds,
    "fixed calories first": fixed_calories_first,
    "two works": two_works,
    "stations": stations,
}
ALL_FAMILIES = (*FAMILIES, "two scored blocks", "an hour")
# Work that fits into other people's rest, so that two can share a machine in waves.
SHARABLE = ("work equals rest",)

FREE_RANGES = ((120, 240), (180, 300), (240, 420), (120, 360), (300, 540))


def free_block(rng: Generator, name: str) -> Block:
    return Block(name, free=FREE_RANGES[int(rng.integers(len(FREE_RANGES)))])


def warm_up(rng: Generator) -> Block:
    work, rest = ((30, 15), (40, 20), (45, 15), (60, 30))[int(rng.integers(4))]
    steps: list[Stretch] = []
    if rng.random() < 0.65:
        easy = Job("machine", effort="easy", instead={"home": Job("rope jump", effort="easy")})
        steps += [Stretch("work", work, (easy,)), Stretch("rest", rest)]
    for name in rng.choice(LOOSENERS, size=int(rng.integers(1, 3)), replace=False):
        steps += [Stretch("work", work, (Job(str(name), effort="easy"),)), Stretch("rest", rest)]
    return Block("warm-up", int(rng.integers(2, 4)), tuple(steps))


FIRST_WORDS = ("Harbour", "Copper", "Orchard", "Lantern", "Viaduct", "Meadow", "Slate", "Juniper")
LAST_WORDS = ("ladder", "relay", "evening", "circuit", "tides", "mornings", "turns", "hour")


def draw_session(rng: Generator, family: str | None = None) -> Session:
    """Draw a whole session; `family` is one of `ALL_FAMILIES`, drawn where left out."""
    family = family or name_of(rng, ALL_FAMILIES)
    blocks: list[Block] = []
    if family == "an hour" and rng.random() < 0.4:
        blocks.append(free_block(rng, "arrival"))
    if family == "an hour" or rng.random() < 0.7:
        blocks += [warm_up(rng), free_block(rng, "set-up")]
    if family == "two scored blocks":
        first = FAMILIES[name_of(rng, ("opener then machine", "work equals rest"))](rng)
        second = FAMILIES[name_of(rng, ("whole machine", "short rounds", "no machine"))](rng)
        blocks += [
            replace(first, name="first piece", rounds=min(first.rounds, 4)),
            free_block(rng, "break"),
            replace(second, name="second piece", rounds=min(second.rounds, 5)),
        ]
    elif family == "an hour":
        strength = replace(no_machine(rng), name="strength", measure=None, take=None)
        strength = replace(strength, rounds=min(strength.rounds, 5))
        last = short_rounds(rng)
        blocks += [
            strength,
            free_block(rng, "change-over"),
            replace(opener_then_machine(rng), rounds=4),
            free_block(rng, "break"),
            replace(last, name="finish", rounds=min(last.rounds, 8), measure=None, take=None),
        ]
    else:
        blocks.append(FAMILIES[family](rng))
    if rng.random() < 0.3:
        blocks.append(free_block(rng, "cool-down"))
    title = f"{name_of(rng, FIRST_WORDS)} {name_of(rng, LAST_WORDS)}"
    return Session(title, family, tuple(blocks), ("prescribed", "lighter", "home"))


def duration_text(seconds: int) -> str:
    """Seconds in the contract's spelling: 45s, 2m, 2m30s, 1h5m."""
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    text = (f"{hours}h" if hours else "") + (f"{minutes}m" if minutes else "")
    return text + (f"{rest}s" if rest or not text else "")


def pair_text(pair: tuple[float, float]) -> str:
    return f"{pair[0]:g}" if pair[0] == pair[1] else f"{{men: {pair[0]:g}, women: {pair[1]:g}}}"


def job_text(job: Job) -> str:
    """A task as a YAML flow mapping."""
    parts = [f"movement: {job.movement}"]
    if job.most:
        parts.append(f"most: {job.measure}")
    elif job.amount is not None:
        parts.append(f"{job.measure}: {job.amount:g}")
    if job.load is not None:
        parts.append(f"load_{job.load_unit}: {pair_text(job.load)}")
    if job.height is not None:
        parts.append(f"height_{job.height_unit}: {pair_text(job.height)}")
    if job.effort is not None:
        parts.append(f"effort: {job.effort}")
    if job.intended is not None:
        parts.append("intended: " + "..".join(duration_text(s) for s in job.intended))
    if job.instead:
        inner = ", ".join(f"{option}: {job_text(other)}" for option, other in job.instead.items())
        parts.append(f"instead: {{{inner}}}")
    return "{" + ", ".join(parts) + "}"


def session_text(session: Session) -> str:
    """The session as `plan.yaml`."""
    lines = [f"title: {session.title}", f"options: [{', '.join(session.options)}]", "blocks:"]
    for block in session.blocks:
        lines.append(f"  - name: {block.name}")
        if block.free is not None:
            lines.append(f"    free: {'..'.join(duration_text(s) for s in block.free)}")
            continue
        if block.rounds != 1:
            lines.append(f"    rounds: {block.rounds}")
        if block.rotate:
            lines.append("    rotate: true")
        lines.append("    steps:")
        for step in block.steps:
            if step.kind == "rest":
                lines.append(f"      - rest: {duration_text(step.seconds)}")
            else:
                lines.append(f"      - work: {duration_text(step.seconds)}")
                lines.append("        tasks:")
                lines += [f"          - {job_text(job)}" for job in step.jobs]
        if block.measure is not None:
            lines.append(f"    score: {{measure: {block.measure}, take: {block.take}}}")
    return "\n".join(lines) + "\n"
