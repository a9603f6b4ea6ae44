"""Leave messages out of a FIT file, or move its clock, byte by byte and with no decoder of ours.

Layout of headers, definitions and data messages, the CRC and the message numbers: FIT SDK,
"Flexible and Interoperable Data Transfer Protocol" (D00001275) and its global profile.
"""

from __future__ import annotations

import struct
from collections.abc import Collection
from dataclasses import dataclass

LAP, WORKOUT, WORKOUT_STEP = 19, 26, 27
TIMESTAMP_FIELD = 253
# Moments in other fields: the start of a session or a lap (2), when the file was made (4).
SESSION, FILE_ID = 18, 0
OTHER_MOMENTS = {SESSION: 2, LAP: 2, FILE_ID: 4}
NO_VALUE = 0xFFFFFFFF
CRC_TABLE = (
    0x0000,
    0xCC01,
    0xD801,
    0x1400,
    0xF001,
    0x3C00,
    0x2800,
    0xE401,
    0xA001,
    0x6C00,
    0x7800,
    0xB401,
    0x5000,
    0x9C01,
    0x8801,
    0x4400,
)


@dataclass(frozen=True)
class Definition:
    """What a local message number stands for: the message, byte order, fields, and its size."""

    message: int
    order: str
    fields: tuple[tuple[int, int], ...]
    size: int


def crc(data: bytes) -> int:
    """The checksum of the protocol, four bits at a time."""
    value = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            value = (value >> 4) ^ CRC_TABLE[value & 0xF] ^ CRC_TABLE[nibble]
    return value


def rewritten(data: bytes, *, without: Collection[int] = (), later_s: int = 0) -> bytes:
    """The file without the messages of these numbers, every moment in it `later_s` later.

    Expects one sound file without compressed timestamps.
    """
    head = data[0]
    (size,) = struct.unpack_from("<I", data, 4)
    kept = bytearray()
    definitions: dict[int, Definition] = {}
    at = head
    while at < head + size:
        first, local = at, data[at] & 0x0F
        if data[at] & 0x80:
            raise ValueError(f"a compressed timestamp at byte {at}")
        if data[at] & 0x40:
            at, definitions[local] = defined(data, at)
            kept += data[first:at]
            continue
        definition = definitions[local]
        at += 1 + definition.size
        if definition.message not in without:
            kept += moved(data[first:at], definition, later_s)
    start = data[:4] + struct.pack("<I", len(kept)) + data[8:12]
    if head == 14:  # a checksum of 0 stands for none
        start += struct.pack("<H", crc(start) if data[12:14] != b"\x00\x00" else 0)
    body = bytes(start + kept)
    return body + struct.pack("<H", crc(body))


def defined(data: bytes, at: int) -> tuple[int, Definition]:
    """The definition message at a byte, and where the next message begins."""
    order = ">" if data[at + 2] else "<"
    (message,) = struct.unpack_from(f"{order}H", data, at + 3)
    count = data[at + 5]
    triples = [tuple(data[at + 6 + 3 * n : at + 9 + 3 * n]) for n in range(count)]
    end = at + 6 + 3 * count
    fields = tuple((number, length) for number, length, _ in triples)
    extra = 0
    if data[at] & 0x20:  # developer fields
        extra = sum(data[end + 2 + 3 * n] for n in range(data[end]))
        end += 1 + 3 * data[end]
    total = sum(length for _, length in fields) + extra
    return end, Definition(message, order, fields, total)


def moved(message: bytes, definition: Definition, later_s: int) -> bytes:
    """A data message with its moments moved."""
    out = bytearray(message)
    at = 1
    for number, length in definition.fields:
        moment = number == TIMESTAMP_FIELD or OTHER_MOMENTS.get(definition.message) == number
        if moment and length == 4:
            (value,) = struct.unpack_from(f"{definition.order}I", message, at)
            if value != NO_VALUE:
                struct.pack_into(f"{definition.order}I", out, at, value + later_s)
        at += length
    return bytes(out)
