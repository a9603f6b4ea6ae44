"""Beliefs about the bell before any recording is looked at."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ingest.recording import Floats
from reconcile.align.grid import STEP_S, grid_s
from reconcile.align.joint import ClassPrior, StartPrior
from reconcile.filters import convolve_full
from reconcile.plan import FreeBlock, Plan, TimedBlock

# The stated start is usually a little early, people being late (judgement, no source).
USUAL_DELAY_S = 30.0
USUAL_SPREAD_S = 110.0
USUAL_TOLERANCE_S = 600.0
CLOCK_PAGE_SD_S = 1.0
MARGIN_S = 60.0


def class_prior(
    plan: Plan, tolerance_s: float, starts_s: dict[str, float], *, alone: bool = False
) -> ClassPrior:
    """Ranges and log priors of the timed blocks' starts, seconds from the stated start.

    starts_s: recorded starts (clock page) of some blocks on the same clock. alone: an athlete who
    trained alone states an own start, without the class's habit of beginning late.
    """
    blocks = plan.timed_blocks
    reach = tolerance_s + MARGIN_S
    low, high = round(-reach / STEP_S), round(reach / STEP_S)
    gaps = tuple(_gap_prior(plan, block) for block in range(len(blocks) - 1))
    before = _free_before(plan)
    starts = []
    for number, block in enumerate(blocks):
        between = before if number == 0 else gaps[number - 1]
        stated_s = grid_s(low, high)
        low += between.first
        high += between.first + len(between.values) - 1
        at_s = grid_s(low, high)
        values = np.zeros(len(at_s))
        if number == 0:
            first = np.exp(_first_start(stated_s, tolerance_s, alone))
            values = np.log(np.maximum(convolve_full(first, np.exp(between.values)), 1e-12))
        if block.name in starts_s:
            off = np.abs(at_s - starts_s[block.name])
            values = values + np.logaddexp(-0.5 * (off / CLOCK_PAGE_SD_S) ** 2, -12 - off / 60)
        starts.append(StartPrior(low, values))
    durations = tuple(round(block.duration_s / STEP_S) for block in blocks)
    return ClassPrior(tuple(starts), gaps, durations)


def _first_start(at_s: Floats, tolerance_s: float, alone: bool) -> Floats:
    scale = tolerance_s / USUAL_TOLERANCE_S
    spread = USUAL_SPREAD_S * scale
    centre = 0.0 if alone else USUAL_DELAY_S * scale
    near = np.exp(-0.5 * ((at_s - centre) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    anywhere = np.where(np.abs(at_s) <= tolerance_s, 1.0, 0.05) / (2 * tolerance_s)
    return np.asarray(np.log(0.92 * near + 0.08 * anywhere))


def _free_before(plan: Plan) -> StartPrior:
    """Log prior of the time from the first block's start to the first timed block's."""
    first = next(i for i, block in enumerate(plan.blocks) if isinstance(block, TimedBlock))
    offset, density = _free_lengths([b for b in plan.blocks[:first] if isinstance(b, FreeBlock)])
    return StartPrior(offset, np.log(np.maximum(density, 1e-9 / len(density))))


def _gap_prior(plan: Plan, number: int) -> StartPrior:
    """Log prior of the time from one timed block's start to the next one's."""
    names = [block.name for block in plan.timed_blocks]
    first = next(i for i, block in enumerate(plan.blocks) if block.name == names[number])
    second = next(i for i, block in enumerate(plan.blocks) if block.name == names[number + 1])
    timed = plan.blocks[first]
    assert isinstance(timed, TimedBlock)
    between = [b for b in plan.blocks[first + 1 : second] if isinstance(b, FreeBlock)]
    offset, density = _free_lengths(between)
    if not between:
        late = np.arange(round(-3 / STEP_S), round(60 / STEP_S) + 1) * STEP_S
        offset = round(-3 / STEP_S)
        density = np.exp(-np.abs(late) / 0.5) + 0.01 * np.exp(-np.abs(late) / 20.0)
        density = density / density.sum()
    return StartPrior(
        offset + round(timed.duration_s / STEP_S), np.log(np.maximum(density, 1e-9 / len(density)))
    )


def _free_lengths(blocks: Sequence[FreeBlock]) -> tuple[int, Floats]:
    """The time that free blocks take one after the other: first grid index, shares."""
    offset, density = 0, np.ones(1)
    for block in blocks:
        start, values = _free_length(block)
        offset += start
        density = np.maximum(convolve_full(density, values), 0.0)
    return offset, density / density.sum()


def _free_length(block: FreeBlock) -> tuple[int, Floats]:
    """A free block's length: mostly inside its range, one time in five somewhat beyond it."""
    width = max(block.high_s - block.low_s, 10.0)
    low, high = 0.7 * block.low_s - 5.0, 1.3 * block.high_s + 10.0
    first = round(max(low, 0.0) / STEP_S)
    at_s = np.arange(first, round(high / STEP_S) + 1) * STEP_S
    inside = (at_s >= block.low_s) & (at_s <= block.high_s)
    beyond = np.where(
        at_s < block.low_s,
        (block.low_s - at_s) / max(0.2 * block.low_s, 10.0),
        (at_s - block.high_s) / max(0.2 * block.high_s, 10.0),
    )
    tail = np.where(beyond <= 1.0, 1.0, np.exp(-8.0 * (beyond - 1.0)))
    span = 0.2 * (block.low_s + block.high_s)
    return first, np.where(inside, 0.8 / width, 0.2 * tail / max(span, 10.0))
