"""CSV: a table of delimited text with a header, in whatever spelling it was exported.

A sample a row. The header is the first line in which a time and another quantity are recognised
(see `ingest.headings`); lines before it are a preamble. Delimiter, decimal mark, encoding
and the way in which time is written are all taken from the content.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from ingest.cleaning import Samples, recording_from
from ingest.errors import DamagedFileError, NoSamplesError, Place, TooLargeError
from ingest.headings import UNITS, Heading, bare, heading_of, plain_letters
from ingest.limits import (
    MAX_CELL_CHARACTERS,
    MAX_COLUMNS,
    MAX_LINE_CHARACTERS,
    MAX_PREAMBLE_LINES,
    MAX_SAMPLES,
)
from ingest.moments import (
    COMPACT,
    DATE,
    DATE_TIME,
    LEAST_EPOCH,
    Clock,
    clock_of,
    duration_of,
    holds_dates,
    months_as_numbers,
    numbered_month,
)
from ingest.numerals import MISSING, has_decimal_comma, is_number, number_of, numbers_of
from ingest.recording import Device, Floats, Format, Problem, Recording
from ingest.text import shown, text_of

name: Format = "csv"
endings: tuple[str, ...] = (".csv", ".tsv", ".txt")

DELIMITERS = (",", ";", "\t", "|")
CONTROL = re.compile(r"[\x01-\x08\x0e-\x1f\x7f\ufffd]")
LONG_CELL = "(too long)"
"""Stands for a cell that is longer than any value."""

# Rows from which it is judged whether a column holds moments.
MOMENTS_SEEN = 3

SPEED_UNITS = (("m/s", 1.0), ("km/h", 1 / 3.6), ("mph", 0.44704))


@dataclass(frozen=True)
class Header:
    """The header line: where it is, what parts its cells, and what each column holds."""

    line: int
    delimiter: str
    texts: tuple[str, ...]
    headings: tuple[Heading | None, ...]

    @property
    def known(self) -> list[int]:
        """Positions of the columns that hold something that we know."""
        return [at for at, heading in enumerate(self.headings) if heading is not None]


@dataclass(frozen=True)
class Rows:
    """The rows under a header, one list of cells for each known column.

    lines: line number of each row. cut_line: the last line, where it lacks cells.
    """

    columns: dict[int, list[str]]
    lines: list[int]
    cut_line: int | None
    problems: tuple[Problem, ...]


def sniff(head: bytes) -> bool:
    """Whether the head is text in lines of delimited cells, and no markup."""
    text, _ = text_of(head)
    start = text.lstrip()
    if not start or start[0] in "<{[%":
        return False
    if len(CONTROL.findall(text)) > len(text) // 50 or text.count("\0") > len(text) // 2:
        return False
    return any(delimiter in line for line in text.splitlines() for delimiter in DELIMITERS)


def read(data: bytes, file: str) -> Recording:
    """Read a table; unreadable cells are missing values, counted in a problem.

    Raises:
        DamagedFileError: no header is recognised.
        NoSamplesError: there is no row, or none with a time.
        TooLargeError: more columns or rows than a recording may have.
    """
    text, encoding_problems = text_of(data)
    header = find_header(text, file)
    rows = rows_under(header, text, file)
    problems = [*encoding_problems, *rows.problems]
    unknown = [
        cell.strip()
        for cell, heading in zip(header.texts, header.headings, strict=True)
        if heading is None and cell.strip()
    ]
    if unknown:
        names = ", ".join(f"'{shown(cell, 40)}'" for cell in unknown[:20])
        problems.append(
            Problem(
                "unknown_column",
                f"columns that are not recognised were left out (line {header.line}): {names}",
            )
        )
    problems.extend(
        Problem("time_assumed", f"'{shown(text, 40)}' holds dates with times: taken as the time")
        for text, heading in zip(header.texts, header.headings, strict=True)
        if heading is not None and heading.quantity == "time" and heading_of(text) is None
    )
    if not rows.lines:
        raise NoSamplesError(
            "there is no row under the header",
            file=file,
            format=name,
            place=Place(line=header.line),
        )
    comma = decimal_comma(header, rows)
    clock = time_of(header, rows, comma=comma)
    if clock is None:
        raise NoSamplesError(
            "no row has a time that can be read",
            file=file,
            format=name,
            place=Place(line=rows.lines[0]),
            remedy="Export with a column of elapsed seconds, or of date and time as in ISO 8601.",
        )
    problems.extend(clock.problems)
    if not clock.dated:
        clock, found = strung_together(clock, lap_cells(header, rows))
        problems.extend(found)
    channels, found = channels_of(header, rows, clock.seconds, comma=comma)
    problems.extend(found)
    if not channels:
        raise NoSamplesError(
            "no column holds a heart rate, power, cadence, speed, distance or calories",
            file=file,
            format=name,
            place=Place(line=header.line),
        )
    if rows.cut_line is not None:
        problems.append(
            Problem("truncated", f"line {rows.cut_line}, the last, lacks cells; read up to there")
        )
    samples = Samples(
        clock_s=clock.seconds,
        dated=clock.dated,
        channels=channels,
        laps=laps_of(lap_cells(header, rows), clock.seconds),
        device=device_of(header, channels),
        problems=problems,
        place=Place(line=rows.lines[0]),
    )
    return recording_from(samples, format="csv", file=file)


def numbered_lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines with their numbers from 1, whatever ends them."""
    with io.StringIO(text, newline=None) as stream:
        for number, line in enumerate(stream, start=1):
            yield number, line.rstrip("\n")


