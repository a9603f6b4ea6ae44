"""Small plots made of plain characters, for a terminal or a pipe of any kind."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from api.sheet import words
from api.sheet.columns import Columns


def line_rows(columns: Columns, low: float, high: float, rows: int, mark: str) -> list[str]:
    """A line as rows of characters, top first: a mark wherever a column's values lie."""
    grid = np.full((rows, columns.high.size), " ")
    for column in np.flatnonzero(np.isfinite(columns.high)).tolist():
        top = row_of(columns.high[column], low, high, rows)
        bottom = row_of(columns.low[column], low, high, rows)
        grid[top : bottom + 1, column] = mark
    return ["".join(row) for row in grid]


def area_rows(columns: Columns, low: float, high: float, rows: int, mark: str) -> list[str]:
    """An area from `low` up to each column's highest value."""
    heights = np.nan_to_num((columns.high - low) / (high - low) * rows)
    filled = np.round(np.clip(heights, 0, rows)).astype(int)
    return [
        "".join(mark if height > level else " " for height in filled.tolist())
        for level in reversed(range(rows))
    ]


def row_of(value: float, low: float, high: float, rows: int) -> int:
    """The row, counted from the top, in which a value lies."""
    share = min(max((value - low) / (high - low), 0.0), 1.0)
    return min(int((1.0 - share) * rows), rows - 1)


def laid_over(below: Sequence[str], above: Sequence[str], both: str) -> list[str]:
    """Rows with others laid over them; `both` where both have a mark."""
    return [
        "".join(
            both if under != " " and over != " " else under if over == " " else over
            for under, over in zip(low, high, strict=True)
        )
        for low, high in zip(below, above, strict=True)
    ]


def with_scale(rows: Sequence[str], low: float, high: float, width: int) -> list[str]:
    """Rows with the highest and lowest value of their scale in front."""
    labels = [f"{high:.0f}", *("" for _ in rows[1:-1]), f"{low:.0f}"]
    return [f"{label:>{width}} {row}" for label, row in zip(labels, rows, strict=True)]


def marks_row(marks: Sequence[tuple[float, str]], start: float, end: float, width: int) -> str:
    """A row of marks at their places, the last of those that share one shown."""
    row = [" "] * width
    for at, mark in marks:
        if start <= at <= end:
            row[min(int((at - start) / (end - start) * width), width - 1)] = mark
    return "".join(row)


def time_row(start_s: float, end_s: float, width: int) -> str:
    """Minutes and seconds under a plot, as many as fit with room between them."""
    span_s = end_s - start_s
    most = max(width // 12, 1)
    steps = (10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)
    step_s = next((step for step in steps if span_s / step <= most), 14400)
    row = [" "] * width
    for tick in range(math.ceil(start_s / step_s), math.floor(end_s / step_s) + 1):
        text = words.clock(tick * step_s)
        at = min(int((tick * step_s - start_s) / span_s * width), width - 1)
        if at + len(text) <= width:
            row[at : at + len(text)] = text
    return "".join(row)
