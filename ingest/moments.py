"""When each row of a table was recorded: dates, times of day, epochs and elapsed times."""

from __future__ import annotations

import re
from calendar import month_abbr
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from ingest.headings import Heading
from ingest.numerals import number_of
from ingest.recording import Floats, Problem
from ingest.text import shown

DURATION = re.compile(r"(?:(\d{1,4}):)?(\d{1,4}):(\d{1,2}(?:[.,]\d*)?)")
TIME_OF_DAY = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d*)?))?\s*(?:([ap])\.?m\.?)?", re.IGNORECASE
)
HALF_OF_DAY = re.compile(r"[ap]\.?m\.?$", re.IGNORECASE)
DATE = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})\.?")
DATE_TIME = re.compile(DATE.pattern + r"(?:T|,?\s+)(\d.*)")
COMPACT = re.compile(r"\d{8}T\d{4}")
MONTHS = {month.lower(): number for number, month in enumerate(month_abbr) if month}
NAMED_MONTH = re.compile(
    r"(?:[a-z]+,\s*)?(?:(\d{1,2})[\s./-]+([a-z]{3,9})\.?|([a-z]{3,9})\.?\s+(\d{1,2}))"
    r"[\s,./-]+(\d{4})\b,?",
    re.IGNORECASE,
)
ZONE = re.compile(r"\s*(Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)$", re.IGNORECASE)

NO_TIMEZONE = Problem("no_timezone", "the times have no offset from UTC and were taken as UTC")

EPOCH_SCALES = ((1e17, 1e-9), (1e14, 1e-6), (1e11, 1e-3), (1e8, 1.0))
"""Numbers this large count from 1970: nanoseconds, microseconds, milliseconds, seconds."""

LEAST_EPOCH = EPOCH_SCALES[-1][0]
DAY_S, FIRST_HOUR_S = 86_400.0, 3600.0


@dataclass(frozen=True)
class Clock:
    """Seconds of each row, NaN where it has none; since 1970-01-01 UTC where `dated`."""

    seconds: Floats
    dated: bool
    problems: tuple[Problem, ...] = ()


def clock_of(columns: Sequence[tuple[Heading, Sequence[str]]], *, comma: bool) -> Clock | None:
    """Give the rows' clock from all columns of times and dates.

    A date beats a running time; where an elapsed time beside it is finer and agrees, it gives the
    fractions. A date that never changes is when the session began, or only its day. None where no
    column can be read.
    """
    days: Clock | None = None
    dated: Clock | None = None
    unsure: tuple[Problem, ...] = ()
    elapsed: Clock | None = None
    for heading, written in columns:
        cells = months_as_numbers(written)
        clock = moments(cells) if holds_dates(cells) else None
        if clock is not None:
            if not clock.dated:
                unsure = clock.problems
            if is_whole_days(cells):
                days = days or clock
            elif clock.dated:
                dated = dated or clock
            else:
                elapsed = elapsed or clock
            continue
        clock = numbers_or_durations(heading, cells, comma=comma)
        if clock is None:
            continue
        if clock.dated:
            dated = dated or clock
        else:
            elapsed = elapsed or clock
    if dated is None and days is not None and elapsed is not None and is_time_of_day(elapsed):
        together = days.seconds + np.mod(elapsed.seconds, DAY_S)
        return Clock(together, dated=days.dated, problems=days.problems)
    if dated is not None and elapsed is not None:
        return since(dated, elapsed) or finer(dated, elapsed)
    clock = dated or elapsed
    return None if clock is None else replace(clock, problems=clock.problems or unsure)


def finer(dated: Clock, elapsed: Clock) -> Clock:
    """Take the fractions of an elapsed time that agrees with the date's whole seconds."""
    both = np.isfinite(dated.seconds) & np.isfinite(elapsed.seconds)
    if not both.any() or not both[np.isfinite(dated.seconds)].all():
        return dated
    first = int(np.flatnonzero(both)[0])
    moved = dated.seconds[first] + elapsed.seconds - elapsed.seconds[first]
    whole = bool((np.mod(dated.seconds[both], 1) == 0).all())
    if whole and bool((np.abs(moved[both] - dated.seconds[both]) <= 1.0).all()):
        return Clock(moved, dated=True, problems=dated.problems)
    return dated


