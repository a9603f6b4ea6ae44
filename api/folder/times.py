"""Times as people write them: ISO 8601 with an offset; without one they are UTC."""

from __future__ import annotations

from datetime import UTC, datetime

from reconcile.errors import UnreadError
from reconcile.sentence import Sentence

HOW_TO_WRITE = Sentence("write date, time and offset, such as 2026-03-09T18:30:00+01:00")
YEARS = range(1990, 2200)


def parse_time(text: str) -> tuple[datetime, bool]:
    """A time, and whether its offset is written.

    Raises UnreadError, which says what is wrong and how to write it.
    """
    try:
        time = datetime.fromisoformat(text)
    except ValueError as error:
        raise UnreadError(Sentence("not a time"), HOW_TO_WRITE) from error
    if len(text) <= len("2026-03-09"):
        raise UnreadError(Sentence("a date without a time"), HOW_TO_WRITE)
    if time.year not in YEARS:
        raise UnreadError(Sentence("not in this century"), HOW_TO_WRITE)
    if time.tzinfo is None:
        return time.replace(tzinfo=UTC), False
    return time, True
