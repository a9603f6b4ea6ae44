"""Recordings as the files that people upload: every format and spelling, and damage."""

from __future__ import annotations

import gzip
import io
import zipfile
from dataclasses import dataclass, replace
from typing import Literal

from numpy.random import Generator

from ingest.writers import FitOptions, TableOptions, write_csv, write_fit, write_gpx, write_tcx
from ingest.writers.table import Quantity
from tests.bench.simulator.devices import Take, string_together

SPELLINGS: dict[Quantity, tuple[str, ...]] = {
    "time": ("time", "Time", "timestamp", "Timestamp", "date time"),
    "heart_rate": ("heart_rate", "Heart Rate (bpm)", "HR", "heart rate [bpm]", "hr_bpm"),
    "power": ("power", "Power (W)", "watts", "power_w", "Watts"),
    "cadence": ("cadence", "Stroke Rate", "Cadence (rpm)", "strokes/min", "cadence_per_min"),
    "speed": ("speed", "Speed (m/s)", "speed_m_s", "velocity [m/s]"),
    "pace": ("pace", "Pace (/500m)", "split /500 m", "pace_500m"),
    "distance": ("distance", "Distance (m)", "distance_m", "metres", "Distance [m]"),
    "calories": ("calories", "Calories", "kcal", "Calories (cal)", "Energy (kcal)"),
}
ELAPSED = ("elapsed", "Elapsed Time (s)", "seconds", "time_s", "Time [s]")
CLOCK = ("elapsed time", "Time (m:ss)", "time", "Elapsed Time")
DAMAGES = (
    "truncated", "bad_crc", "wrong_extension", "empty", "header_only", "random_bytes",
    "entity_bomb", "external_entity",
)  # fmt: skip
UNREADABLE = ("empty", "header_only", "random_bytes", "entity_bomb", "external_entity")


@dataclass(frozen=True)
class FileBytes:
    """A file's bytes, its ending, and the take as the file tells it (its clock may stand still)."""

    data: bytes
    format: str
    ending: str
    take: Take


def table_options(rng: Generator, take: Take) -> TableOptions:
    """Draw a spelling; takes without a date get elapsed times."""
    delimiter = str(rng.choice((",", ",", ";", ";", "\t")))
    time: Literal["iso", "elapsed", "clock"] = "elapsed"
    if take.recording.start is not None and rng.random() < 0.6:
        time = "iso"
    if time == "elapsed" and rng.random() < 0.3 and not take.strung_together:
        time = "clock"
    names: dict[Quantity, str] = {key: str(rng.choice(values)) for key, values in SPELLINGS.items()}
    if time != "iso":
        names["time"] = str(rng.choice(ELAPSED if time == "elapsed" else CLOCK))
    bike = take.recording.device == "bike"
    pace = None
    if rng.random() < 0.4 and take.recording.speed_m_s is not None:
        pace = 1000 if bike and rng.random() < 0.5 else 500
        if pace == 1000:
            names["pace"] = str(rng.choice(("Pace (/1000m)", "pace /1000 m")))
        elif bike:
            names["pace"] = "Pace (/500m)"
    return TableOptions(
        delimiter=delimiter,
        decimal_comma=delimiter != "," and bool(rng.random() < 0.5),
        byte_order_mark=bool(rng.random() < 0.25),
        line_end="\r\n" if rng.random() < 0.4 else "\n",
        time=time,
        time_decimals=1 if take.strung_together or rng.random() < 0.4 else 0,
        utc_offset_minutes=int(rng.choice((0, 0, 60, 120, -300))),
        iso_separator=str(rng.choice(("T", "T", " "))),
        pace_metres=pace,
        headers=names,
        decimals=int(rng.choice((2, 3))),
    )


