"""What the text formats share: numbers and moments as text."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from ingest.recording import Floats


def number_texts(values: Floats | None, count: int, decimals: int) -> list[str]:
    """Return each value with `decimals` places, "" where it or the whole column is missing."""
    if values is None:
        return [""] * count
    return ["" if value != value else f"{value:.{decimals}f}" for value in values.tolist()]


def clock_text(seconds: float, decimals: int = 0) -> str:
    """Return seconds as m:ss, or h:mm:ss from one hour on."""
    rounded = round(seconds, decimals)
    minutes, rest = divmod(rounded, 60)
    hours, minutes = divmod(int(minutes), 60)
    width = 2 if decimals == 0 else 3 + decimals
    tail = f"{rest:0{width}.{decimals}f}"
    return f"{hours}:{minutes:02d}:{tail}" if hours else f"{minutes}:{tail}"


def moment_texts(
    start: datetime, time_s: Floats, utc_offset_minutes: int = 0, separator: str = "T"
) -> list[str]:
    """Return the ISO 8601 times of the samples, to the millisecond where one is needed."""
    zone = UTC if utc_offset_minutes == 0 else timezone(timedelta(minutes=utc_offset_minutes))
    local = start.astimezone(zone)
    texts = []
    for seconds in time_s.tolist():
        moment = local + timedelta(milliseconds=round(seconds * 1000))
        spec = "milliseconds" if moment.microsecond else "seconds"
        texts.append(moment.isoformat(separator, spec).replace("+00:00", "Z"))
    return texts
