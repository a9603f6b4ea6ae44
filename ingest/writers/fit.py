"""Write a `Recording` as FIT bytes.

Message, field and base-type numbers, scales and the checksum are those of the FIT protocol and its
global profile (FIT SDK, "Flexible and Interoperable Data Transfer Protocol", D00001275).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ingest.checksum import crc16
from ingest.recording import Device, Floats, Recording

# FIT counts seconds from this moment.
FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)

# Global message numbers.
FILE_ID, SESSION, LAP, RECORD, EVENT, ACTIVITY, BEATS = 0, 18, 19, 20, 21, 34, 78

# Sport and sub-sport by kind of device: fitness equipment or cycling or training, and indoor
# rowing, indoor skiing, indoor cycling, cardio training.
SPORTS: dict[Device, tuple[int, int]] = {
    "rower": (4, 14),
    "ski": (4, 25),
    "bike": (2, 6),
    "watch": (10, 26),
    "unknown": (0, 0),
}

BEATS_A_MESSAGE = 5


@dataclass(frozen=True)
class BaseType:
    """A FIT base type: its number, its `struct` and NumPy letter, its size and its "no value"."""

    number: int
    letter: str
    size: int
    invalid: int


ENUM = BaseType(0x00, "B", 1, 0xFF)
UINT8 = BaseType(0x02, "B", 1, 0xFF)
UINT16 = BaseType(0x84, "H", 2, 0xFFFF)
UINT32 = BaseType(0x86, "I", 4, 0xFFFFFFFF)
UINT32Z = BaseType(0x8C, "I", 4, 0)


@dataclass(frozen=True)
class FieldType:
    """A field of a message: its number in the profile, base type and scale."""

    number: int
    base: BaseType
    scale: float = 1.0


TIMESTAMP = FieldType(253, UINT32)

# The columns of a `Recording` as fields of a record message, in the order of writing.
RECORD_FIELDS: tuple[tuple[str, FieldType], ...] = (
    ("distance_m", FieldType(5, UINT32, 100)),
    ("speed_m_s", FieldType(6, UINT16, 1000)),
    ("power_w", FieldType(7, UINT16)),
    ("calories", FieldType(33, UINT16)),
    ("heart_rate_bpm", FieldType(3, UINT8)),
    ("cadence_per_min", FieldType(4, UINT8)),
)


@dataclass(frozen=True)
class FitOptions:
    """How to lay a recording out as FIT.

    byte_order: of every number after the header. compressed_timestamps: records carry five bits
    of time in their header byte wherever the last time is close enough. timer_events: pauses are
    written as stop and start of the timer. serial_number: the device's, where it should show one.
    """

    byte_order: Literal["little", "big"] = "little"
    compressed_timestamps: bool = False
    timer_events: bool = True
    serial_number: int | None = None


def definition(
    local: int, message: int, fields: Sequence[FieldType], order: str, count: int = 1
) -> bytes:
    """Return a definition message; `count` values in each field (more than one makes arrays)."""
    head = struct.pack(
        f"{order}BBBHB", 0x40 | local, 0, 1 if order == ">" else 0, message, len(fields)
    )
    return head + b"".join(
        bytes((field.number, field.base.size * count, field.base.number)) for field in fields
    )


def single_message(
    local: int,
    message: int,
    values: Sequence[tuple[FieldType, float | None]],
    order: str,
) -> bytes:
    """Return a definition and one data message of it; None is the type's "no value"."""
    fields = [field for field, _ in values]
    numbers = [
        field.base.invalid if value is None else round(value * field.scale)
        for field, value in values
    ]
    letters = "".join(field.base.letter for field in fields)
    return definition(local, message, fields, order) + struct.pack(
        f"{order}B{letters}", local, *numbers
    )


def encode_column(values: Floats, field: FieldType) -> NDArray[np.uint32]:
    """Scaled and rounded numbers; NaN and what does not fit become "no value"."""
    scaled = np.rint(values * field.scale)
    fits = np.isfinite(scaled) & (scaled >= 0) & (scaled < 256**field.base.size - 1)
    return np.where(fits, scaled, field.base.invalid).astype(np.uint32)


def encode_rows(
    header: NDArray[np.uint32], columns: Sequence[tuple[FieldType, NDArray[np.uint32]]], order: str
) -> NDArray[np.uint8]:
    """Return data messages as bytes, one row a message, shape (messages, bytes)."""
    kind = np.dtype(
        [("header", "u1")]
        + [(str(field.number), f"{order}u{field.base.size}") for field, _ in columns]
    )
    rows = np.empty(header.size, dtype=kind)
    rows["header"] = header
    for field, values in columns:
        rows[str(field.number)] = values
    return rows.view(np.uint8).reshape(header.size, kind.itemsize)


def beat_messages(intervals_s: Floats, local: int, order: str) -> bytes:
    """Beat-to-beat intervals, five to a message, the last one filled up with "no value"."""
    field = FieldType(0, UINT16, 1000)
    numbers = encode_column(intervals_s, field)
    padding = -numbers.size % BEATS_A_MESSAGE
    numbers = np.concatenate((numbers, np.full(padding, UINT16.invalid, dtype=np.uint32)))
    return b"".join(
        struct.pack(f"{order}B{BEATS_A_MESSAGE}H", local, *numbers[at : at + BEATS_A_MESSAGE])
        for at in range(0, numbers.size, BEATS_A_MESSAGE)
    )


def timer_event(timestamp: int, starts: bool, order: str) -> bytes:
    """Return the event that the timer started, or stopped with everything else."""
    return single_message(
        1,
        EVENT,
        (
            (TIMESTAMP, timestamp),
            (FieldType(0, ENUM), 0),
            (FieldType(1, ENUM), 0 if starts else 4),
        ),
        order,
    )


