"""A plan to look at: strips of one height, and what each option does, side by side.

Positions across a strip are in per cent, so that lines keep their weight at any width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.language import Language
from api.pages.plan_words import (
    amount_words,
    block_words,
    one_quantity,
    plan_words,
    sides,
    task_words,
)
from api.timeline.sentences import clock_reading
from reconcile.plan import FreeBlock, Plan, Step, Task, TimedBlock
from reconcile.timeline import unfold_block

# Readings under a strip stand at least so far apart, in per cent of a phone's width.
READINGS_APART = 14.0


@dataclass(frozen=True)
class Cell:
    """A step on a strip."""

    kind: str
    x: float
    width: float


@dataclass(frozen=True)
class Bell:
    """A bell on a strip; `round` where a round begins or the block ends."""

    x: float
    round: bool


@dataclass(frozen=True)
class Reading:
    """A clock's reading under a strip."""

    x: float
    text: str


@dataclass(frozen=True)
class DrawnTask:
    """A task in words, and in their place what options do, by the option's name."""

    words: str
    instead: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class DrawnStep:
    """A step of every round: its tasks, and the block's clock at each of its bells."""

    number: int
    kind: str
    seconds: float
    tasks: tuple[DrawnTask, ...]
    bells: tuple[str, ...]


@dataclass(frozen=True)
class DrawnBlock:
    """A block; `steps` and what is drawn are empty for one off the clock.

    begins_s: seconds from the class's start to the block's, from least to most.
    """

    name: str
    words: str
    free: bool
    low_s: float
    high_s: float
    begins_s: tuple[float, float]
    rounds: int
    rotate: bool
    steps: tuple[DrawnStep, ...]
    cells: tuple[Cell, ...]
    bells: tuple[Bell, ...]
    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class Stretch:
    """A block on the strip of the whole class."""

    number: int
    name: str
    free: bool
    x: float
    width: float


@dataclass(frozen=True)
class ChoiceRow:
    """One task as a row: what it is, its loads, and what each option does ("" for the same)."""

    block: str
    movement: str
    amount: str
    men: str
    women: str
    options: tuple[str, ...]


@dataclass(frozen=True)
class DrawnPlan:
    """A plan's strips and its table of options and loads."""

    title: str
    length: str
    low_s: float
    high_s: float
    options: tuple[str, ...]
    whole: tuple[Stretch, ...]
    blocks: tuple[DrawnBlock, ...]
    choices: tuple[ChoiceRow, ...]


def drawn_plan(plan: Plan, language: Language) -> DrawnPlan:
    """Lay out every block."""
    blocks: list[DrawnBlock] = []
    low_s = high_s = 0.0
    for block in plan.blocks:
        drawn = drawn_block(block, (low_s, high_s), language)
        blocks.append(drawn)
        low_s, high_s = low_s + drawn.low_s, high_s + drawn.high_s
    return DrawnPlan(
        title=plan.title,
        length=plan_words(language, plan),
        low_s=low_s,
        high_s=high_s,
        options=plan.options,
        whole=whole_strip(blocks),
        blocks=tuple(blocks),
        choices=choice_rows(plan, language),
    )


def whole_strip(blocks: Sequence[DrawnBlock]) -> tuple[Stretch, ...]:
    """The class as one strip; a block off the clock is as long as it may be."""
    total = sum(block.high_s for block in blocks)
    stretches = []
    x = 0.0
    for number, block in enumerate(blocks, start=1):
        width = per_cent(block.high_s, total)
        stretches.append(Stretch(number, block.name, block.free, round(x, 3), width))
        x += width
    return tuple(stretches)


def drawn_block(
    block: TimedBlock | FreeBlock, begins_s: tuple[float, float], language: Language
) -> DrawnBlock:
    """Lay out one block."""
    words = block_words(language, block)
    if isinstance(block, FreeBlock):
        return DrawnBlock(
            block.name, words, True, block.low_s, block.high_s, begins_s, 1, False, (), (), (), ()
        )
    total = block.duration_s
    steps = unfold_block(block)
    cells = tuple(
        Cell(step.kind, per_cent(step.start_s, total), per_cent(step.duration_s, total))
        for step in steps
    )
    bells = tuple(Bell(per_cent(step.start_s, total), step.step == 1) for step in steps)
    return DrawnBlock(
        name=block.name,
        words=words,
        free=False,
        low_s=total,
        high_s=total,
        begins_s=begins_s,
        rounds=block.rounds,
        rotate=block.rotate,
        steps=drawn_steps(block, language),
        cells=cells,
        bells=(*bells, Bell(100.0, True)),
        readings=round_readings(block),
    )


def per_cent(part: float, total: float) -> float:
    """A share of a width."""
    return round(100.0 * part / total, 3)


def round_readings(block: TimedBlock) -> tuple[Reading, ...]:
    """The clock at the start of each round that has room, and at the end."""
    readings: list[Reading] = []
    for number in range(block.rounds):
        x = per_cent(number * block.round_s, block.duration_s)
        last = readings[-1].x if readings else -READINGS_APART
        if x - last >= READINGS_APART and (x == 0 or 100.0 - x >= READINGS_APART):
            readings.append(Reading(x, clock_reading(number * block.round_s)))
    return (*readings, Reading(100.0, clock_reading(block.duration_s)))


def drawn_steps(block: TimedBlock, language: Language) -> tuple[DrawnStep, ...]:
    """Each step once, with the clock's reading at its bell in every round."""
    bells: dict[int, list[str]] = {}
    for step in unfold_block(block):
        bells.setdefault(step.step, []).append(clock_reading(step.start_s))
    return tuple(
        DrawnStep(
            number=number,
            kind=step.kind,
            seconds=step.duration_s,
            tasks=tuple(drawn_task(task, language) for task in step.tasks),
            bells=tuple(bells[number]),
        )
        for number, step in enumerate(block.steps, start=1)
    )


def drawn_task(task: Task, language: Language) -> DrawnTask:
    """A task and what options do in its place."""
    return DrawnTask(
        task_words(language, task),
        tuple((option, task_words(language, other)) for option, other in task.instead.items()),
    )


def choice_rows(plan: Plan, language: Language) -> tuple[ChoiceRow, ...]:
    """Every task of the plan with its loads and options."""
    return tuple(
        choice_row(block.name, task, plan.options, language)
        for block in plan.timed_blocks
        for step in work_steps(block)
        for task in step.tasks
    )


def work_steps(block: TimedBlock) -> tuple[Step, ...]:
    """The steps of a block in which something is done."""
    return tuple(step for step in block.steps if step.kind == "work")


def choice_row(block: str, task: Task, options: tuple[str, ...], language: Language) -> ChoiceRow:
    """One task with its loads and options."""
    men, women = (
        ", ".join(
            one_quantity(language, sides(quantity)[side], quantity.unit)
            for quantity in (task.load, task.height)
            if quantity is not None
        )
        for side in (0, 1)
    )
    return ChoiceRow(
        block=block,
        movement=task.movement,
        amount=amount_words(language, task),
        men=men,
        women=women,
        options=tuple(
            task_words(language, task.instead[option]) if option in task.instead else ""
            for option in options
        ),
    )
