"""A plan as strips to look at: one height, work plain, rest hatched, a thick line at each bell."""

from __future__ import annotations

from dataclasses import dataclass

from api.plans.service import class_length_s, task_words
from reconcile.durations import format_duration
from reconcile.plan import FreeBlock, Plan, TimedBlock
from reconcile.timeline import PlannedStep, unfold_block


@dataclass(frozen=True)
class DrawnStep:
    """A step: where it lies on the strip (seconds), and its words."""

    kind: str
    start: float
    seconds: float
    since: str
    until: str
    words: str


@dataclass(frozen=True)
class DrawnBlock:
    """A block's strip."""

    name: str
    length: str
    seconds: float
    steps: tuple[DrawnStep, ...]
    bells: tuple[float, ...]
    description: str


@dataclass(frozen=True)
class DrawnPlan:
    """A plan's strips."""

    length: str
    options: tuple[str, ...]
    blocks: tuple[DrawnBlock, ...]


def drawn_plan(plan: Plan) -> DrawnPlan:
    """Lay out every block."""
    least, most = class_length_s(plan)
    length = format_duration(least)
    if most > least:
        length = f"{length} to {format_duration(most)}"
    return DrawnPlan(length, plan.options, tuple(drawn_block(block) for block in plan.blocks))


def drawn_block(block: TimedBlock | FreeBlock) -> DrawnBlock:
    """Lay out one block."""
    if isinstance(block, FreeBlock):
        length = f"{format_duration(block.low_s)} to {format_duration(block.high_s)}"
        return DrawnBlock(block.name, length, 0.0, (), (), "off the clock")
    rounds = f"{block.rounds} rounds" if block.rounds > 1 else "one round"
    one = ", ".join(f"{format_duration(s.duration_s)} {s.kind}" for s in block.steps)
    return DrawnBlock(
        name=block.name,
        length=format_duration(block.duration_s),
        seconds=block.duration_s,
        steps=tuple(drawn_step(step) for step in unfold_block(block)),
        bells=tuple(number * block.round_s for number in range(block.rounds + 1)),
        description=f"{rounds} of {one}",
    )


def drawn_step(step: PlannedStep) -> DrawnStep:
    """Lay out one step."""
    words = "; ".join(task_words(task) for task in step.tasks) if step.tasks else step.kind
    return DrawnStep(
        kind=step.kind,
        start=step.start_s,
        seconds=step.duration_s,
        since=clock(step.start_s),
        until=clock(step.end_s),
        words=words,
    )


def clock(seconds: float) -> str:
    """Minutes and seconds."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
