"""The readers, in the order in which they are asked: the surest marks first."""

from __future__ import annotations

from typing import Protocol

from ingest.readers import fit, gpx, table, tcx
from ingest.recording import Format, Recording


class Reader(Protocol):
    """What a reader module has.

    name: the format. endings: file endings that belong to it. `sniff` says from the head bytes
    whether the content is of its format; `read` gives the recording or raises an `IngestError`.
    """

    name: Format
    endings: tuple[str, ...]

    def sniff(self, head: bytes) -> bool:
        """Say whether the content is of this format."""

    def read(self, data: bytes, file: str) -> Recording:
        """Read the whole content."""


READERS: tuple[Reader, ...] = (fit, tcx, gpx, table)