def cells_of(line: str, delimiter: str) -> list[str]:
    """Cells of one line; a quoted cell ends with its line, so a lost quote harms one row only."""
    if '"' not in line:
        return line.split(delimiter)
    return next(csv.reader([line], delimiter=delimiter), [])


def find_header(text: str, file: str) -> Header:
    """Find the line in which a time and another quantity are recognised.

    Where several do, a summary's above the samples for instance, it is the one with the most
    lines under it.

    Raises:
        DamagedFileError: there is none near the top.
        TooLargeError: it has more columns than a recording may have.
    """
    top = list(islice(numbered_lines(text), MAX_PREAMBLE_LINES + 1))
    found: list[Header] = []
    too_wide: int | None = None
    for number, line in top[:MAX_PREAMBLE_LINES]:
        if len(line) > MAX_LINE_CHARACTERS:
            continue
        headers = [header_in(number, line, delimiter) for delimiter in DELIMITERS]
        best = max(headers, key=lambda header: len(header.known))
        best = with_moments(best, [line for _, line in top[number : number + MOMENTS_SEEN]])
        if max(len(header.texts) for header in headers) > MAX_COLUMNS and not best.known:
            too_wide = too_wide or number
            continue
        if is_header(best) and all(best.texts != one.texts for one in found):
            found.append(best)
    if found:
        ends = [*(header.line for header in found[1:]), text.count("\n") + 2]
        header, _ = max(zip(found, ends, strict=True), key=lambda pair: pair[1] - pair[0].line)
        return with_units(header, next((line for at, line in top if at == header.line + 1), ""))
    if too_wide is not None:
        raise TooLargeError(
            f"its header has more than {MAX_COLUMNS} columns",
            file=file,
            format=name,
            place=Place(line=too_wide),
        )
    number, line = next(((at, line) for at, line in top if line.strip()), (1, ""))
    raise DamagedFileError(
        f"no header names a time and a heart rate, power, cadence, speed, distance or calories; "
        f"the first line is '{shown(line)}'",
        file=file,
        format=name,
        place=Place(line=number),
        remedy="Export with a header, for instance: time_s,heart_rate_bpm,power_w",
    )


def is_header(header: Header) -> bool:
    """Whether a line names a time and another quantity, and holds no value."""
    quantities = {heading.quantity for heading in header.headings if heading}
    if not quantities & {"time", "date"} or quantities <= {"time", "date", "lap"}:
        return False
    cells = [text.strip() for text in header.texts]
    return not any(is_number(cell) or DATE.match(cell) for cell in cells)


