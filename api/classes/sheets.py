"""Sheets that are sent and given as CSV."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body

from api.folder.files import decode
from api.problems import Refused

SheetBody = Annotated[
    bytes,
    Body(media_type="text/csv", description="A sheet with a first line of headings (CSV)."),
]
CSV_ANSWER: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/csv": {}}, "description": "A sheet (CSV)"}
}
MOST_SHEET_BYTES = 2**20


def sheet_text(data: bytes) -> str:
    """Read a sheet's bytes as text; raises Refused for more than a sheet may hold."""
    if len(data) > MOST_SHEET_BYTES:
        raise Refused("The sheet is too large.", code="too_large")
    text = decode(data)
    if "\x00" in text:
        raise Refused("That is not a sheet: save it as CSV.", code="not_text")
    return text
