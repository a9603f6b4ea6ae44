"""Bytes of recordings made by hand, sound ones to start from and whatever a test breaks in them."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np

from ingest.checksum import crc16
from ingest.recording import Format, Lap, Recording
from ingest.writers import TableOptions, write_csv, write_fit, write_gpx, write_tcx

START = datetime(2026, 3, 9, 17, 30, tzinfo=UTC)
FIT_START = int(START.timestamp()) - 631_065_600

# number, size in bytes, base type of fields of `record`
TIMESTAMP = (253, 4, 0x86)
HEART_RATE = (3, 1, 0x02)
CADENCE = (4, 1, 0x02)
DISTANCE = (5, 4, 0x86)
SPEED = (6, 2, 0x84)
POWER = (7, 2, 0x84)
COMPRESSED = (8, 3, 0x0D)
CALORIES = (33, 2, 0x84)

Field = tuple[int, int, int]


def example(count: int = 60) -> Recording:
    """A minute of pulling on a rower, a heart rate beside it, in whole numbers."""
    time_s = np.arange(count, dtype=float)
    return Recording(
        format="fit",
        device="rower",
        start=START,
        sample_count=count,
        time_s=time_s,
        heart_rate_bpm=100 + np.round(time_s / 2),
        power_w=150 + time_s,
        cadence_per_min=20 + time_s % 10,
        laps=(Lap(0.0, 30.0), Lap(30.0, count - 1.0)),
    )


def sound(kind: Format) -> bytes:
    """The example in one format."""
    writers = {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx}
    if kind == "csv":
        return write_csv(example(), TableOptions(time="iso"))
    return writers[kind](example())


def definition(
    number: int,
    fields: Sequence[Field],
    *,
    local: int = 0,
    big: bool = False,
    developer: Sequence[Field] = (),
) -> bytes:
    """A FIT definition message; developer fields as number, size, developer's index."""
    head = 0x40 | local | (0x20 if developer else 0)
    order = ">" if big else "<"
    body = struct.pack(f"{order}BBBHB", head, 0, big, number, len(fields))
    body += b"".join(bytes(field) for field in fields)
    if developer:
        body += bytes([len(developer)]) + b"".join(bytes(field) for field in developer)
    return body


def row(layout: str, *values: float | bytes, local: int = 0) -> bytes:
    """A FIT data message; `layout` as for `struct`, its byte order included."""
    return bytes([local]) + struct.pack(layout, *values)


def fit_file(
    body: bytes, *, header_size: int = 14, length: int | None = None, crc: int | None = None
) -> bytes:
    """A FIT file around a body; a length or checksum other than the true one breaks it."""
    length = len(body) if length is None else length
    head = struct.pack("<BBHI4s", header_size, 0x20, 2132, length, b".FIT")
    if header_size == 14:
        head += struct.pack("<H", crc16(head))
    content = head + body
    return content + struct.pack("<H", crc16(content) if crc is None else crc)


def heart_rates(rates: Sequence[int], *, first: int = FIT_START, local: int = 0) -> bytes:
    """Definition and records of heart rates, one a second."""
    return definition(20, [TIMESTAMP, HEART_RATE], local=local) + b"".join(
        row("<IB", first + second, rate, local=local) for second, rate in enumerate(rates)
    )


def zipped(members: Mapping[str, bytes], *, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip of files."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def tcx_file(points: str, *, before: str = "", sport: str = "Other") -> bytes:
    """A TCX file around trackpoints of one lap."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>' + before + "<TrainingCenterDatabase "
        'xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" '
        'xmlns:e="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Activities>'
        f'<Activity Sport="{sport}"><Lap StartTime="2026-03-09T17:30:00Z">'
        "<TotalTimeSeconds>60</TotalTimeSeconds><Calories>12</Calories>"
        f"<Track>{points}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    ).encode()


def trackpoint(second: int, inner: str = "<HeartRateBpm><Value>120</Value></HeartRateBpm>") -> str:
    """One trackpoint of a TCX file."""
    return f"<Trackpoint><Time>2026-03-09T17:30:{second:02}Z</Time>{inner}</Trackpoint>"


def gpx_file(points: str, *, before: str = "", attributes: str = "") -> bytes:
    """A GPX 1.1 file around points of one segment."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>' + before + '<gpx version="1.1" creator="t" '
        f'xmlns="http://www.topografix.com/GPX/1/1" {attributes}><trk><trkseg>'
        f"{points}</trkseg></trk></gpx>"
    ).encode()


def track_point(second: int, inner: str = "<extensions><hr>120</hr></extensions>") -> str:
    """One point of a GPX file."""
    moment = f"2026-03-09T17:30:{second:02}Z"
    return f'<trkpt lat="1.5" lon="2.5"><time>{moment}</time>{inner}</trkpt>'