def since(dated: Clock, elapsed: Clock) -> Clock | None:
    """The moments of an elapsed time, where the date beside it is one and the same for all rows."""
    began = np.unique(dated.seconds[np.isfinite(dated.seconds)])
    passed = np.unique(elapsed.seconds[np.isfinite(elapsed.seconds)])
    if len(began) != 1 or len(passed) < 2:
        return None
    return Clock(began[0] + elapsed.seconds, dated=True, problems=dated.problems)


def is_time_of_day(clock: Clock) -> bool:
    """Whether the times are those of a clock on a day: no session begins in its first hour."""
    known = clock.seconds[np.isfinite(clock.seconds)]
    if len(known) == 0 or known[0] < FIRST_HOUR_S:
        return False
    return bool((known >= 0).all() and (known < 2 * DAY_S).all())


def first_filled(cells: Sequence[str]) -> str:
    """Give the first cell with something in it."""
    return next((cell.strip() for cell in cells if cell.strip()), "")


def months_as_numbers(cells: Sequence[str]) -> Sequence[str]:
    """Dates with an English month's name (RFC 5322: `Sun, 9 Mar 2025 06:12:03`) as numbers."""
    if NAMED_MONTH.match(first_filled(cells)) is None:
        return cells
    return [numbered_month(cell.strip()) for cell in cells]


def numbered_month(text: str) -> str:
    """One date with its month as a number; as it stands where it names none."""
    found = NAMED_MONTH.match(text)
    month = 0 if found is None else MONTHS.get((found[2] or found[3])[:3].lower(), 0)
    if found is None or not month:
        return text
    day, rest = int(found[1] or found[4]), text[found.end() :]
    return f"{found[5]}-{month:02}-{day:02}{rest}"


def holds_dates(cells: Sequence[str]) -> bool:
    """Whether a column's first cells are dates."""
    filled = [cell.strip() for cell in cells[:200] if cell.strip()][:20]
    looks = sum(bool(DATE.match(cell) or COMPACT.match(cell)) and len(cell) >= 8 for cell in filled)
    return looks > len(filled) / 2


def is_whole_days(cells: Sequence[str]) -> bool:
    """Whether a column holds dates without a time of day."""
    return DATE.fullmatch(first_filled(cells)) is not None


def numbers_or_durations(heading: Heading, cells: Sequence[str], *, comma: bool) -> Clock | None:
    """A running time written as seconds, milliseconds, m:ss or h:mm:ss, or an epoch."""
    written = ":" in first_filled(cells)
    values: list[float] = []
    for cell in cells:
        try:
            if not written:
                values.append(number_of(cell, comma=comma))
            elif HALF_OF_DAY.search(cell):
                values.append(time_of_day(cell))
            else:
                values.append(duration_of(cell))
        except ValueError:
            values.append(float("nan"))
    seconds = np.array(values, dtype=np.float64)
    known = np.isfinite(seconds)
    if not known.any():
        return None
    if written:
        return Clock(over_midnight(seconds), dated=False)
    typical = float(np.median(seconds[known]))
    for least, scale in EPOCH_SCALES:
        if typical >= least:
            return Clock(seconds * scale, dated=True)
    return Clock(seconds * heading.factor, dated=False)


def over_midnight(seconds: Floats) -> Floats:
    """Times of day that run on into the next day."""
    known = np.flatnonzero(np.isfinite(seconds))
    turns = np.concatenate([[0], np.cumsum(np.diff(seconds[known]) < -DAY_S / 2)])
    onward = seconds.copy()
    onward[known] += turns * DAY_S
    return onward