def header_in(number: int, line: str, delimiter: str) -> Header:
    """Read a line as a header."""
    texts = tuple(cell[: MAX_CELL_CHARACTERS + 1] for cell in cells_of(line.lstrip("#"), delimiter))
    known = tuple(heading_of(text) for text in texts) if 1 < len(texts) <= MAX_COLUMNS else ()
    return Header(number, delimiter, texts, known or (None,) * len(texts))


def with_moments(header: Header, lines: Sequence[str]) -> Header:
    """Take the first column that holds nothing but dates with times as the time, if none is named.

    lines: those that follow the header. A named time without a date (seconds that have passed)
    stays beside it.
    """
    rows = [cells_of(line, header.delimiter) for line in lines if len(line) <= MAX_LINE_CHARACTERS]
    if not rows or not any(header.headings):
        return header
    named = [
        cell
        for heading, cell in zip(header.headings, rows[0], strict=False)
        if heading is not None and heading.quantity in {"time", "date"}
    ]
    if any(holds_dates(months_as_numbers([cell])) or is_epoch(cell) for cell in named):
        return header
    for at, heading in enumerate(header.headings):
        column = [row[at] for row in rows if at < len(row) and is_moment(row[at])]
        # Beside seconds, one moment for all rows is perhaps when the file was written.
        if heading is None and len(column) == len(rows) and (not named or len({*column}) > 1):
            time = (Heading("time", 1.0, None),)
            headings = (*header.headings[:at], *time, *header.headings[at + 1 :])
            return replace(header, headings=headings)
    return header


def is_epoch(cell: str) -> bool:
    """Whether a cell is a number that counts from 1970."""
    return is_number(cell) and number_of(cell) >= LEAST_EPOCH


def is_moment(cell: str) -> bool:
    """Whether a cell is a date with a time of day."""
    text = numbered_month(cell.strip()) if len(cell) <= MAX_CELL_CHARACTERS else ""
    return DATE_TIME.fullmatch(text) is not None or COMPACT.match(text) is not None


def with_units(header: Header, next_line: str) -> Header:
    """Take the units of a line of units under the header, where there is one."""
    if len(next_line) > MAX_LINE_CHARACTERS:
        return header
    units = [cell[:MAX_CELL_CHARACTERS] for cell in cells_of(next_line, header.delimiter)]
    known = {unit for table in UNITS.values() for unit in table}
    named = [plain_letters(unit).strip("()[] ") for unit in units]
    if len(units) != len(header.texts) or sum(bare(unit) in known for unit in named) < 2:
        return header
    headings = tuple(
        (unit and heading_of(f"{text} ({unit})")) or heading
        for text, unit, heading in zip(header.texts, named, header.headings, strict=True)
    )
    return Header(header.line, header.delimiter, header.texts, headings)


def rows_under(header: Header, text: str, file: str) -> Rows:
    """Cut the rows into cells of the known columns; blank lines and remarks are no rows.

    Raises:
        TooLargeError: there are more than `MAX_SAMPLES` rows.
    """
    width = len(header.texts)
    wanted = header.known
    columns: dict[int, list[str]] = {at: [] for at in wanted}
    lines: list[int] = []
    long_lines: list[int] = []
    repeated: list[int] = []
    widths: list[int] = []
    for number, line in numbered_lines(text):
        if number <= header.line or not line.strip() or line.startswith("#"):
            continue
        if len(line) > MAX_LINE_CHARACTERS:
            long_lines.append(number)
            continue
        cells = cells_of(line, header.delimiter)
        if is_heading_line(cells, header):
            if lines:
                repeated.append(number)
            continue
        widths.append(len(cells))
        cells += [""] * (width - len(cells))
        for at in wanted:
            cell = cells[at]
            columns[at].append(cell if len(cell) <= MAX_CELL_CHARACTERS else LONG_CELL)
        lines.append(number)
        if len(lines) > MAX_SAMPLES:
            raise TooLargeError(
                f"it has more than {MAX_SAMPLES} rows",
                file=file,
                format=name,
                place=Place(line=number),
            )
    # a heading without cells, after the last comma for instance, makes no row a short one
    usual = min(width, Counter(widths[:-1] or [width]).most_common(1)[0][0])
    short = [line for line, cells in zip(lines, widths, strict=True) if cells < usual]
    cut_line = None
    if short and short[-1] == lines[-1]:
        cut_line = short.pop()
        # its last cell may have lost its end
        for at in wanted:
            if at >= widths[-1] - 1:
                columns[at][-1] = ""
        if all(not columns[at][-1].strip() for at in wanted):
            lines.pop()
            for at in wanted:
                columns[at].pop()
    found = (
        ("long_line", "lines longer than a row can be were left out", long_lines),
        ("repeated_header", "lines repeat the header and were left out", repeated),
        ("short_row", "rows lack cells, which count as missing", short),
    )
    return Rows(
        columns=columns,
        lines=lines,
        cut_line=cut_line,
        problems=tuple(
            Problem(code, f"{len(where)} {what}, the first in line {where[0]}")
            for code, what, where in found
            if where
        ),
    )


