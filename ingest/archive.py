"""Zip archives: their members in memory, each unpacked under a limit."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from ingest.errors import IngestError, TooLargeError, UnknownFormatError, UnsafeArchiveError
from ingest.limits import MAX_ARCHIVE_BYTES, MAX_ARCHIVE_MEMBERS, MAX_FILE_BYTES
from ingest.recording import Problem
from ingest.text import shown

ZIP_MARKS = (b"PK\x03\x04", b"PK\x05\x06")
ENCRYPTED = 0x1
UNPACK_STEP_BYTES = 4_096
OFFICE_MARK = "[Content_Types].xml"


@dataclass(frozen=True)
class Member:
    """One file of a zip: its bytes, or why they are not to be had; what is wrong with it."""

    name: str
    content: bytes | IngestError
    problems: tuple[Problem, ...] = ()


def is_zip(head: bytes) -> bool:
    """Whether the head is that of a zip."""
    return head.startswith(ZIP_MARKS)


def members(data: bytes, file: str) -> Iterator[Member]:
    """Unpack the files of a zip one by one, in its own order; folders are left out.

    Nothing is written anywhere, so a member's path can reach nothing; it is a name only.

    Raises:
        UnsafeArchiveError: the archive as a whole cannot be opened.
        TooLargeError: it has more members, or is larger, than the recordings of a class.
    """
    if len(data) > MAX_ARCHIVE_BYTES:
        raise TooLargeError(f"it has more than {MAX_ARCHIVE_BYTES} bytes", file=file, format="zip")
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise UnsafeArchiveError(
            f"the zip cannot be opened: {error}", file=file, format="zip"
        ) from error
    with archive:
        infos = [
            info
            for info in archive.infolist()
            if not info.is_dir() and not is_leftover(info.filename)
        ]
        if not infos:
            raise UnsafeArchiveError("the zip is empty", file=file, format="zip")
        if len(infos) > MAX_ARCHIVE_MEMBERS:
            raise TooLargeError(
                f"it has {len(infos)} members, more than {MAX_ARCHIVE_MEMBERS}",
                file=file,
                format="zip",
            )
        if any(info.filename == OFFICE_MARK for info in infos):
            raise UnknownFormatError(
                "it is an office document", file=file, remedy="Save the table as CSV."
            )
        left = MAX_ARCHIVE_BYTES
        for info in infos:
            content, damage = unpack(archive, info, file, min(left, MAX_FILE_BYTES))
            if isinstance(content, bytes):
                left -= len(content)
            name, problems = plain_name(info.filename)
            yield Member(name, content, (*problems, *damage))


def is_leftover(name: str) -> bool:
    """Whether an operating system put the file beside the ones that were meant."""
    last = name.rpartition("/")[2]
    return (
        name.startswith("__MACOSX/") or last.startswith("._") or last in {".DS_Store", "Thumbs.db"}
    )


def plain_name(name: str) -> tuple[str, tuple[Problem, ...]]:
    """A member's name without steps upwards, roots and unprintable letters."""
    steps = [step for step in name.replace("\\", "/").split("/") if step not in {"", ".", ".."}]
    plain = shown("/".join(steps), 200) or "unnamed"
    if plain == name:
        return name, ()
    return plain, (
        Problem(
            "unsafe_name", f"the archive gives '{shown(name, 200)}' as a name; read as {plain}"
        ),
    )


def unpack(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str, limit: int
) -> tuple[bytes | IngestError, tuple[Problem, ...]]:
    """One member's bytes, as far as they are sound, or the error that stands for them."""
    name = f"{file}/{plain_name(info.filename)[0]}"
    if info.flag_bits & ENCRYPTED:
        return UnsafeArchiveError("it is encrypted", file=name, format="zip"), ()
    content = bytearray()
    why = ""
    # compared below instead, for zipfile keeps back what it has read when it does not fit
    checksum = info.CRC
    del info.CRC
    try:
        with archive.open(info) as stream:
            while len(content) <= limit and (piece := stream.read(UNPACK_STEP_BYTES)):
                content += piece
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        OSError,
        ValueError,
    ) as error:
        if not content:
            what = f"it cannot be unpacked: {error}"
            return UnsafeArchiveError(what, file=name, format="zip"), ()
        why = str(error)
    if len(content) > limit:
        what = f"it unpacks to more than {limit} bytes"
        return TooLargeError(what, file=name, format="zip"), ()
    if is_zip(bytes(content[:4])):
        return UnsafeArchiveError("it is a zip inside a zip", file=name, format="zip"), ()
    if why:
        problem = Problem("damaged", f"the archive is damaged ({why}); read up to there")
        return bytes(content), (problem,)
    if zlib.crc32(content) != checksum:
        what = "the archive's checksum does not fit the content; values may be wrong"
        return bytes(content), (Problem("bad_crc", what),)
    return bytes(content), ()
