"""The sheets of a class folder, written so that the folder's readers give the same values back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from api.folder import pins as pins_file
from api.folder import roster as roster_file
from api.folder import scores as scores_file
from api.folder.sheets import quoted
from api.storage.model import Attendance, Person, Score
from api.storage.moments import with_offset
from reconcile.classes import Pin
from reconcile.durations import format_duration

DECIMALS = 9


def number_text(value: float | None) -> str:
    """A number without an exponent, as short as it is exact to nine decimals; blank for None."""
    if value is None:
        return ""
    return f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".") or "0"


def sheet_of(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows under their headings, with plain line ends; None is blank, no text runs as a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(
        ["" if cell is None else quoted(cell) if isinstance(cell, str) else cell for cell in row]
        for row in rows
    )
    return stream.getvalue()


def roster_sheet(rows: Sequence[tuple[Attendance, Person]]) -> str:
    """Write roster.csv."""
    return sheet_of(
        roster_file.HEADINGS,
        (
            (
                person.handle,
                row.sex,
                row.birth_year,
                number_text(row.mass_kg),
                number_text(row.resting_hr),
                number_text(row.max_hr),
                number_text(row.vo2max),
                format_duration(row.delay_s) if row.delay_s else "",
                row.station,
                with_offset(row.start, row.start_offset_s).isoformat() if row.start else "",
            )
            for row, person in rows
        ),
    )


def score_sheet(rows: Sequence[tuple[Score, str]]) -> str:
    """Write scores.csv."""
    return sheet_of(
        scores_file.HEADINGS,
        (
            (
                handle,
                row.block,
                row.option,
                row.equipment,
                number_text(row.score),
                ";".join(number_text(value) for value in row.rounds or ()),
                number_text(row.load_kg),
                row.notes,
            )
            for row, handle in rows
        ),
    )


def pin_sheet(pins: Sequence[Pin]) -> str:
    """Write pins.csv."""
    return sheet_of(
        pins_file.HEADINGS,
        ((pin.file, pin.block, number_text(pin.start_s), pin.owner) for pin in pins),
    )
