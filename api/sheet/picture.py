"""The pictures of the class page as numbers: where everything lies, in per cent of the width.

One plot an athlete: heart rate and power over the plan's work and rest. One strip a round: the
same bands and the same marks, of one height, so that rounds and athletes can be compared.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from api.sheet import words
from api.sheet.columns import Columns, area_path, hold, line_path, reduce_to_columns
from ingest.recording import Floats
from reconcile.plan import Plan, TimedBlock
from reconcile.result import AthleteResult, Interval, Track

COLUMNS = 480
HEIGHT = 180
EDGE_S = 20.0

# A watch that records only changes leaves gaps of up to some ten seconds; longer ones are gaps.
HEART_RATE_GAP_S = 20.0
POWER_GAP_S = 8.0

# The narrowest that a step may get before the plot scrolls sideways in its own frame.
STEP_PIXELS = 14


@dataclass(frozen=True)
class Band:
    """A stretch of the plan; x and width in per cent."""

    kind: Literal["work", "rest"]
    x: float
    width: float


@dataclass(frozen=True)
class Mark:
    """A stretch of what was done; x and width in per cent."""

    x: float
    width: float


@dataclass(frozen=True)
class Label:
    """A text at x (or y), in per cent."""

    at: float
    text: str


@dataclass(frozen=True)
class Strip:
    """One round of one athlete.

    state: what the word under the strip says where there is nothing to draw.
    amount: the machine's count over the round's work steps; bell: seconds from the last work
    bell to the end of the effort, as text.
    """

    round: int
    bands: tuple[Band, ...]
    bells: tuple[float, ...]
    efforts: tuple[Mark, ...]
    machine: tuple[Mark, ...]
    state: Literal["done", "left out", "unknown"]
    amount: str
    bell: str
    description: str


@dataclass(frozen=True)
class Picture:
    """One athlete's plot.

    The paths lie in boxes HEIGHT high, four units a column for the heart rate (and for the answer
    fitted to it, where that is shown) and two for power.
    """

    bands: tuple[Band, ...]
    bells: tuple[float, ...]
    rounds: tuple[Label, ...]
    blocks: tuple[Label, ...]
    minutes: tuple[Label, ...]
    heart_rate: str
    heart_rate_ticks: tuple[Label, ...]
    power: str
    power_ticks: tuple[Label, ...]
    efforts: tuple[Mark, ...]
    machine: tuple[Mark, ...]
    least_width_px: int
    description: str
    fitted: str = ""


def round_strips(block: TimedBlock, intervals: Sequence[Interval], whom: str) -> tuple[Strip, ...]:
    """A strip for each round of a block."""
    return tuple(
        round_strip(block, number, tuple(step for step in intervals if step.round == number), whom)
        for number in range(1, block.rounds + 1)
    )


def round_strip(block: TimedBlock, number: int, intervals: Sequence[Interval], whom: str) -> Strip:
    """One round: its bands and bells, and what was done, on the round's own clock."""
    margin = 0.03 * block.round_s
    scale = percent_scale(-margin, block.round_s + margin)
    starts = np.concatenate(([0.0], np.cumsum([step.duration_s for step in block.steps])))
    bands = tuple(
        Band(step.kind, scale(start), scale(start + step.duration_s) - scale(start))
        for step, start in zip(block.steps, starts.tolist(), strict=False)
    )
    work = [step for step in intervals if step.kind == "work"]
    efforts, machine = step_marks(work, lambda step: float(starts[step.step - 1]), scale)
    return Strip(
        round=number,
        bands=bands,
        bells=tuple(scale(start) for start in starts.tolist()),
        efforts=efforts,
        machine=machine,
        state=round_state(work),
        amount=round_amount(block, work),
        bell=bell_text(work),
        description=round_description(number, work, whom),
    )


def percent_scale(start: float, end: float) -> Callable[[float], float]:
    """From seconds to per cent of a width that runs from `start` to `end`."""
    return lambda seconds: round((seconds - start) / (end - start) * 100.0, 3)


def step_marks(
    steps: Sequence[Interval],
    start_of: Callable[[Interval], float],
    scale: Callable[[float], float],
) -> tuple[tuple[Mark, ...], tuple[Mark, ...]]:
    """What was done in each step, as marks: the effort, and the machine work inside it."""
    efforts = tuple(
        mark(start_of(step) + step.effort_start_s, start_of(step) + step.effort_end_s, scale)
        for step in steps
        if step.effort_start_s is not None and step.effort_end_s is not None
    )
    machine = tuple(
        mark(start_of(step) + step.machine_start_s, start_of(step) + step.machine_end_s, scale)
        for step in steps
        if step.machine_start_s is not None and step.machine_end_s is not None
    )
    return efforts, machine


