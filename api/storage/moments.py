"""Points in time in the database: always with an offset, always UTC when they come back."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cache
from typing import Any

from sqlalchemy import DateTime, Dialect
from sqlalchemy.types import TypeDecorator

REGIONS = (
    "Africa/", "America/", "Antarctica/", "Arctic/", "Asia/", "Atlantic/", "Australia/", "Europe/",
    "Indian/", "Pacific/",
)  # fmt: skip


class Moment(TypeDecorator[datetime]):
    """Refuses a datetime without an offset; gives UTC. SQLite itself would drop the offset."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Into the database; raises ValueError for a datetime without an offset."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value.isoformat()} has no offset from UTC")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: Any, _dialect: Dialect) -> datetime | None:
        """Out of the database."""
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def now() -> datetime:
    """This moment, UTC."""
    return datetime.now(UTC)


def offset_s(moment: datetime) -> int:
    """Seconds east of UTC of the clock that the moment was written by."""
    offset = moment.utcoffset()
    return 0 if offset is None else int(offset.total_seconds())


def with_offset(moment: datetime, seconds: int) -> datetime:
    """Give the same moment as a clock shows it that is so many seconds east of UTC."""
    return moment.astimezone(UTC if seconds == 0 else timezone(timedelta(seconds=seconds)))


def time_zone(name: str) -> tzinfo:
    """The time zone of an IANA name; UTC where this machine's list lacks it."""
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        return UTC


@cache
def time_zone_names() -> tuple[str, ...]:
    """Every place by whose clock a gym may go, and UTC; the list's other names are for programs."""
    return ("UTC", *sorted(n for n in zoneinfo.available_timezones() if n.startswith(REGIONS)))
