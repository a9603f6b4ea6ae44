"""Decoded recordings as Parquet: a cache that can be rebuilt from the bytes at any time.

It holds signals, laps and problems; never a place, a name or a raw serial.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from api.storage.keys import Keys, SealBroken
from api.storage.store import BytesMissing, Store
from ingest.reading import FileReading, read_file
from ingest.recording import Floats, Lap, Pause, Problem, Recording

FORM = 1
KIND = "columns"
COLUMNS = (
    "time_s", "heart_rate_bpm", "power_w", "cadence_per_min", "speed_m_s", "distance_m", "calories",
)  # fmt: skip
BEATS = ("beat_time_s", "beat_interval_s")


def decoded(
    store: Store, *, gym_id: str, recording_id: str, sha256: str, file: str
) -> tuple[FileReading, ...]:
    """What a recording's bytes say: from the cache, or decoded anew and put there.

    Raises BytesMissing where the bytes themselves are gone.
    """
    try:
        return unpacked(store.get(gym_id, KIND, recording_id), file)
    except (BytesMissing, SealBroken, CacheStale):
        data = store.get(gym_id, "bytes", sha256)
    readings = read_private(store.keys, gym_id, data, file)
    store.put(gym_id, KIND, recording_id, packed(readings))
    return readings


def read_private(keys: Keys, gym_id: str, data: bytes, file: str) -> tuple[FileReading, ...]:
    """Decode bytes; a device's mark becomes one that means nothing outside the gym."""
    readings = []
    for reading in read_file(data, file):
        recording = reading.recording
        if recording is not None and recording.device_mark is not None:
            mark = keys.mark(f"device {gym_id}", recording.device_mark)
            recording = replace(recording, device_mark=mark)
        readings.append(replace(reading, recording=recording))
    return tuple(readings)


class CacheStale(Exception):  # noqa: N818
    """The cache was written in another form, or for another name."""


def packed(readings: tuple[FileReading, ...]) -> bytes:
    """Put readings into one archive: a list, and a Parquet table each."""
    stream = io.BytesIO()
    entries: list[dict[str, Any]] = []
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for number, reading in enumerate(readings):
            recording = reading.recording
            entry: dict[str, Any] = {
                "name": reading.name,
                "problems": [asdict(problem) for problem in reading.problems],
                "recording": None,
            }
            if recording is not None:
                entry["recording"] = {
                    "format": recording.format,
                    "device": recording.device,
                    "start": recording.start.isoformat() if recording.start else None,
                    "sample_count": recording.sample_count,
                    "total_calories": recording.total_calories,
                    "laps": [asdict(lap) for lap in recording.laps],
                    "pauses": [asdict(pause) for pause in recording.pauses],
                    "problems": [asdict(problem) for problem in recording.problems],
                    "device_mark": recording.device_mark,
                }
                archive.writestr(f"{number}.parquet", parquet(recording, COLUMNS))
                if recording.beat_time_s is not None:
                    archive.writestr(f"{number}.beats.parquet", parquet(recording, BEATS))
            entries.append(entry)
        archive.writestr("list.json", json.dumps({"form": FORM, "readings": entries}))
    return stream.getvalue()


def unpacked(data: bytes, file: str) -> tuple[FileReading, ...]:
    """Undo `packed`; raises CacheStale where the form or the name has changed since."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        listing = json.loads(archive.read("list.json"))
        names = set(archive.namelist())
        if listing["form"] != FORM:
            raise CacheStale(f"form {listing['form']}")
        readings = []
        for number, entry in enumerate(listing["readings"]):
            if entry["name"] != file and not entry["name"].startswith(f"{file}/"):
                raise CacheStale("another name")
            facts = entry["recording"]
            recording = None
            if facts is not None:
                columns = columns_of(archive.read(f"{number}.parquet"))
                beats = f"{number}.beats.parquet"
                if beats in names:
                    columns |= columns_of(archive.read(beats))
                recording = Recording(
                    format=facts["format"],
                    device=facts["device"],
                    start=datetime.fromisoformat(facts["start"]) if facts["start"] else None,
                    sample_count=facts["sample_count"],
                    total_calories=facts["total_calories"],
                    laps=tuple(Lap(**lap) for lap in facts["laps"]),
                    pauses=tuple(Pause(**pause) for pause in facts["pauses"]),
                    problems=tuple(Problem(**problem) for problem in facts["problems"]),
                    device_mark=facts["device_mark"],
                    **columns,
                )
            problems = tuple(Problem(**problem) for problem in entry["problems"])
            readings.append(FileReading(entry["name"], recording, problems))
        return tuple(readings)


def parquet(recording: Recording, names: tuple[str, ...]) -> bytes:
    """Write the columns that the recording has, exactly, in half the size of the defaults."""
    arrays = {
        name: pa.array(getattr(recording, name), from_pandas=False)
        for name in names
        if getattr(recording, name) is not None
    }
    stream = io.BytesIO()
    pq.write_table(
        pa.table(arrays),
        stream,
        use_dictionary=False,
        column_encoding=dict.fromkeys(arrays, "BYTE_STREAM_SPLIT"),
        compression="zstd",
        store_schema=False,
    )
    return stream.getvalue()


def columns_of(data: bytes) -> dict[str, Any]:
    """Read columns back as float64 arrays."""
    table = pq.read_table(io.BytesIO(data))
    return {name: as_floats(table[name]) for name in table.column_names}


def as_floats(column: pa.ChunkedArray) -> Floats:
    """Give a column as an array of its own that may not be written to by accident."""
    return np.array(column.to_numpy(), dtype=np.float64)
