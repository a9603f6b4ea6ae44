"""Reads the recordings of a class folder, each under the name that says who uploaded it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args
from unicodedata import normalize

from api.folder.files import read_bytes, within
from ingest.limits import MAX_ARCHIVE_BYTES
from ingest.reading import FileReading, read_file
from ingest.recording import Problem
from reconcile.classes import Source, Upload
from reconcile.errors import quote
from reconcile.fields import one_of

MOST_FILES = 1_000
SOURCES: tuple[Source, ...] = get_args(Source)
NAMES = "<athlete>.<source>.<ending>, such as a03.watch.fit"

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class FileName:
    """What a recording's name says: who uploaded it (nobody, one, several) and what made it."""

    athletes: tuple[str, ...]
    source: Source
    problems: tuple[Problem, ...] = ()


def read_file_name(name: str, athletes: Sequence[str]) -> FileName:
    """The parts of `<athlete>.<source>[.<n>].<ext>[.gz]`; athletes of the roster are known.

    An athlete's name may hold dots and plus signs of its own where the roster has it so.
    """
    stem = re.sub(r"\.gz$", "", normalize("NFC", name), flags=re.IGNORECASE)
    parts = stem.split(".")
    parts = parts[:-1] if len(parts) > 1 else parts
    if len(parts) > 2 and parts[-1].isdecimal():
        parts = parts[:-1]
    known = [
        count
        for count in range(len(parts), 0, -1)
        if all(who in athletes for who in owners(".".join(parts[:count]), athletes))
    ]
    words = [part.lower() for part in parts]
    if len(parts) > 1 and words[-1] in SOURCES:
        who, source = parts[:-1], SOURCES[SOURCES.index(words[-1])]
        return FileName(owners(".".join(who), athletes), source)
    who = parts[: known[0]] if known else parts[:1]
    rest = [word for word in words[len(who) :] if not word.isdecimal()]
    sources = [word for word in rest if word in SOURCES]
    source = SOURCES[SOURCES.index(sources[0])] if len(sources) == 1 else "unknown"
    message = f"the name says no source ({one_of(SOURCES)}); name files {NAMES}"
    if rest:
        message = f"{quote('.'.join(rest))} is no source ({one_of(SOURCES)}); name files {NAMES}"
    problems = () if len(sources) == 1 else (Problem("unknown_source", message),)
    return FileName(owners(".".join(who), athletes), source, problems)


def owners(text: str, athletes: Sequence[str]) -> tuple[str, ...]:
    """Who a name's first part means: nobody (`unassigned`), one athlete, or several by `+`."""
    if text in athletes:
        return (text,)
    if text.lower() == "unassigned":
        return ()
    spelt = {name.lower(): name for name in athletes}
    several = [part.strip() for part in text.split("+") if part.strip()]
    return tuple(dict.fromkeys(spelt.get(part.lower(), part) for part in several)) or (text,)


def read_recordings(
    folder: Path, athletes: Sequence[str], progress: Progress | None = None
) -> tuple[tuple[Upload, ...], tuple[Problem, ...]]:
    """Every file of `recordings/` in the order of their names, and problems of the folder.

    A file that cannot be read is an upload without a recording, with the reason. `progress` is
    told what is being read, the files done and the files in all.
    """
    inside = folder / "recordings"
    if not inside.is_dir():
        message = "recordings/: there is no such folder; put the devices' files into it"
        return (), (Problem("no_recordings", message),)
    problems = []
    paths = []
    for path in sorted(inside.iterdir(), key=lambda path: path.name):
        if path.name.startswith(".") or path.name == "Thumbs.db":
            continue
        if path.is_dir():
            message = f"recordings/{path.name}: a folder; put the files themselves into recordings/"
            problems.append(Problem("folder_inside", message))
        else:
            paths.append(path)
    if not paths and not problems:
        problems.append(Problem("no_recordings", "recordings/: there is no file in it"))
    if len(paths) > MOST_FILES:
        message = f"recordings/: {len(paths)} files; only the first {MOST_FILES} are read"
        problems.append(Problem("too_many_files", message))
        paths = paths[:MOST_FILES]
    uploads: list[Upload] = []
    for done, path in enumerate(paths):
        if progress is not None:
            progress(f"reading {path.name}", done, len(paths))
        name = read_file_name(path.name, athletes)
        for reading in read_path(folder, path):
            read = (*name.problems, *reading.problems)
            recording = reading.recording
            if recording is not None and name.problems:
                recording = replace(recording, problems=read)
            uploads.append(Upload(reading.name, name.athletes, name.source, recording, read))
    if progress is not None:
        progress("recordings are read", len(paths), len(paths))
    return tuple(uploads), tuple(problems)


def read_path(folder: Path, path: Path) -> tuple[FileReading, ...]:
    """What one file holds; it must lie inside the folder and be of a recording's size."""
    if not within(folder, path):
        message = f"{path.name}: not a file inside the class folder; put the file itself there"
        return (FileReading(path.name, None, (Problem("outside_folder", message),)),)
    try:
        data = read_bytes(path, MAX_ARCHIVE_BYTES)
    except OSError as error:
        message = f"{path.name}: it cannot be read ({error.strerror}); check who may read it"
        return (FileReading(path.name, None, (Problem("unreadable_file", message),)),)
    if data is None:
        message = f"{path.name}: more than {MAX_ARCHIVE_BYTES // 2**20} MB; a recording is smaller"
        return (FileReading(path.name, None, (Problem("too_large", message),)),)
    return read_file(data, path.name)