def write_fit(recording: Recording, options: FitOptions | None = None) -> bytes:
    """Return the recording as one FIT activity file; times are rounded to whole seconds.

    Raises ValueError for a recording without a date or without samples: FIT has no way to say so.
    """
    options = options or FitOptions()
    if recording.start is None or recording.time_s.size == 0:
        raise ValueError("FIT needs a date and at least one sample; write CSV instead")
    order = "<" if options.byte_order == "little" else ">"
    start = (recording.start - FIT_EPOCH).total_seconds()
    stamps = np.rint(start + recording.time_s).astype(np.int64)
    first, last = int(stamps[0]), int(stamps[-1])

    def at(seconds: float) -> int:
        return round(start + seconds)

    columns = [
        (field, encode_column(values, field))
        for name, field in RECORD_FIELDS
        if (values := getattr(recording, name)) is not None
    ]
    fields = [field for field, _ in columns]
    full_rows = encode_rows(
        np.zeros(stamps.size, dtype=np.uint32),
        [(TIMESTAMP, stamps.astype(np.uint32)), *columns],
        order,
    )
    short_rows = encode_rows((0x80 | (2 << 5) | (stamps & 0x1F)).astype(np.uint32), columns, order)

    # What stands between records: (index of the record that follows, bytes).
    between: list[tuple[int, bytes]] = []
    if options.timer_events:
        for pause in recording.pauses:
            for seconds, starts in ((pause.start_s, False), (pause.end_s, True)):
                side: Literal["left", "right"] = "left" if starts else "right"
                index = int(np.searchsorted(recording.time_s, seconds, side))
                between.append((index, timer_event(at(seconds), starts, order)))
    for number, lap in enumerate(recording.laps):
        elapsed = lap.end_s - lap.start_s
        marks: list[tuple[FieldType, float | None]] = [
            (TIMESTAMP, at(lap.end_s)),
            (FieldType(2, UINT32), at(lap.start_s)),
            (FieldType(7, UINT32, 1000), elapsed),
            (FieldType(8, UINT32, 1000), elapsed),
            (FieldType(254, UINT16), number),
            (FieldType(71, UINT16), lap.workout_step),
            (FieldType(0, ENUM), 9),
            (FieldType(1, ENUM), 1),
        ]
        index = int(np.searchsorted(recording.time_s, lap.end_s, "right"))
        between.append((index, single_message(4, LAP, marks, order)))
    if recording.beat_interval_s is not None and recording.beat_time_s is not None:
        record_of_beat = np.searchsorted(recording.time_s, recording.beat_time_s, "left")
        for index in np.unique(record_of_beat):
            beats = recording.beat_interval_s[record_of_beat == index]
            between.append((int(index) + 1, beat_messages(beats, 3, order)))
    between.sort(key=lambda item: item[0])

    cuts = {index for index, _ in between}
    if options.compressed_timestamps:
        far = np.flatnonzero((np.diff(stamps) > 0x1F) | (np.diff(stamps) < 0)) + 1
        cuts |= {int(index) for index in far}
    edges = sorted({0, stamps.size} | {min(index, stamps.size) for index in cuts})

    parts = [
        single_message(
            5,
            FILE_ID,
            (
                (FieldType(0, ENUM), 4),
                (FieldType(1, UINT16), 255),
                (FieldType(3, UINT32Z), options.serial_number),
                (FieldType(4, UINT32), first),
            ),
            order,
        ),
        timer_event(first, True, order),
        definition(0, RECORD, [TIMESTAMP, *fields], order),
        definition(2, RECORD, fields, order) if options.compressed_timestamps else b"",
        definition(3, BEATS, [FieldType(0, UINT16)], order, BEATS_A_MESSAGE)
        if recording.beat_interval_s is not None
        else b"",
    ]
    waiting = iter(between)
    held = next(waiting, None)
    for left, right in zip(edges, [*edges[1:], stamps.size], strict=True):
        while held is not None and held[0] <= left:
            parts.append(held[1])
            held = next(waiting, None)
        if options.compressed_timestamps:
            parts += [full_rows[left : left + 1].tobytes(), short_rows[left + 1 : right].tobytes()]
        else:
            parts.append(full_rows[left:right].tobytes())
    while held is not None:
        parts.append(held[1])
        held = next(waiting, None)

    paused_s = sum(pause.end_s - pause.start_s for pause in recording.pauses)
    distance = recording.distance_m
    sport, sub_sport = SPORTS[recording.device]
    parts += [
        timer_event(last, False, order),
        single_message(
            6,
            SESSION,
            (
                (TIMESTAMP, last),
                (FieldType(2, UINT32), first),
                (FieldType(7, UINT32, 1000), last - first),
                (FieldType(8, UINT32, 1000), max(0.0, last - first - paused_s)),
                (
                    FieldType(9, UINT32, 100),
                    None if distance is None else float(np.nanmax(distance, initial=0.0)),
                ),
                (FieldType(11, UINT16), recording.total_calories),
                (FieldType(5, ENUM), sport),
                (FieldType(6, ENUM), sub_sport),
            ),
            order,
        ),
        single_message(
            7,
            ACTIVITY,
            (
                (TIMESTAMP, last),
                (FieldType(0, UINT32, 1000), max(0.0, last - first - paused_s)),
                (FieldType(1, UINT16), 1),
            ),
            order,
        ),
    ]
    body = b"".join(parts)
    head = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    head += struct.pack("<H", crc16(head))
    return head + body + struct.pack("<H", crc16(head + body))
