"""Files as they came: what they decode to, what is wrong with them, and what they are called."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from api.folder.recordings import SOURCES
from api.language import deferred
from api.problems import Refused
from ingest.reading import FileReading
from ingest.recording import Problem

KEPT_NAME = re.compile(r"[\w+-][\w.+-]{0,199}", re.ASCII)
ENDING = re.compile(r"\.[A-Za-z0-9]{1,5}(\.gz)?$", re.IGNORECASE)
NAME_DIGITS = 6
NOBODY = "unassigned"

WORDS = {
    "empty": deferred("That file is empty: save the recording again and send the new file."),
    "unknown_format": deferred(
        "That file is not a recording that can be read here: save it as FIT, TCX, GPX or CSV."
    ),
    "damaged": deferred(
        "That file is broken from the start: save the recording again and send that."
    ),
    "no_samples": deferred("Nothing was recorded in that file: is it a plan or a summary?"),
    "too_large": deferred("That file is too large: send the recording of this one class only."),
    "unsafe_markup": deferred(
        "That file holds things that a recording has no need of, so it was not taken."
    ),
    "unsafe_archive": deferred("That zip cannot be opened safely: send the recordings themselves."),
}
OTHER_WORDS = deferred("That file cannot be used: save the recording again and send the new file.")


@dataclass(frozen=True)
class SentFile:
    """A file as it came: the name it was sent with, and its bytes."""

    name: str
    data: bytes


@dataclass(frozen=True)
class ReadFile:
    """A file that came, and what it decodes to."""

    sent: SentFile
    sha256: str
    readings: tuple[FileReading, ...]

    @property
    def usable(self) -> bool:
        """Whether anything in it is a recording."""
        return any(reading.recording is not None for reading in self.readings)


def plain_name(name: str) -> str:
    """The last part of a name, without what does not print."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(c for c in last if c.isprintable()).strip()
    return shown[-200:] or "file"


def fatal_problem(file: ReadFile) -> Problem | None:
    """Why nothing in a file can be used: what there are words for, or the last problem."""
    problems = [problem for reading in file.readings for problem in reading.problems]
    return next((p for p in problems if p.code in WORDS), problems[-1] if problems else None)


def device_of(file: ReadFile) -> str:
    """The kind of device as the first readable recording tells it."""
    devices = [r.recording.device for r in file.readings if r.recording is not None]
    return devices[0] if len(set(devices)) == 1 and devices[0] in SOURCES else "unknown"


def made_name(owners: Sequence[str], source: str, file: ReadFile, taken: set[str]) -> str:
    """A name in the class folder that depends on the contents only, not on who came first."""
    ending = ENDING.search(plain_name(file.sent.name))
    formats = [r.recording.format for r in file.readings if r.recording is not None]
    tail = ending.group(0).lower() if ending else f".{formats[0]}"
    who = "+".join(owners) or NOBODY
    for digits in range(NAME_DIGITS, 16):
        name = f"{who}.{source}.{int(file.sha256[:digits], 16)}{tail}"
        if name not in taken:
            return name
    raise Refused("That file cannot be named here.", code="no_name")