def is_heading_line(cells: Sequence[str], header: Header) -> bool:
    """Whether a line is the header again, or names units under it: words and no number."""
    filled = [cell[:MAX_CELL_CHARACTERS] for cell in cells if cell.strip()]
    if len(cells) != len(header.texts) or not filled or cells[0][:1].isdigit():
        return False
    if tuple(cells) == header.texts:
        return True
    known = {unit for table in UNITS.values() for unit in table}
    units = [bare(plain_letters(cell)) in known for cell in filled]
    return sum(units) >= 2 and not any(map(is_number, filled))


def decimal_comma(header: Header, rows: Rows) -> bool:
    """Whether the table writes `12,5`: some cell does, and commas do not part its cells."""
    if header.delimiter == ",":
        return False
    return any(
        "," in cell and has_decimal_comma(cell) for cells in rows.columns.values() for cell in cells
    )


def seconds_of(cells: Iterable[str], heading: Heading, *, comma: bool) -> tuple[Floats, list[int]]:
    """Paces of a column in seconds, written as m:ss or as a number."""
    values: list[float] = []
    bad: list[int] = []
    in_minutes = heading.unit is not None and heading.unit.startswith("min")
    for at, cell in enumerate(cells):
        try:
            if ":" in cell and cell.strip() not in MISSING:
                values.append(duration_of(cell))
            else:
                values.append(number_of(cell, comma=comma) * (60.0 if in_minutes else 1.0))
        except ValueError:
            values.append(float("nan"))
            bad.append(at)
    return np.array(values, dtype=np.float64), bad


def time_of(header: Header, rows: Rows, *, comma: bool) -> Clock | None:
    """Time of each row: absolute where any column has it, else elapsed."""
    times = [
        (heading, rows.columns[at])
        for at, heading in enumerate(header.headings)
        if heading is not None and heading.quantity in {"time", "date"}
    ]
    return clock_of(times, comma=comma)


def channels_of(
    header: Header, rows: Rows, clock_s: Floats, *, comma: bool
) -> tuple[dict[str, Floats], list[Problem]]:
    """Every quantity in its unit; a column of plain values goes before one of averages."""
    channels: dict[str, Floats] = {}
    problems: list[Problem] = []
    columns = [
        (heading, at)
        for at, heading in enumerate(header.headings)
        if heading is not None and heading.quantity not in {"time", "date", "lap"}
    ]
    # speed goes before pace, a plain column before an averaged one
    columns.sort(key=lambda one: (one[0].quantity == "pace", one[0].averaged, one[1]))
    unitless_speed = False
    for heading, at in columns:
        channel = "speed_m_s" if heading.quantity == "pace" else heading.quantity
        if heading.quantity == "pace":
            seconds, bad = seconds_of(rows.columns[at], heading, comma=comma)
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.where(seconds > 0, heading.factor / seconds, np.nan)
            values[seconds == 0] = 0.0
        else:
            values, bad = numbers_of(rows.columns[at], comma=comma)
            values = values * heading.factor
            if heading.counted:
                values = np.nancumsum(values)
        if bad:
            problems.append(
                Problem(
                    "bad_value",
                    f"{len(bad)} cells of '{shown(header.texts[at])}' are no values, "
                    f"the first in line {rows.lines[bad[0]]}",
                )
            )
        if channel not in channels:
            channels[channel] = values
            unitless_speed |= heading.quantity == "speed_m_s" and heading.unit is None
    if unitless_speed and "distance_m" in channels:
        unit, factor = speed_unit(channels["speed_m_s"], channels["distance_m"], clock_s)
        channels["speed_m_s"] *= factor
        problems.append(
            Problem("unit_assumed", f"the speed has no unit; it fits the distance in {unit}")
        )
    return channels, problems