def mark(start_s: float, end_s: float, scale: Callable[[float], float]) -> Mark:
    """A mark from `start_s` to `end_s`, cut to the drawing."""
    left = min(max(scale(start_s), 0.0), 100.0)
    right = min(max(scale(end_s), 0.0), 100.0)
    return Mark(left, round(right - left, 3))


def round_state(work: Sequence[Interval]) -> Literal["done", "left out", "unknown"]:
    """Whether a round was begun."""
    if any(step.attempted for step in work):
        return "done"
    return "left out" if work and all(step.attempted is False for step in work) else "unknown"


def round_amount(block: TimedBlock, work: Sequence[Interval]) -> str:
    """The machine's count over the round's work steps, in the block's measure."""
    metres = block.score is not None and block.score.measure == "metres"
    counts = [step.machine_metres if metres else step.machine_calories for step in work]
    known = [count for count in counts if count is not None]
    return words.count(math.fsum(known), "metres" if metres else "calories") if known else ""


def bell_text(work: Sequence[Interval]) -> str:
    """How far from the bell the last effort ended: "−4 s" before it, "+2 s" after it."""
    ended = [step for step in work if step.effort_end_s is not None]
    if not ended or ended[-1].effort_end_s is None:
        return ""
    seconds = round(ended[-1].effort_end_s - ended[-1].planned_s)
    sign = "+" if seconds > 0 else "−" if seconds < 0 else "±"
    return f"{sign}{abs(seconds)} s"


def round_description(number: int, work: Sequence[Interval], whom: str) -> str:
    """A round in words, for those who do not see the strip."""
    state = round_state(work)
    if state != "done":
        return f"Round {number} of {whom}: {state}."
    parts = []
    for step in work:
        if step.effort_start_s is None or step.effort_end_s is None:
            continue
        text = (
            f"worked from {step.effort_start_s:.0f} s to {step.effort_end_s:.0f} s "
            f"of {step.planned_s:.0f} s"
        )
        if step.machine_start_s is not None and step.machine_end_s is not None:
            text += (
                f", on the machine from {step.machine_start_s:.0f} s to {step.machine_end_s:.0f} s"
            )
        parts.append(text)
    return f"Round {number} of {whom}: {'; '.join(parts) or 'begun'}."


def athlete_picture(plan: Plan, athlete: AthleteResult) -> Picture | None:
    """The athlete's plot; None where nothing was recorded or no block has a place."""
    blocks = [block for block in plan.timed_blocks if block.name in athlete.block_start_s]
    if not blocks or not athlete.tracks:
        return None
    start_s = min(athlete.block_start_s[block.name] for block in blocks) - EDGE_S
    end_s = EDGE_S + max(athlete.block_start_s[block.name] + block.duration_s for block in blocks)
    scale = percent_scale(start_s, end_s)
    heart_rate = signal(athlete.tracks, lambda track: track.heart_rate_bpm, start_s, end_s)
    power = signal(athlete.tracks, lambda track: track.power_w, start_s, end_s)
    bands, bells, rounds = plan_bands(blocks, athlete, scale)
    column_s = (end_s - start_s) / COLUMNS
    bottom, top = heart_rate_range(heart_rate)
    most_w = round_up(float(np.nanmax(power.high)), 50.0) if power.filled else 50.0
    efforts, _ = step_marks(
        [
            step
            for step in athlete.intervals
            if step.kind == "work" and step.block in athlete.block_start_s
        ],
        step_starts(blocks, athlete),
        scale,
    )
    pulls = [pull for track in athlete.tracks for pull in track.pulls]
    return Picture(
        bands=bands,
        bells=bells,
        rounds=rounds,
        blocks=tuple(
            Label(scale(athlete.block_start_s[block.name]), block.name) for block in blocks
        ),
        minutes=minute_ticks(start_s, end_s, scale),
        heart_rate=line_path(
            heart_rate, bottom, top, HEIGHT, math.ceil(HEART_RATE_GAP_S / column_s)
        ),
        heart_rate_ticks=value_ticks(bottom, top, 20.0) if heart_rate.filled else (),
        power=(
            area_path(hold(power, math.ceil(POWER_GAP_S / column_s)), most_w, HEIGHT)
            if power.filled
            else ""
        ),
        power_ticks=value_ticks(0.0, most_w, step_of(most_w)) if power.filled else (),
        efforts=efforts,
        machine=tuple(mark(begin, end, scale) for begin, end in pulls if begin < end_s),
        least_width_px=STEP_PIXELS * len(bands),
        description=picture_description(heart_rate, power, len(pulls), blocks),
    )


