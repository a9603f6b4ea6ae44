"""What goes in and out about recordings."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import Field

from api.http import Answer

SourceName = Literal["watch", "rower", "ski", "bike", "unknown"]


class RecordingAnswer(Answer):
    """An uploaded file."""

    id: str
    class_id: str
    file: str = Field(description="Its name in the class folder.", examples=["a03.watch.fit"])
    source: SourceName
    athletes: list[str] = Field(description="Who uploaded it, or for whom.")
    sha256: str
    size: int
    received_at: datetime


class RecordingPage(Answer):
    """A page of recordings."""

    items: list[RecordingAnswer]
    next: str | None


class Outcome(Answer):
    """What became of one uploaded file."""

    sent_as: str = Field(description="The name that it was sent with.")
    outcome: Literal["stored", "already there", "refused"]
    recording: RecordingAnswer | None = None
    detail: str = Field(description="One sentence for the athlete.")
    developer: str = Field(description="One sentence with the exact cause.")
    code: str = Field(description="`ok`, or the code of what is wrong.")


class UploadAnswer(Answer):
    """What became of each file, in the order of the request."""

    files: list[Outcome]


class Columns(Answer):
    """Decoded signals; null where a sample has no value, absent where the device had none."""

    name: str
    format: str | None
    start: datetime | None
    problems: list[str]
    columns: dict[str, list[float | None]]


class ColumnsAnswer(Answer):
    """What a recording decodes to: one entry, or one for each member of a zip."""

    readings: list[Columns]
