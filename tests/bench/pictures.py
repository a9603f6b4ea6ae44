"""Reliability diagrams: what was said to be so likely against how often it was so."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import svg

from tests.bench.reliability import Bin

SIDE, EDGE = 300, 46


def across(value: float) -> float:
    return EDGE + value * SIDE


def up(value: float) -> float:
    return EDGE + (1 - value) * SIDE


def words(
    x: float, y: float, text: str, anchor: Literal["start", "middle", "end"] = "start"
) -> svg.Text:
    return svg.Text(x=x, y=y, text=text, font_size=12, font_family="sans-serif", text_anchor=anchor)


def diagram(title: str, bins: Sequence[Bin]) -> svg.SVG:
    """One diagram: a dot a bin, its area the number of cases; on the diagonal all is well."""
    size = SIDE + 2 * EDGE
    marks: list[svg.Element] = [
        svg.Title(text=title),
        svg.Desc(text="Stated probability across, observed share upwards; the line is agreement."),
        svg.Rect(x=0, y=0, width=size, height=size, fill="white"),
        svg.Rect(x=EDGE, y=EDGE, width=SIDE, height=SIDE, fill="none", stroke="black"),
        svg.Line(
            x1=across(0), y1=up(0), x2=across(1), y2=up(1), stroke="black", stroke_dasharray=[4, 4]
        ),
        words(EDGE, EDGE - 16, title),
        words(EDGE, size - 10, "said"),
        words(6, EDGE - 4, "observed"),
    ]
    for value in (0.0, 0.25, 0.5, 0.75, 1.0):
        marks.append(words(across(value), up(0) + 16, f"{value:g}", anchor="middle"))
        marks.append(words(EDGE - 6, up(value) + 4, f"{value:g}", anchor="end"))
    most = max((group.count for group in bins), default=1)
    for group in bins:
        spread = 1.96 * math.sqrt(max(group.observed * (1 - group.observed), 1e-4) / group.count)
        x = across(group.predicted)
        low, high = up(max(0.0, group.observed - spread)), up(min(1.0, group.observed + spread))
        marks.append(svg.Line(x1=x, y1=low, x2=x, y2=high, stroke="black"))
        marks.append(
            svg.Circle(
                cx=x, cy=up(group.observed), r=2 + 7 * math.sqrt(group.count / most), fill="black",
                elements=[svg.Title(text=f"{group.count} cases")],
            )
        )  # fmt: skip
    view = svg.ViewBoxSpec(0, 0, size, size)
    return svg.SVG(width=size, height=size, viewBox=view, elements=marks)


def write_diagrams(folder: Path, tables: dict[str, list[Bin]]) -> list[Path]:
    """Write one SVG a table; returns their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, bins in tables.items():
        parts = "".join(c if c.isalnum() else " " for c in name).split()
        path = folder / f"{'-'.join(parts)}.svg"
        path.write_text(str(diagram(name, bins)) + "\n")
        written.append(path)
    return written
