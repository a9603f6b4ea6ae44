"""An explanation of a recording as text: its signal, the fit, and the likelihood of each start."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.table import Table

from api.sheet import explained, words
from api.sheet.columns import Columns, hold, reduce_to_columns
from api.sheet.picture import HEART_RATE_GAP_S, POWER_GAP_S, heart_rate_range, round_up
from api.sheet.terminal import SheetPrinter, print_parts
from api.sheet.text_plots import (
    area_rows,
    laid_over,
    line_rows,
    marks_row,
    time_row,
    with_scale,
)
from reconcile.align.explain import ExplainedBlock, ExplainedRecording
from reconcile.result import Status

HEART_ROWS = 10
POWER_ROWS = 4
LIKELIHOOD_ROWS = 6
# Likelihoods lower than this below the highest are drawn as nothing (nats).
LOWEST_SHOWN = 12.0
# What stands in front of a plot: the numbers of its scale and a blank.
SCALE = 5


def print_explained(console: Console, told: ExplainedRecording) -> None:
    """Print what a recording's place and owner rest on."""
    print_parts(console, lambda printer: explain_parts(printer, told))


def explain_parts(printer: SheetPrinter, told: ExplainedRecording) -> None:
    """The recording, its picture, and each block's places."""
    printer.line(f"{told.file}: {explained.status(told)}", "bold")
    printer.line(explained.whose(told))
    if told.spread_out:
        printer.line(words.SPREAD_OUT)
    signal_plot(printer, told)
    for block in told.blocks:
        block_places(printer, block, told.status)
    printer.gap()
    printer.line(words.SAYS_KEY if told.blocks else words.NO_PLACE)


def signal_plot(printer: SheetPrinter, told: ExplainedRecording) -> None:
    """Heart rate with the answer that fits, machine work, and the plan at its likeliest place."""
    start_s, end_s = explained.shown_span(told)
    width = max(printer.console.width - SCALE - 1, 20)
    gap = int(HEART_RATE_GAP_S / (end_s - start_s) * width) + 1
    if told.heart_rate_bpm is not None:
        beats = np.where(told.heart_rate_bpm > 0, told.heart_rate_bpm, np.nan)
        columns = hold(reduce_to_columns(told.time_s, beats, start_s, end_s, width), gap)
        if columns.filled:
            heart_plot(printer, told, columns, (start_s, end_s))
    if told.power_w is not None:
        power = reduce_to_columns(told.time_s, told.power_w, start_s, end_s, width)
        power = hold(power, int(POWER_GAP_S / (end_s - start_s) * width) + 1)
        if power.filled:
            top = round_up(float(np.nanmax(power.high)), 50.0)
            printer.heading(words.POWER_KEY)
            printer.rows(with_scale(area_rows(power, 0.0, top, POWER_ROWS, "#"), 0.0, top, SCALE))
    if told.status != "unmatched" and told.blocks:
        printer.gap()
        printer.line(words.PLAN_KEY)
        printer.rows([" " * (SCALE + 1) + plan_row(told, start_s, end_s, width)])
    printer.rows([" " * (SCALE + 1) + time_row(start_s, end_s, width)])


def heart_plot(
    printer: SheetPrinter,
    told: ExplainedRecording,
    columns: Columns,
    span_s: tuple[float, float],
) -> None:
    """Heart rate, and over it the fitted answer of every block."""
    bottom, top = heart_rate_range(columns)
    rows = line_rows(columns, bottom, top, HEART_ROWS, ":")
    for block in told.blocks:
        if block.fitted is not None:
            fitted = reduce_to_columns(
                block.fitted.time_s, block.fitted.bpm, *span_s, columns.high.size
            )
            rows = laid_over(rows, line_rows(fitted, bottom, top, HEART_ROWS, "-"), "=")
    printer.heading(words.HEART_KEY)
    printer.rows(with_scale(rows, bottom, top, SCALE))


def plan_row(told: ExplainedRecording, start_s: float, end_s: float, width: int) -> str:
    """The plan's work (plain) and rest (hatched) with the bells between, in one row."""
    at_s = start_s + (np.arange(width) + 0.5) * (end_s - start_s) / width
    row = np.full(width, " ")
    bells = []
    for block in told.blocks:
        begins_s = block.candidates[0].start_s
        for step in block.steps:
            inside = (at_s >= begins_s + step.start_s) & (at_s < begins_s + step.end_s)
            row[inside] = "/" if step.kind == "rest" else "_"
            bells.append(begins_s + step.start_s)
        bells.append(begins_s + block.steps[-1].end_s)
    over = marks_row([(bell, "|") for bell in bells], start_s, end_s, width)
    return "".join(b if b != " " else r for b, r in zip(over, row.tolist(), strict=True))


def block_places(printer: SheetPrinter, block: ExplainedBlock, status: Status) -> None:
    """Where a block begins, how likely each start is, and who says what."""
    printer.gap()
    first, *others = explained.place_sentences(block, status)
    printer.line(first, "bold")
    for sentence in others:
        printer.line(sentence)
    likelihood_plot(printer, block)
    table = explained.place_table(block)
    grid = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for title in ("", "begins at", "away", "probability", *table.sources):
        grid.add_column(printer.text(title))
    for row in table.rows:
        cells = (str(row.number), row.start, row.away, row.probability, *row.says)
        grid.add_row(*(printer.text(cell) for cell in cells))
    printer.gap()
    printer.console.print(grid)


def likelihood_plot(printer: SheetPrinter, block: ExplainedBlock) -> None:
    """What the samples say of every start, the places numbered and the clock's marked."""
    width = max(printer.console.width - SCALE - 1, 20)
    start_s, end_s = float(block.start_s[0]), float(block.start_s[-1])
    columns = reduce_to_columns(block.start_s, block.log_ratio, start_s, end_s, width)
    top = float(np.max(block.log_ratio))
    if not columns.filled or top - float(np.min(block.log_ratio)) < 0.1:
        printer.line(words.SAMPLES_SILENT)
        return
    low = max(float(np.min(block.log_ratio)), top - LOWEST_SHOWN)
    printer.gap()
    key = words.LIKELIHOOD_KEY if block.clock_start_s is None else words.LIKELIHOOD_AND_CLOCK_KEY
    printer.line(key)
    margin = " " * (SCALE + 1)
    printer.rows(margin + row for row in area_rows(columns, low, top, LIKELIHOOD_ROWS, "#"))
    marks = [] if block.clock_start_s is None else [(block.clock_start_s, "c")]
    numbered = [(place.start_s, str(n)) for n, place in enumerate(block.candidates, start=1)]
    printer.rows(
        [
            margin + marks_row([*marks, *reversed(numbered)], start_s, end_s, width),
            margin + time_row(start_s, end_s, width),
        ]
    )
