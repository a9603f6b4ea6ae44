"""Durations as a coach writes them (`45s`, `2m`, `2m30s`, `1h5m`) and as seconds."""

from __future__ import annotations

import re

from reconcile.errors import UnreadError
from reconcile.sentence import Sentence

HOW_TO_WRITE = Sentence("write a duration with its units, such as 45s, 2m, 2m30s or 1h5m")
HOW_TO_WRITE_A_RANGE = Sentence("write a range of two durations, such as 45s..70s or 4m..7m")

PARTS = re.compile(r"(?:(\d{1,6})h)?(?:(\d{1,6})m)?(?:(\d{1,6})s)?", re.ASCII)
CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2})", re.ASCII)


def parse_duration(text: str) -> float:
    """Seconds of a duration such as `2m30s`.

    Raises UnreadError, which says what is wrong and how to write it.
    """
    match = PARTS.fullmatch(text)
    if match is None or not text:
        raise UnreadError(what_it_looks_like(text), HOW_TO_WRITE)
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return float(3600 * hours + 60 * minutes + seconds)


def parse_range(text: str) -> tuple[float, float]:
    """Seconds of the two ends of a range such as `4m..7m`.

    Raises UnreadError, which says what is wrong and how to write it.
    """
    low, dots, high = text.partition("..")
    if not dots:
        raise UnreadError(Sentence("not a range"), HOW_TO_WRITE_A_RANGE)
    low_s, high_s = parse_duration(low.strip()), parse_duration(high.strip())
    if low_s > high_s:
        raise UnreadError(
            Sentence("a range that runs backwards"),
            Sentence("write the shorter duration first"),
        )
    return low_s, high_s


def format_duration(seconds: float) -> str:
    """A duration as a coach writes it, to the whole second: 150 is `2m30s`."""
    whole = round(abs(seconds))
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    parts = [
        f"{hours}h" if hours else "",
        f"{minutes}m" if minutes else "",
        f"{rest}s" if rest else "",
    ]
    return ("-" if seconds < 0 and whole else "") + ("".join(parts) or "0s")


def what_it_looks_like(text: str) -> str:
    """Name what stands in place of a duration, with the likely one where there is one."""
    if re.fullmatch(r"\d+([.,]\d+)?", text, re.ASCII):
        return Sentence("a bare number, which could be seconds or minutes")
    clock = CLOCK.fullmatch(text)
    if clock:
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        likely = format_duration(3600 * hours + 60 * minutes + seconds)
        return Sentence("a time of day rather than a duration (is {likely} meant?)", likely=likely)
    return Sentence("not a duration")
