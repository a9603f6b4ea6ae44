"""One athlete's energy as text: a step a line, each model's say, and what they were joined to.

What a mask would read in a step's window may stand beside the demand. The two are never added: the
same work is in both.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from api.sheet import words
from api.sheet.terminal import SheetPrinter, print_parts, sentence, step_energy_text
from reconcile.energy.evidence import BlockEnergy, EnergyAnswer, ModelRow
from reconcile.result import AthleteResult, Energy, Interval

JOINED = "joined"


def print_energy(
    console: Console, athlete: AthleteResult, answer: EnergyAnswer, *, oxygen_timed: bool
) -> None:
    """Print how each step's energy came about; oxygen_timed: with what a mask would read."""
    print_parts(
        console, lambda printer: energy_parts(printer, athlete, answer, oxygen_timed=oxygen_timed)
    )


def energy_parts(
    printer: SheetPrinter, athlete: AthleteResult, answer: EnergyAnswer, *, oxygen_timed: bool
) -> None:
    """Blocks with their totals and steps, then what the models noted."""
    printer.line(f"Energy of {athlete.athlete}, kcal", "bold")
    printer.line(words.ENERGY_KEY)
    if oxygen_timed:
        printer.line(words.OXYGEN_TIMED)
    totals = {total.block: total for total in answer.blocks}
    masks = answer.oxygen_timed if oxygen_timed else (None,) * len(answer.steps)
    steps = list(zip(athlete.intervals, masks, strict=True))
    for block in dict.fromkeys(step.block for step in athlete.intervals):
        printer.heading(total_text(block, totals.get(block)))
        own = [(step, mask) for step, mask in steps if step.block == block]
        step_lines(printer, own, answer.rows, oxygen_timed=oxygen_timed)
    notes: dict[str, dict[str, None]] = {}
    for row in answer.rows:
        if row.note:
            notes.setdefault(row.model, {})[row.note] = None
    if notes:
        printer.heading("Why")
        for model, why in notes.items():
            printer.line(sentence(f"{model}: {'; '.join(why)}", capital=False))
    for problem in answer.problems:
        printer.line(sentence(problem.message))
    printer.gap()
    printer.line(words.CARE)


def total_text(block: str, total: BlockEnergy | None) -> str:
    """A block's total with its range, and its work and rest."""
    if total is None:
        return f"{block}: not known"
    parts = [f"{block}: {range_text(total.total)}"]
    parts += [
        f"{name} {range_text(part)}"
        for name, part in (("work", total.work), ("rest", total.rest))
        if part is not None
    ]
    return "; ".join(parts)


def range_text(energy: Energy) -> str:
    """Whole kilocalories with their range."""
    return f"{energy.kcal:.0f} ({energy.low:.0f}–{energy.high:.0f})"


def step_lines(
    printer: SheetPrinter,
    steps: Sequence[tuple[Interval, Energy | None]],
    rows: Sequence[ModelRow],
    *,
    oxygen_timed: bool,
) -> None:
    """A line a step: its energy, the mask's reading where asked for, and each model's say."""
    grid = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    grid.add_column("round")
    grid.add_column("step")
    grid.add_column("joined", no_wrap=True)
    if oxygen_timed:
        grid.add_column("by mask", no_wrap=True)
    grid.add_column("from")
    for step, mask in steps:
        said = [
            row
            for row in rows
            if (row.block, row.round, row.step) == (step.block, step.round, step.step)
            and row.model != JOINED
        ]
        cells = [
            str(step.round),
            f"{step.step} {step.kind}",
            step_energy_text(step.energy),
            *([step_energy_text(mask)] if oxygen_timed else []),
            ", ".join(map(model_text, said)) or "nothing tells",
        ]
        grid.add_row(*map(printer.text, cells))
    printer.console.print(grid)


def model_text(row: ModelRow) -> str:
    """A model's value, its spread and its weight."""
    weight = f"×{row.weight:.2f}" if row.weight > 0 else "unused"
    return f"{row.model} {row.kcal:.1f} ±{100 * row.sd:.0f}% {weight}"
