"""What can be wrong with a file, as one family of errors.

    IngestError                   everything below
    ├── UnreadableFileError       nothing usable is left in it
    │   ├── EmptyFileError        `empty`: no bytes at all
    │   ├── UnknownFormatError    `unknown_format`: no reader recognises its content
    │   ├── DamagedFileError      `damaged`: it breaks before the first sample
    │   └── NoSamplesError        `no_samples`: sound, but it holds no timed sample
    └── RefusedFileError          it asks for more than a recording may
        ├── TooLargeError         `too_large`: over a limit of `ingest.limits`
        ├── UnsafeMarkupError     `unsafe_markup`: entities, document types, outside references
        └── UnsafeArchiveError    `unsafe_archive`: encrypted, nested, or cannot be opened

Readers raise these; `ingest.read_file` turns them into a `Problem` of the same code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from ingest.recording import Problem
from ingest.text import shown


@dataclass(frozen=True)
class Place:
    """Where in a file something is wrong; what is not known is None.

    offset: bytes from the start of the file. line, column: from 1.
    """

    offset: int | None = None
    line: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        parts = [
            f"{word} {value}"
            for word, value in (
                ("byte", self.offset),
                ("line", self.line),
                ("column", self.column),
            )
            if value is not None
        ]
        return ", ".join(parts)


NOWHERE = Place()


class IngestError(Exception):
    """A file that could not be read: what is wrong, where, and what to do.

    Args:
        what: one clause that says what is wrong.
        file: the name that the file was given with.
        format: the format that it was read as, None where none was recognised.
        place: where in the file.
        remedy: one sentence for the person who has the file; the class's own where left out.
    """

    code: ClassVar[str] = "unreadable"
    remedy: ClassVar[str] = "Export the recording again and upload the new file."

    def __init__(
        self,
        what: str,
        *,
        file: str,
        format: str | None = None,  # noqa: A002  the contract's own word
        place: Place = NOWHERE,
        remedy: str | None = None,
    ) -> None:
        self.what = what
        self.file = file
        self.format = format
        self.place = place
        self.remedy_text = remedy or self.remedy
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """File, format, place, what is wrong and what to do, in that order."""
        where = ", ".join(part for part in (self.format, str(self.place)) if part)
        name = shown(self.file, 200)
        head = f"{name} ({where})" if where else name
        return f"{head}: {self.what}. {self.remedy_text}"

    def as_problem(self) -> Problem:
        """Give the same as a problem of the recording."""
        return Problem(self.code, self.message)


class UnreadableFileError(IngestError):
    """Nothing usable is left in the file."""


class EmptyFileError(UnreadableFileError):
    """The file has no bytes."""

    code = "empty"


class UnknownFormatError(UnreadableFileError):
    """No reader recognises the content."""

    code = "unknown_format"
    remedy = "Export the recording as FIT, TCX, GPX or CSV with a header."


class DamagedFileError(UnreadableFileError):
    """The file breaks before its first sample."""

    code = "damaged"


class NoSamplesError(UnreadableFileError):
    """The file is sound as far as it goes and holds no timed sample."""

    code = "no_samples"
    remedy = "Check that it is the recording itself, not a plan, a route or a summary."


class RefusedFileError(IngestError):
    """The file asks for more than a recording may."""


class TooLargeError(RefusedFileError):
    """The file is over one of the limits in `ingest.limits`."""

    code = "too_large"
    remedy = "Upload the recording of this one class only."


class UnsafeMarkupError(RefusedFileError):
    """XML with entities, a document type or references to the outside."""

    code = "unsafe_markup"


class UnsafeArchiveError(RefusedFileError):
    """An archive that is encrypted, nested, or cannot be opened safely."""

    code = "unsafe_archive"
    remedy = "Upload the recordings themselves, or a plain zip of them without a password."