def choose_format(rng: Generator, take: Take, kind: str) -> str:
    if kind == "watch":
        return str(rng.choice(("fit", "tcx", "gpx", "csv"), p=(0.55, 0.19, 0.14, 0.12)))
    if take.recording.calories is not None:
        return str(rng.choice(("fit", "csv"), p=(0.55, 0.45)))
    if kind == "phone":
        return str(rng.choice(("fit", "tcx"), p=(0.5, 0.5)))
    if take.recording.power_w is None:
        return str(rng.choice(("fit", "tcx", "csv"), p=(0.35, 0.35, 0.3)))
    return str(rng.choice(("fit", "tcx", "csv", "gpx"), p=(0.25, 0.4, 0.28, 0.07)))


def write_take(rng: Generator, take: Take, kind: str) -> FileBytes:
    """Write a recording in a format of its kind and a spelling of its own."""
    form = choose_format(rng, take, kind)
    if form == "csv" and take.stopped and rng.random() < 0.6:
        take = string_together(take)
    recording = take.recording
    if form == "fit":
        options = FitOptions(
            byte_order="big" if rng.random() < 0.25 else "little",
            compressed_timestamps=bool(rng.random() < 0.15),
            timer_events=bool(rng.random() < 0.8),
            serial_number=int(rng.integers(1, 2**31)) if rng.random() < 0.6 else None,
        )
        data = write_fit(recording, options)
    elif form == "tcx":
        data = write_tcx(recording)
    elif form == "gpx":
        data = write_gpx(recording)
    else:
        spelling = table_options(rng, take)
        data = write_csv(recording, spelling)
        if spelling.time != "iso":
            take = replace(take, recording=replace(recording, start=None))
    return FileBytes(data, form, form, take)


BOMB = (
    '<?xml version="1.0"?>\n<!DOCTYPE t [<!ENTITY a "laps laps laps">'
    + "".join(
        f'<!ENTITY {name} "{f"&{previous};" * 10}">'
        for previous, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>\n<TrainingCenterDatabase>&i;</TrainingCenterDatabase>\n"
)
EXTERNAL = (
    '<?xml version="1.0"?>\n<!DOCTYPE t [<!ENTITY e SYSTEM "file:///nowhere/at/all">]>\n'
    "<TrainingCenterDatabase><Activities>&e;</Activities></TrainingCenterDatabase>\n"
)


def cut_take(take: Take, share: float) -> Take:
    """What about `share` of the file still tells."""
    kept = max(1, int(take.recording.time_s.size * share))
    last = take.first_s + float(take.recording.time_s[kept - 1])
    if take.strung_together:
        last = take.first_s + (take.last_s - take.first_s) * share
    return replace(take, last_s=min(last, take.last_s))


def damage(rng: Generator, file: FileBytes) -> tuple[FileBytes, str]:
    """Break a file in one of many ways."""
    kind = str(rng.choice(DAMAGES, p=(0.26, 0.12, 0.14, 0.1, 0.1, 0.12, 0.08, 0.08)))
    if kind == "bad_crc" and file.format != "fit":
        kind = "truncated"
    data, ending, take = file.data, file.ending, file.take
    if kind == "truncated":
        share = rng.uniform(0.6, 0.97)
        data, take = data[: int(len(data) * share)], cut_take(take, share)
    elif kind == "bad_crc":
        data = data[:-2] + bytes((data[-2] ^ 0x5A, data[-1]))
    elif kind == "wrong_extension":
        ending = str(rng.choice([e for e in ("fit", "tcx", "gpx", "csv") if e != file.ending]))
    elif kind == "empty":
        data = b""
    elif kind == "header_only":
        data = data[:14] if file.format == "fit" else data[: data.find(b"\n") + 1]
    elif kind == "random_bytes":
        data = rng.bytes(int(rng.integers(20, 4000)))
    elif kind == "entity_bomb":
        data, ending = BOMB.encode(), str(rng.choice(("tcx", "gpx")))
    else:
        data, ending = EXTERNAL.encode(), str(rng.choice(("tcx", "gpx")))
    return FileBytes(data, file.format, ending, take), kind


def zipped(name: str, data: bytes) -> bytes:
    """A zip with one member, the same bytes every time."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo(name), data)
    return buffer.getvalue()


def gzipped(data: bytes) -> bytes:
    return gzip.compress(data, 6, mtime=0)