# A step of more than so many usual ones is a pause.
LONGEST_STEPS = 5.0
# No recording covers more: beyond it a column holds something else.
FARTHEST_M = 1e9


def speed_unit(speed: Floats, distance_m: Floats, clock_s: Floats) -> tuple[str, float]:
    """Give the unit in which a column of speeds agrees best with the distance covered.

    Pauses are left out: the speed after one does not tell of the time that passed in it.
    """
    steps = np.diff(clock_s)
    covered = np.diff(distance_m)
    known = np.isfinite(steps) & np.isfinite(covered) & np.isfinite(speed[1:]) & (steps > 0)
    if known.any():
        known &= steps <= LONGEST_STEPS * float(np.median(steps[known]))
    with np.errstate(over="ignore", invalid="ignore"):  # a cell may hold any number
        told = float(np.sum(speed[1:][known] * steps[known]))
        metres = float(covered[known].sum())
    if not (0 < told < FARTHEST_M and 0 < metres < FARTHEST_M):
        return SPEED_UNITS[0]
    return min(SPEED_UNITS, key=lambda unit: abs(np.log(metres / (told * unit[1]))))


def lap_cells(header: Header, rows: Rows) -> list[str] | None:
    """Cells of the lap column; None where there is none."""
    for at, heading in enumerate(header.headings):
        if heading is not None and heading.quantity == "lap":
            return [cell.strip() for cell in rows.columns[at]]
    return None


def strung_together(clock: Clock, laps: list[str] | None) -> tuple[Clock, list[Problem]]:
    """Let an elapsed time that starts again with each lap run on; what lay between is not known."""
    known = np.flatnonzero(np.isfinite(clock.seconds))
    if laps is None or len(known) < 2:
        return clock, []
    seconds, cells = clock.seconds[known], np.array(laps)[known]
    steps = np.diff(seconds)
    restarts = (steps < 0) & (cells[1:] != cells[:-1])
    if not restarts.any():
        return clock, []
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    onward = clock.seconds.copy()
    onward[known[1:]] += np.cumsum(np.where(restarts, usual - steps, 0.0))
    return Clock(onward, dated=False, problems=clock.problems), [
        Problem(
            "time_restarts",
            f"the time starts again with {int(restarts.sum())} laps; they were strung together",
        )
    ]


def laps_of(cells: list[str] | None, clock_s: Floats) -> list[tuple[float, float, int | None]]:
    """A lap for each run of rows with the same value in the lap column."""
    if cells is None:
        return []
    timed = np.flatnonzero(np.isfinite(clock_s))
    values, times = np.array(cells)[timed], clock_s[timed]
    turns = np.flatnonzero(values[1:] != values[:-1]) + 1
    if not len(turns):
        return []
    starts = np.concatenate([[0], turns])
    ends = np.concatenate([turns, [len(times) - 1]])
    return [
        (float(times[start]), float(times[end]), None)
        for start, end in zip(starts, ends, strict=True)
        if values[start] and times[end] >= times[start]
    ]


def device_of(header: Header, channels: dict[str, Floats]) -> Device:
    """Kind of device as far as the columns tell it: a heart rate alone is a watch's.

    Revolutions are a bike's, though some write rpm for strokes: where speed stands beside power,
    the law that joins them tells the machine better than that word.
    """
    if set(channels) == {"heart_rate_bpm"}:
        return "watch"
    turning = any(
        heading is not None and heading.quantity == "cadence_per_min" and heading.unit == "rpm"
        for heading in header.headings
    )
    moved = {"speed_m_s", "distance_m"} & channels.keys()
    return "bike" if turning and "power_w" in channels and not moved else "unknown"
