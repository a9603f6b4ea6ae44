"""Uploaded bytes and decoded columns: sealed, addressed by what they are, in any fsspec store."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fsspec

from api.storage.keys import Keys


class BytesMissing(Exception):  # noqa: N818
    """The store does not hold these bytes."""


@dataclass(frozen=True)
class Store:
    """Sealed bytes by name; each gym's are sealed with a key of its own."""

    root: str
    keys: Keys

    def put(self, gym_id: str, kind: str, name: str, data: bytes) -> None:
        """Keep the bytes: whole or not at all, also when the machine stops in between."""
        place = f"{kind}/{gym_id}/{name[:2]}/{name}"
        sealed = self.keys.seal(f"store {gym_id}", place, data)
        files, path = self.locate(place)
        if isinstance(files, fsspec.implementations.local.LocalFileSystem):
            write_durably(Path(path), sealed)
        else:
            files.pipe_file(path, sealed)

    def get(self, gym_id: str, kind: str, name: str) -> bytes:
        """Give the bytes; raises BytesMissing, or SealBroken where they were changed."""
        place = f"{kind}/{gym_id}/{name[:2]}/{name}"
        files, path = self.locate(place)
        try:
            sealed = files.cat_file(path)
        except FileNotFoundError as error:
            raise BytesMissing(place) from error
        return self.keys.open(f"store {gym_id}", place, sealed)

    def has(self, gym_id: str, kind: str, name: str) -> bool:
        """Whether the bytes are there."""
        files, path = self.locate(f"{kind}/{gym_id}/{name[:2]}/{name}")
        return bool(files.exists(path))

    def drop(self, gym_id: str, kind: str, name: str) -> None:
        """Forget the bytes; it is no error when they are gone already."""
        files, path = self.locate(f"{kind}/{gym_id}/{name[:2]}/{name}")
        try:
            files.rm_file(path)
        except FileNotFoundError:
            return

    def raw_names(self, kind: str) -> Iterator[str]:
        """The place of everything of one kind, for backups and sweeps."""
        files, path = self.locate(kind)
        if not files.exists(path):
            return
        for found in sorted(files.find(path)):
            name = str(found)
            if not name.endswith(".part"):
                yield f"{kind}/" + name.split(f"/{kind}/", 1)[1]

    def raw_get(self, place: str) -> bytes:
        """The sealed bytes as they lie; raises BytesMissing."""
        files, path = self.locate(place)
        try:
            return bytes(files.cat_file(path))
        except FileNotFoundError as error:
            raise BytesMissing(place) from error

    def raw_put(self, place: str, sealed: bytes) -> None:
        """Lay sealed bytes back where they lay."""
        files, path = self.locate(place)
        if isinstance(files, fsspec.implementations.local.LocalFileSystem):
            write_durably(Path(path), sealed)
        else:
            files.pipe_file(path, sealed)

    def locate(self, place: str) -> tuple[Any, str]:
        """Find the file system and the path in it."""
        files, root = fsspec.core.url_to_fs(self.root)
        return files, f"{root}/{place}"


def write_durably(path: Path, data: bytes) -> None:
    """Write beside, flush to the disk, then rename into place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    with part.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def content_address(data: bytes) -> str:
    """SHA-256 of the bytes as uploaded, hexadecimal."""
    return hashlib.sha256(data).hexdigest()
