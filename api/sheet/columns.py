"""A signal reduced to the columns of a drawing: lowest and highest value in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats


@dataclass(frozen=True, eq=False)
class Columns:
    """Lowest and highest value in each column of a drawing, NaN where nothing was recorded."""

    low: Floats
    high: Floats

    @property
    def filled(self) -> bool:
        """Whether anything was recorded at all."""
        return bool(np.isfinite(self.high).any())

    def completed_by(self, other: Columns) -> Columns:
        """The same, with the other's values in columns where this one has none."""
        missing = np.isnan(self.high)
        return Columns(
            np.where(missing, other.low, self.low), np.where(missing, other.high, self.high)
        )


def reduce_to_columns(
    time_s: Floats, values: Floats, start_s: float, end_s: float, count: int
) -> Columns:
    """Lowest and highest of the samples that fall in each of `count` equal columns.

    No sample inside [start_s, end_s) is lost to sight, however many share a column; NaN samples
    count for nothing.
    """
    low = np.full(count, np.nan)
    high = np.full(count, np.nan)
    inside = np.isfinite(values) & (time_s >= start_s) & (time_s < end_s)
    if not inside.any():
        return Columns(low, high)
    column = ((time_s[inside] - start_s) / (end_s - start_s) * count).astype(np.int64)
    column = np.minimum(column, count - 1)
    shown = values[inside]
    first = np.flatnonzero(np.diff(column, prepend=-1))
    low[column[first]] = np.minimum.reduceat(shown, first)
    high[column[first]] = np.maximum.reduceat(shown, first)
    return Columns(low, high)


def hold(columns: Columns, longest: int) -> Columns:
    """Carry each column's values on over at most `longest` empty columns after it.

    A device that samples every few seconds leaves columns empty although it was recording.
    """
    count = columns.high.size
    index = np.arange(count)
    last = np.maximum.accumulate(np.where(np.isfinite(columns.high), index, -1))
    carried = (last >= 0) & (index - last <= longest)
    source = np.maximum(last, 0)
    return Columns(
        np.where(carried, columns.low[source], np.nan),
        np.where(carried, columns.high[source], np.nan),
    )


def line_path(columns: Columns, bottom: float, top: float, height: int, longest: int) -> str:
    """SVG path data of a line through every column's lowest and highest value.

    Column i spans 4·i to 4·i + 4: a single value stands in its middle, two stand a quarter from
    its sides. The value `bottom` is at y = height and `top` at y = 0. Up to `longest` empty
    columns are bridged, a longer gap breaks the line.
    """
    parts: list[str] = []
    last_column = last_x = last_y = -1
    filled = np.flatnonzero(np.isfinite(columns.high))
    lows = levels(columns.low[filled], bottom, top, height)
    highs = levels(columns.high[filled], bottom, top, height)
    for column, low, high in zip(filled.tolist(), lows, highs, strict=True):
        # of two, the one nearer to where the line comes from goes first
        ends = [low] if low == high else sorted((low, high), key=lambda y: abs(y - last_y))
        places = (2,) if low == high else (1, 3)
        broken = last_column < 0 or column - last_column - 1 > longest
        for place, y in zip(places, ends, strict=True):
            x = 4 * column + place
            parts.append(f"M{x} {y}" if broken else f"l{x - last_x} {y - last_y}")
            broken = False
            last_x, last_y = x, y
        last_column = column
    return "".join(parts)


def area_path(columns: Columns, top: float, height: int) -> str:
    """SVG path data of a stepped area over zero.

    Each column has first its highest, then its lowest value, each half a column wide; an empty
    column is at zero. Column i spans 2·i to 2·i + 2, so that all numbers are whole.
    """
    y_high = levels(np.nan_to_num(columns.high), 0.0, top, height)
    y_low = levels(np.nan_to_num(columns.low), 0.0, top, height)
    parts = [f"M0 {height}"]
    at, width = height, 0
    for high, low in zip(y_high, y_low, strict=True):
        for y in (high, low):
            if y != at:
                parts.append(f"h{width}v{y - at}" if width else f"v{y - at}")
                at, width = y, 0
            width += 1
    parts.append(f"h{width}V{height}z")
    return "".join(parts)


def levels(values: Floats, bottom: float, top: float, height: int) -> list[int]:
    """The whole y coordinates of values, held inside the drawing."""
    shares = np.clip((values - bottom) / (top - bottom), 0.0, 1.0)
    whole: list[int] = np.round(height * (1.0 - shares)).astype(np.int64).tolist()
    return whole
