"""Structured logs: one JSON object a line, with routes and never addresses, names or contents."""

from __future__ import annotations

import json
import logging
import re
import sys
from datetime import UTC, datetime
from typing import Any

# What a log may say of a request or a run; everything else that is passed along is left out.
FIELDS = ("route", "method", "status", "ms", "request", "class_id", "outcome", "seconds", "files")
# Long runs of letters and digits are identifiers, hashes, tokens; anything around an @ is a mail.
SECRETS = re.compile(r"[\w.+-]+@[\w.-]+|(?=[\w-]*\d)[\w-]{24,}")


def redacted(text: str) -> str:
    """Give the text without mail addresses, tokens, hashes and identifiers."""
    return SECRETS.sub("[left out]", text)


class LineFormatter(logging.Formatter):
    """A record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Give the line; of an exception the kinds and places, not the values."""
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": redacted(record.getMessage()),
        }
        line |= {name: record.__dict__[name] for name in FIELDS if name in record.__dict__}
        if record.exc_info and record.exc_info[0] is not None:
            line["exception"] = record.exc_info[0].__name__
            line["where"] = places(record.exc_info[2])
        return json.dumps(line, ensure_ascii=False, default=str)


def places(traceback: Any) -> list[str]:
    """Where an exception passed: module and line, innermost last."""
    found = []
    while traceback is not None:
        frame = traceback.tb_frame
        found.append(f"{frame.f_globals.get('__name__', '?')}:{traceback.tb_lineno}")
        traceback = traceback.tb_next
    return found


def set_up(level: str) -> None:
    """Send every log to standard error, as lines of JSON."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LineFormatter())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access", "procrastinate", "alembic"):
        logger = logging.getLogger(name)
        logger.handlers[:] = []
        logger.propagate = True
        logger.setLevel("WARNING")