def signal(
    tracks: Sequence[Track],
    column_of: Callable[[Track], Floats | None],
    start_s: float,
    end_s: float,
) -> Columns:
    """One signal of an athlete in columns: the fullest track, its holes filled from the others."""
    reduced = [
        reduce_to_columns(track.time_s, values, start_s, end_s, COLUMNS)
        for track in tracks
        if (values := column_of(track)) is not None
    ]
    reduced.sort(key=lambda columns: -int(np.isfinite(columns.high).sum()))
    empty = np.full(COLUMNS, np.nan)
    whole = Columns(empty, empty)
    for columns in reduced:
        whole = whole.completed_by(columns)
    return whole


def plan_bands(
    blocks: Sequence[TimedBlock], athlete: AthleteResult, scale: Callable[[float], float]
) -> tuple[tuple[Band, ...], tuple[float, ...], tuple[Label, ...]]:
    """The plan's bands, its bells, and the number of each round at its middle."""
    bands: list[Band] = []
    bells: list[float] = []
    rounds: list[Label] = []
    for block in blocks:
        clock_s = athlete.block_start_s[block.name]
        bells.append(scale(clock_s))
        for number in range(1, block.rounds + 1):
            rounds.append(Label(scale(clock_s + block.round_s / 2), str(number)))
            for step in block.steps:
                x = scale(clock_s)
                clock_s += step.duration_s
                bands.append(Band(step.kind, x, round(scale(clock_s) - x, 3)))
                bells.append(scale(clock_s))
    return tuple(bands), tuple(bells), tuple(rounds)


def step_starts(
    blocks: Sequence[TimedBlock], athlete: AthleteResult
) -> Callable[[Interval], float]:
    """When each step begins on the class clock, for this athlete."""
    by_name = {block.name: block for block in blocks}

    def start_of(step: Interval) -> float:
        block = by_name[step.block]
        before = math.fsum(earlier.duration_s for earlier in block.steps[: step.step - 1])
        return athlete.block_start_s[step.block] + (step.round - 1) * block.round_s + before

    return start_of


def heart_rate_range(heart_rate: Columns) -> tuple[float, float]:
    """The scale of the heart rate: whole twenties around what was recorded, at least forty wide."""
    if not heart_rate.filled:
        return 60.0, 180.0
    bottom = math.floor(float(np.nanmin(heart_rate.low)) / 20.0) * 20.0
    top = round_up(float(np.nanmax(heart_rate.high)), 20.0)
    return bottom, max(top, bottom + 40.0)


def round_up(value: float, step: float) -> float:
    """The next multiple of `step` at or above the value, at least one step."""
    return max(math.ceil(value / step), 1) * step


def step_of(most: float) -> float:
    """A round step that gives three to six ticks up to `most`."""
    return next(step for step in (25.0, 50.0, 100.0, 200.0, 500.0, math.inf) if most / step <= 6)


def value_ticks(bottom: float, top: float, step: float) -> tuple[Label, ...]:
    """Ticks of a vertical scale: y in pixels from the top."""
    if not math.isfinite(step):
        return (Label(0.0, f"{top:.0f}"),)
    count = int((top - bottom) / step)
    return tuple(
        Label(
            round(HEIGHT * (1.0 - index * step / (top - bottom)), 1),
            f"{bottom + index * step:.0f}",
        )
        for index in range(count + 1)
    )


def minute_ticks(
    start_s: float, end_s: float, scale: Callable[[float], float]
) -> tuple[Label, ...]:
    """Up to eight whole minutes of the class clock (more where it runs for very long)."""
    minutes = (end_s - start_s) / 60.0
    step = next((step for step in (1, 2, 5, 10, 20, 30, 60) if minutes / step <= 8), 240)
    first = math.ceil(start_s / 60.0 / step) * step
    return tuple(
        Label(scale(minute * 60.0), f"{minute}")
        for minute in range(first, math.floor(end_s / 60.0) + 1, step)
    )


def picture_description(
    heart_rate: Columns, power: Columns, pulls: int, blocks: Sequence[TimedBlock]
) -> str:
    """The plot in a sentence or two."""
    named = ", ".join(f"{block.name} ({block.rounds} rounds)" for block in blocks)
    parts = [f"The plan's work and rest: {named}."]
    if heart_rate.filled:
        low, high = float(np.nanmin(heart_rate.low)), float(np.nanmax(heart_rate.high))
        parts.append(f"Heart rate between {low:.0f} and {high:.0f} beats a minute.")
    else:
        parts.append("No heart rate.")
    if power.filled:
        parts.append(f"Power up to {float(np.nanmax(power.high)):.0f} watts.")
    else:
        parts.append("No power.")
    parts.append(f"Machine work found {pulls} times." if pulls else "No machine work found.")
    return " ".join(parts)
