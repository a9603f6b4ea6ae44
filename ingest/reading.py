"""Every way in: the bytes of an upload to the recordings in it."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Protocol

from ingest.archive import is_zip, members
from ingest.errors import (
    DamagedFileError,
    EmptyFileError,
    IngestError,
    Place,
    TooLargeError,
    UnknownFormatError,
)
from ingest.limits import HEAD_BYTES, MAX_FILE_BYTES, MAX_GZIP_MEMBERS
from ingest.readers import READERS, Reader
from ingest.recording import Problem, Recording
from ingest.text import shown

GZIP_MARK = b"\x1f\x8b"
GZIP_STEP_BYTES = 1024


@dataclass(frozen=True)
class FileReading:
    """One file of an upload: its recording, or why there is none.

    name: as given, `<name>/<member>` for a zip's members.
    problems: everything found wrong, the recording's own included; never empty where
        `recording` is None.
    """

    name: str
    recording: Recording | None
    problems: tuple[Problem, ...]


class Inflater(Protocol):
    """The one thing that is asked of zlib's decompression objects here."""

    def decompress(self, data: bytes, /) -> bytes:
        """Inflate some bytes more."""


def read_file(data: bytes, name: str) -> tuple[FileReading, ...]:
    """Read an uploaded file: one reading, or one for each member of a zip.

    The content decides the format; a name that says otherwise is a problem. Whatever the bytes
    are, this gives readings and raises nothing.

    Args:
        data: the file's bytes, gzipped or not.
        name: its name, used for messages and to tell a wrong ending.
    """
    if not is_zip(data[:HEAD_BYTES]):
        return (read_one(data, name),)
    problems = ending_problems(name, (".zip",), "a zip")
    readings: list[FileReading] = []
    try:
        for member in members(data, name):
            member_name = f"{name}/{member.name}"
            if isinstance(member.content, bytes):
                reading = read_one(member.content, member_name)
            else:
                reading = FileReading(member_name, None, (member.content.as_problem(),))
            readings.append(with_problems(reading, (*problems, *member.problems)))
    except IngestError as error:
        return (FileReading(name, None, (*problems, error.as_problem())),)
    return tuple(readings)


def with_problems(reading: FileReading, problems: tuple[Problem, ...]) -> FileReading:
    """Put problems of the archive before those of a member."""
    if not problems:
        return reading
    together = (*problems, *reading.problems)
    recording = reading.recording
    if recording is not None:
        recording = replace(recording, problems=together)
    return FileReading(reading.name, recording, together)


def read_one(data: bytes, name: str) -> FileReading:
    """Read a file that is no archive."""
    problems: list[Problem] = []
    plain_name = name
    try:
        if data.startswith(GZIP_MARK):
            data, cut = inflated(data, name)
            problems.extend(cut)
            if name.lower().endswith(".gz"):
                plain_name = name[:-3]
        elif name.lower().endswith(".gz"):
            problems.append(
                Problem("wrong_extension", f"{shown(name, 200)} ends in .gz and is not compressed")
            )
            plain_name = name[:-3]
        reader = reader_for(data, name)
        problems.extend(ending_problems(plain_name, reader.endings, reader.name.upper()))
        recording = reader.read(data, name)
    except IngestError as error:
        return FileReading(name, None, (*problems, error.as_problem()))
    problems.extend(recording.problems)
    return FileReading(name, replace(recording, problems=tuple(problems)), tuple(problems))


def reader_for(data: bytes, name: str) -> Reader:
    """Choose the first reader that recognises the content.

    Raises:
        EmptyFileError: there is no content.
        TooLargeError: more than `MAX_FILE_BYTES`.
        UnknownFormatError: no reader does.
    """
    if not data.strip(b"\x00\t\n\r "):
        raise EmptyFileError(
            "it is empty" if not data else f"its {len(data)} bytes are all blank", file=name
        )
    if len(data) > MAX_FILE_BYTES:
        raise TooLargeError(f"it has more than {MAX_FILE_BYTES} bytes", file=name)
    head = data[:HEAD_BYTES]
    for reader in READERS:
        if reader.sniff(head):
            return reader
    tried = ", ".join(reader.name.upper() for reader in READERS)
    raise UnknownFormatError(f"its content is none of {tried}", file=name)


def inflated(data: bytes, name: str) -> tuple[bytes, list[Problem]]:
    """Give a gzipped file's content, as far as it is sound, never more than a limit.

    Raises:
        TooLargeError: it inflates to more than `MAX_FILE_BYTES`.
        DamagedFileError: nothing of it can be inflated.
    """
    if len(data) > MAX_FILE_BYTES:
        raise TooLargeError(f"it has more than {MAX_FILE_BYTES} bytes", file=name)
    content = bytearray()
    at = 0
    for _ in range(MAX_GZIP_MEMBERS):
        if not data.startswith(GZIP_MARK, at):
            break
        stream = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16)
        while not stream.eof and at < len(data):
            # deflate gives at most some thousand bytes for one (RFC 1951), so a step is small
            before = stream.copy()
            step = data[at : at + GZIP_STEP_BYTES]
            try:
                content += stream.decompress(step)
            except zlib.error as error:
                sound, why = inflated_byte_by_byte(before, step)
                content += sound
                what = f"the compression is damaged at byte {at} or soon after ({why})"
                if not content:
                    place = Place(offset=at)
                    raise DamagedFileError(what, file=name, format="gzip", place=place) from error
                code = "bad_crc" if "data check" in why else "damaged"
                return bytes(content), [Problem(code, f"{what}; read up to there")]
            at += len(step)
            if len(content) > MAX_FILE_BYTES:
                what = f"it inflates to more than {MAX_FILE_BYTES} bytes"
                raise TooLargeError(what, file=name)
        if not stream.eof:
            what = f"the compressed file ends at byte {len(data)}, too early; read up to there"
            return bytes(content), [Problem("truncated", what)]
        at -= len(stream.unused_data)
    if data[at:].strip(b"\0"):
        what = f"{len(data) - at} bytes after the compressed part were left out"
        return bytes(content), [Problem("trailing_bytes", what)]
    return bytes(content), []


def inflated_byte_by_byte(stream: Inflater, data: bytes) -> tuple[bytes, str]:
    """What can be had of a step that breaks somewhere, and why it breaks."""
    content = bytearray()
    for at in range(len(data)):
        try:
            content += stream.decompress(data[at : at + 1])
        except zlib.error as error:
            return bytes(content), str(error)
    return bytes(content), ""


def ending_problems(name: str, endings: tuple[str, ...], content: str) -> tuple[Problem, ...]:
    """Tell of a name whose ending is not one of the content's."""
    if name.lower().endswith(endings):
        return ()
    last = name.rpartition("/")[2]
    ending = f"ends in .{last.rpartition('.')[2]}" if "." in last else "has no ending"
    return (
        Problem("wrong_extension", f"{shown(name, 200)} {shown(ending)}; its content is {content}"),
    )
