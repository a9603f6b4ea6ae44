"""Write a `Recording` as a table of delimited text (CSV) in many spellings."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from ingest.recording import Floats, Recording
from ingest.writers.columns import clock_text, moment_texts, number_texts

Quantity = Literal[
    "time", "heart_rate", "power", "cadence", "speed", "pace", "distance", "calories"
]

HEADERS: dict[Quantity, str] = {
    "time": "time",
    "heart_rate": "heart_rate_bpm",
    "power": "power_w",
    "cadence": "cadence_per_min",
    "speed": "speed_m_s",
    "pace": "pace_per_500m",
    "distance": "distance_m",
    "calories": "calories",
}


@dataclass(frozen=True)
class TableOptions:
    """How to lay a recording out as a table.

    time: "iso" (with an offset), "elapsed" (seconds) or "clock" (m:ss); the last two drop the
    date. time_decimals: places of elapsed and clock times. utc_offset_minutes: of ISO times.
    iso_separator: between date and time of day. pace_metres: pace per so many metres, as m:ss.s,
    in place of speed. headers: names to use in place of `HEADERS`. decimals: places of speed
    and distance.
    """

    delimiter: str = ","
    decimal_comma: bool = False
    byte_order_mark: bool = False
    line_end: Literal["\n", "\r\n"] = "\n"
    time: Literal["iso", "elapsed", "clock"] = "iso"
    time_decimals: int = 0
    utc_offset_minutes: int = 0
    iso_separator: str = "T"
    pace_metres: int | None = None
    headers: Mapping[Quantity, str] = field(default_factory=dict)
    decimals: int = 2


def pace_texts(speed_m_s: Floats, metres: int) -> list[str]:
    """Return the time for so many metres as m:ss.s, "" where the speed is missing or 0."""
    return [clock_text(metres / speed, 1) if speed > 0 else "" for speed in speed_m_s.tolist()]


def write_csv(recording: Recording, options: TableOptions | None = None) -> bytes:
    """Return the recording as a table with a header: a sample a row, a missing value an empty cell.

    Raises ValueError where ISO times are asked for and the recording has no date, or where the
    delimiter is also the decimal mark.
    """
    options = options or TableOptions()
    if options.decimal_comma and options.delimiter == ",":
        raise ValueError("a comma cannot part both cells and decimals; choose another delimiter")
    count = recording.time_s.size
    if options.time == "iso":
        if recording.start is None:
            raise ValueError("ISO times need a date; write elapsed times instead")
        times = moment_texts(
            recording.start, recording.time_s, options.utc_offset_minutes, options.iso_separator
        )
    elif options.time == "elapsed":
        times = number_texts(recording.time_s, count, options.time_decimals)
    else:
        times = [clock_text(t, options.time_decimals) for t in recording.time_s.tolist()]

    columns: list[tuple[Quantity, list[str]]] = [("time", times)]
    plain: tuple[tuple[Quantity, Floats | None, int], ...] = (
        ("heart_rate", recording.heart_rate_bpm, 0),
        ("power", recording.power_w, 0),
        ("cadence", recording.cadence_per_min, 0),
        ("distance", recording.distance_m, options.decimals),
        ("calories", recording.calories, 0),
    )
    columns += [
        (name, number_texts(values, count, places))
        for name, values, places in plain
        if values is not None
    ]
    if recording.speed_m_s is not None:
        if options.pace_metres is None:
            columns.append(("speed", number_texts(recording.speed_m_s, count, options.decimals)))
        else:
            columns.append(("pace", pace_texts(recording.speed_m_s, options.pace_metres)))

    if options.decimal_comma:
        columns = [
            (
                name,
                texts
                if name == "time" and options.time == "iso"
                else [text.replace(".", ",") for text in texts],
            )
            for name, texts in columns
        ]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=options.delimiter, lineterminator=options.line_end)
    writer.writerow([options.headers.get(name, HEADERS[name]) for name, _ in columns])
    writer.writerows(zip(*(texts for _, texts in columns), strict=True))
    return text.getvalue().encode("utf-8-sig" if options.byte_order_mark else "utf-8")
