"""Zip archives: their members in memory, each unpacked under a limit."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass

from ingest.errors import IngestError, TooLargeError, UnsafeArchiveError
from ingest.limits import MAX_ARCHIVE_BYTES, MAX_ARCHIVE_MEMBERS, MAX_FILE_BYTES

ZIP_MARKS = (b"PK\x03\x04", b"PK\x05\x06")
ENCRYPTED = 0x1


@dataclass(frozen=True)
class Member:
    """One file of a zip: its bytes, or why they are not to be had."""

    name: str
    content: bytes | IngestError


def is_zip(head: bytes) -> bool:
    """Whether the head is that of a zip."""
    return head.startswith(ZIP_MARKS)


def members(data: bytes, file: str) -> tuple[Member, ...]:
    """Unpack the files of a zip, in its own order; folders are left out.

    Nothing is written anywhere, so a member's path can reach nothing; it is a name only.

    Raises:
        UnsafeArchiveError: the archive as a whole cannot be opened.
        TooLargeError: it has more members than a class has recordings.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise UnsafeArchiveError(
            f"the zip cannot be opened: {error}", file=file, format="zip"
        ) from error
    with archive:
        infos = [info for info in archive.infolist() if not info.is_dir()]
        if not infos:
            raise UnsafeArchiveError("the zip is empty", file=file, format="zip")
        if len(infos) > MAX_ARCHIVE_MEMBERS:
            raise TooLargeError(
                f"it has {len(infos)} members, more than {MAX_ARCHIVE_MEMBERS}",
                file=file,
                format="zip",
            )
        found = []
        left = MAX_ARCHIVE_BYTES
        for info in infos:
            content = unpack(archive, info, file, min(left, MAX_FILE_BYTES))
            if isinstance(content, bytes):
                left -= len(content)
            found.append(Member(info.filename, content))
        return tuple(found)


def unpack(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str, limit: int
) -> bytes | IngestError:
    """One member's bytes, or the error that stands for it."""
    name = f"{file}/{info.filename}"
    if info.flag_bits & ENCRYPTED:
        return UnsafeArchiveError("it is encrypted", file=name, format="zip")
    try:
        with archive.open(info) as stream:
            content = stream.read(limit + 1)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        OSError,
        ValueError,
    ) as error:
        return UnsafeArchiveError(f"it cannot be unpacked: {error}", file=name, format="zip")
    if len(content) > limit:
        return TooLargeError(f"it unpacks to more than {limit} bytes", file=name, format="zip")
    if is_zip(content):
        return UnsafeArchiveError("it is a zip inside a zip", file=name, format="zip")
    return content
