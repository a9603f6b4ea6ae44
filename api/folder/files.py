"""Files of a class folder as bytes and text: nothing outside the folder, nothing without bound."""

from __future__ import annotations

import codecs
from pathlib import Path

from api.folder.errors import ClassFolderError
from reconcile.errors import Mistake

MOST_TEXT_BYTES = 8 * 2**20

BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def within(folder: Path, path: Path) -> bool:
    """Whether a path, its links followed, is a file inside the folder."""
    try:
        resolved = path.resolve(strict=True)
    except (OSError, RuntimeError, ValueError):
        return False
    return resolved.is_file() and resolved.is_relative_to(folder.resolve())


def exists(path: Path) -> bool:
    """Whether there is anything of this name; a name that no file can have is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def read_bytes(path: Path, most: int) -> bytes | None:
    """A file's bytes, or None where there are more than `most`."""
    with path.open("rb") as stream:
        data = stream.read(most + 1)
    return data if len(data) <= most else None


def read_text(folder: Path, name: str, *, needed_for: str) -> str:
    """The text of a file of the folder: UTF-8, UTF-16 with its mark, else Latin.

    Raises ClassFolderError (codes `missing_file`, `outside_folder`, `unreadable_file`,
    `too_large`).
    """
    path = folder / name
    if not exists(path):
        remedy = f"add it to the folder: {needed_for}"
        raise ClassFolderError(
            [Mistake("missing_file", "there is no such file", name, remedy=remedy)]
        )
    if not within(folder, path):
        message = "it is not a file inside the class folder"
        remedy = "put the file itself into the folder"
        raise ClassFolderError([Mistake("outside_folder", message, name, remedy=remedy)])
    try:
        data = read_bytes(path, MOST_TEXT_BYTES)
    except OSError as error:
        message = f"it cannot be read: {error.strerror}"
        remedy = "check who may read the file"
        raise ClassFolderError(
            [Mistake("unreadable_file", message, name, remedy=remedy)]
        ) from error
    if data is None:
        message = f"more than {MOST_TEXT_BYTES // 2**20} MB"
        raise ClassFolderError([Mistake("too_large", message, name, remedy="shorten it")])
    return decode(data)


def decode(data: bytes) -> str:
    """Text of bytes by their byte order mark, as UTF-8, or as Latin, which always can be read."""
    for mark, encoding in BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")
