"""One round of one athlete as a strip: what was done on the plan's bands, ticks against the bells.

The bands and bells of a block are the same for everybody, so that a page draws them once
(`plan_bands`) and each strip only what was done (`round_strip`). Across, a strip is 1000 units
wide, whatever its width on the page.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from reconcile.plan import Measure, TimedBlock
from reconcile.result import Interval

WIDTH = 1000
MIDDLE = 12
TICK = 5
# Room beside the first and the last bell, as a share of the round.
MARGIN = 0.04

State = Literal["done", "left out", "not known"]


@dataclass(frozen=True)
class PlanBands:
    """What is planned in a round: rests as (x, width) and bells as x, in units across."""

    rests: tuple[tuple[int, int], ...]
    bells: tuple[int, ...]


@dataclass(frozen=True)
class Edge:
    """A beginning or an end: whole seconds after the bell (before it where negative).

    by_heart: only heart rate tells it, which is less sure than a machine.
    """

    seconds: int
    by_heart: bool


@dataclass(frozen=True)
class RoundStrip:
    """What one athlete did in one round.

    efforts, pulls: path data in a box WIDTH across, the machine's work inside the effort.
    began, ended: the first beginning and the last end, against the bells of their own steps.
    amount: the machine's count over the round's work steps, in the block's measure.
    steps: the work steps that were begun, for the words.
    """

    round: int
    state: State
    efforts: str
    pulls: str
    began: Edge | None
    ended: Edge | None
    amount: float | None
    steps: tuple[Interval, ...]


def across(seconds: float, block: TimedBlock) -> int:
    """Where a second of the round stands, in units across, kept inside the drawing."""
    share = (seconds / block.round_s + MARGIN) / (1 + 2 * MARGIN)
    return min(max(round(share * WIDTH), 0), WIDTH)


def step_starts(block: TimedBlock) -> list[float]:
    """When each step of a round begins, and the round's end."""
    return list(itertools.accumulate((step.duration_s for step in block.steps), initial=0.0))


def plan_bands(block: TimedBlock) -> PlanBands:
    """The plan's own part of every strip of a block."""
    starts = [across(start, block) for start in step_starts(block)]
    edges = itertools.pairwise(starts)
    return PlanBands(
        rests=tuple(
            (start, end - start)
            for step, (start, end) in zip(block.steps, edges, strict=True)
            if step.kind == "rest"
        ),
        bells=tuple(starts),
    )


def round_strips(block: TimedBlock, intervals: Sequence[Interval]) -> tuple[RoundStrip, ...]:
    """A strip for each round of a block."""
    return tuple(
        round_strip(block, number, [step for step in intervals if step.round == number])
        for number in range(1, block.rounds + 1)
    )


def round_strip(block: TimedBlock, number: int, intervals: Sequence[Interval]) -> RoundStrip:
    """One round: what was done, on the round's own clock."""
    starts = step_starts(block)
    work = [step for step in intervals if step.kind == "work"]
    timed = [
        step for step in work if step.effort_start_s is not None and step.effort_end_s is not None
    ]
    efforts, pulls = [], []
    for step in timed:
        offset = starts[step.step - 1]
        left, right = (
            across(offset + (edge or 0.0), block)
            for edge in (step.effort_start_s, step.effort_end_s)
        )
        efforts.append(f"M{left} {MIDDLE}H{right}" + tick(left) + tick(right))
    for step in work:
        if step.machine_start_s is not None and step.machine_end_s is not None:
            offset = starts[step.step - 1]
            left = across(offset + step.machine_start_s, block)
            right = across(offset + step.machine_end_s, block)
            pulls.append(f"M{left} {MIDDLE}H{right}")
    return RoundStrip(
        round=number,
        state=round_state(work),
        efforts="".join(efforts),
        pulls="".join(pulls),
        began=beginning(timed[0]) if timed else None,
        ended=ending(timed[-1]) if timed else None,
        amount=round_amount(work, block.score.measure if block.score else "calories"),
        steps=tuple(step for step in work if step.attempted),
    )


def tick(x: int) -> str:
    """An upright tick at x."""
    return f"M{x} {MIDDLE - TICK}v{2 * TICK}"


def round_state(work: Sequence[Interval]) -> State:
    """Whether a round was begun."""
    if any(step.attempted for step in work):
        return "done"
    return "left out" if work and all(step.attempted is False for step in work) else "not known"


def beginning(step: Interval) -> Edge:
    """When a step's effort began, against its bell."""
    assert step.effort_start_s is not None
    return Edge(round(step.effort_start_s), step.effort_start_s != step.machine_start_s)


def ending(step: Interval) -> Edge:
    """When a step's effort ended, against the bell that ends it."""
    assert step.effort_end_s is not None
    seconds = round(step.effort_end_s - step.planned_s)
    return Edge(seconds, step.effort_end_s != step.machine_end_s)


def round_amount(work: Sequence[Interval], measure: Measure) -> float | None:
    """The machine's count over a round's work steps: metres, or else calories."""
    counts = [
        step.machine_metres if measure == "metres" else step.machine_calories for step in work
    ]
    known = [count for count in counts if count is not None]
    return math.fsum(known) if known else None
