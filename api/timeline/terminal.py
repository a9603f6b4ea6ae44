"""Prints a plan's timeline on a terminal, with or without colour and fancy letters."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.timeline.sentences import block_heading, clock_reading, step_tasks, whole_length
from api.timeline.strip import ASCII, DRAWN, draw_strip
from reconcile.durations import format_duration
from reconcile.plan import FreeBlock, Plan, TimedBlock
from reconcile.timeline import unfold_block

WIDEST_STRIP = 100
STARTS_SHOWN = 5


def print_timeline(console: Console, plan: Plan) -> None:
    """Print every block in order: a timed one as strip and table, a free one as a line."""
    fancy = console.encoding.lower().startswith("utf")
    line(console, plan.title, style="bold")
    line(console, whole_length(plan))
    if plan.options:
        line(console, f"Options: {', '.join(plan.options)}")
    for block in plan.blocks:
        console.print()
        if isinstance(block, FreeBlock):
            print_free_block(console, block)
        else:
            print_timed_block(console, block, fancy=fancy)
    console.print()
    letters = DRAWN if fancy else ASCII
    line(
        console,
        f"work plain, rest {letters.rest * 3}, a bell {letters.bell}; each strip has its own scale",
    )


def print_free_block(console: Console, block: FreeBlock) -> None:
    """One line: a free block has no clock."""
    low, high = format_duration(block.low_s), format_duration(block.high_s)
    line(console, f"{block.name}: off the clock, usually {low} to {high}", style="bold")


def print_timed_block(console: Console, block: TimedBlock, *, fancy: bool) -> None:
    """Heading, strip and table of a block on the clock."""
    line(console, block_heading(block), style="bold")
    columns = min(WIDEST_STRIP, console.width) - 1
    for drawn in draw_strip(block, columns, DRAWN if fancy else ASCII):
        for row in (drawn.strip, drawn.strip, drawn.clock):
            console.print(Text(row), no_wrap=True, overflow="crop")
    table = Table(box=box.SIMPLE_HEAD if fancy else box.ASCII, pad_edge=False)
    table.add_column("step", justify="right")
    table.add_column("for")
    table.add_column("tasks")
    table.add_column("begins at")
    planned = unfold_block(block)
    for number, step in enumerate(block.steps, start=1):
        starts = [clock_reading(each.start_s) for each in planned if each.step == number]
        table.add_row(
            str(number),
            f"{step.kind} {format_duration(step.duration_s)}",
            Text(shown(console, step_tasks(step))),
            starts_in_short(starts, "…" if fancy else "..."),
        )
    console.print(table)


def starts_in_short(starts: list[str], dots: str) -> str:
    """All starts, or the first ones and the last."""
    if len(starts) <= STARTS_SHOWN + 2:
        return "  ".join(starts)
    return "  ".join([*starts[:STARTS_SHOWN], dots, starts[-1]])


def line(console: Console, content: str, style: str = "") -> None:
    """One line of text that is never read as markup."""
    console.print(Text(shown(console, content), style=style))


def shown(console: Console, content: str) -> str:
    """A text in letters that the console has."""
    return content.encode(console.encoding, "replace").decode(console.encoding)
