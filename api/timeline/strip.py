"""A timed block as a strip of letters: one height, work plain, rest hatched, bells thick.

Widths follow lengths as far as the strip is wide enough; the shortest step still shows.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.timeline.sentences import clock_reading
from reconcile.plan import TimedBlock
from reconcile.timeline import PlannedStep, unfold_block

LEAST_COLUMNS = 2


@dataclass(frozen=True)
class Letters:
    """What a strip is drawn with."""

    work: str
    rest: str
    bell: str


DRAWN = Letters(work=" ", rest="╱", bell="┃")
ASCII = Letters(work=" ", rest="/", bell="|")


@dataclass(frozen=True)
class StripLine:
    """One line of a strip, and under it the clock at the start of each round that has room."""

    strip: str
    clock: str


def draw_strip(block: TimedBlock, columns: int, letters: Letters = DRAWN) -> tuple[StripLine, ...]:
    """The strip of a block in lines of at most `columns` letters, broken between rounds.

    A round that does not fit one line is broken between steps.
    """
    steps = unfold_block(block)
    widths = step_widths(steps, columns)
    lines: list[list[int]] = [[]]
    used = 1
    for number, step in enumerate(steps):
        last_of_round = number + len(block.steps) - step.step + 1
        round_width = sum(width + 1 for width in widths[number:last_of_round])
        whole_round = step.step == 1 and 1 + round_width <= columns
        needed = round_width if whole_round else widths[number] + 1
        if lines[-1] and used + needed > columns:
            lines.append([])
            used = 1
        lines[-1].append(number)
        used += widths[number] + 1
    return tuple(draw_line([(steps[i], widths[i]) for i in line], letters) for line in lines)


def step_widths(steps: tuple[PlannedStep, ...], columns: int) -> list[int]:
    """Letters of each step between its bells.

    The block fills one line where its shortest step can be seen at that scale; otherwise the
    scale is that of the shortest step, and no step is wider than a line.
    """
    room = columns - len(steps) - 1
    shortest_s = min(step.duration_s for step in steps)
    per_second = max(room / steps[-1].end_s, LEAST_COLUMNS / shortest_s)
    widest = max(LEAST_COLUMNS, columns - 2)
    return [
        min(widest, max(LEAST_COLUMNS, int(step.duration_s * per_second + 1e-9))) for step in steps
    ]


def draw_line(steps: list[tuple[PlannedStep, int]], letters: Letters) -> StripLine:
    """One line of steps with their widths."""
    strip = letters.bell
    clock = ""
    for number, (step, width) in enumerate(steps):
        if step.step == 1 or number == 0:
            reading = clock_reading(step.start_s)
            if not clock or len(strip) - 1 > len(clock):
                clock = clock.ljust(len(strip) - 1) + reading
        fill = letters.work if step.kind == "work" else letters.rest
        strip += fill * width + letters.bell
    return StripLine(strip, clock)