def duration_of(text: str) -> float:
    """Seconds of m:ss or h:mm:ss, with or without fractions.

    Raises:
        ValueError: it is written otherwise.
    """
    found = DURATION.fullmatch(text.strip())
    if found is None:
        raise ValueError(text)
    hours, minutes, seconds = found.groups()
    return int(hours or 0) * 3600.0 + int(minutes) * 60.0 + float(seconds.replace(",", "."))


def time_of_day(text: str) -> float:
    """Seconds since midnight of h:mm or h:mm:ss, with or without am or pm.

    Raises:
        ValueError: it is written otherwise, or is no time of day.
    """
    found = TIME_OF_DAY.fullmatch(text.strip())
    if found is None:
        raise ValueError(text)
    hour, minute, second = int(found[1]), int(found[2]), float((found[3] or "0").replace(",", "."))
    if found[4]:
        hour = hour % 12 + (12 if found[4].lower() == "p" else 0)
    if hour > 23 or minute > 59 or second >= 60:
        raise ValueError(text)
    return hour * 3600.0 + minute * 60.0 + second


def epochs(moments: Iterable[datetime | None]) -> tuple[Floats, list[Problem]]:
    """Seconds since 1970, NaN where there is no moment; one without an offset is taken as UTC."""
    naive = False
    seconds: list[float] = []
    for moment in moments:
        if moment is None:
            seconds.append(float("nan"))
            continue
        naive |= moment.tzinfo is None
        seconds.append((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp())
    return np.array(seconds, dtype=np.float64), [NO_TIMEZONE] if naive else []


def moments(cells: Sequence[str]) -> Clock | None:
    """A column of dates with or without a time of day; None where none can be read.

    A date that could be day-month or month-day is not guessed at: then only the time of day is
    used, and a problem says so.
    """
    texts = [cell.strip() for cell in cells]
    order, certain = date_order(texts)
    seconds, problems = epochs(moment_of(text, order) for text in texts)
    if not np.isfinite(seconds).any():
        return None
    if not certain:
        what = f"'{shown(first_filled(cells), 30)}' may be day and month or month and day"
        problems = [Problem("ambiguous_date", f"{what}; the date was left out")]
    return Clock(seconds, dated=certain, problems=tuple(problems))


def date_order(cells: Sequence[str]) -> tuple[str, bool]:
    """Order of year, month and day, and whether it is beyond doubt."""
    found = [match for match in map(DATE.match, cells) if match]
    if not found or len(found[0][1]) == 4:
        return "ymd", True
    if found[0][2] == ".":
        return "dmy", True
    firsts = max(int(match[1]) for match in found)
    seconds = max(int(match[3]) for match in found)
    if firsts > 12:
        return "dmy", True
    if seconds > 12:
        return "mdy", True
    return "dmy", firsts == seconds


def iso_moment(text: str) -> datetime | None:
    """One moment as ISO 8601 has it; None where it is written otherwise."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def moment_of(text: str, order: str) -> datetime | None:
    """One date, with its time of day where it has one; None where it cannot be read."""
    moment = iso_moment(text) if order == "ymd" else None
    if moment is not None:
        return moment
    found = DATE_TIME.fullmatch(text) or DATE.fullmatch(text)
    if found is None:
        return None
    parts = {letter: int(part) for letter, part in zip(order, found.group(1, 3, 4), strict=True)}
    year = parts["y"] + (2000 if parts["y"] < 100 else 0)
    rest = found[5] if found.re is DATE_TIME else "0:00"
    zone = ZONE.search(rest)
    offset = ""
    if zone:
        rest = rest[: zone.start()]
        offset = "+00:00" if zone[1].upper() in {"Z", "UTC", "GMT"} else zone[1]
    try:
        midnight = datetime.fromisoformat(
            f"{year:04}-{parts['m']:02}-{parts['d']:02}T00:00{offset}"
        )
        return midnight + timedelta(seconds=time_of_day(rest))
    except (ValueError, OverflowError):
        return None
