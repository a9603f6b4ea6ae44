"""The checksum of FIT files."""

from __future__ import annotations


def crc_table() -> tuple[int, ...]:
    """Remainders of all bytes for the polynomial 0x8005, bits reflected."""
    table = []
    for byte in range(256):
        remainder = byte
        for _ in range(8):
            remainder = (remainder >> 1) ^ (0xA001 if remainder & 1 else 0)
        table.append(remainder)
    return tuple(table)


CRC_TABLE = crc_table()


def crc16(data: bytes, crc: int = 0) -> int:
    """Compute CRC-16/ARC: polynomial 0x8005 reflected, from 0 or from where an earlier part ended.

    The FIT protocol names it for header and file (D00001275, "CRC").
    """
    table = CRC_TABLE
    for byte in data:
        crc = (crc >> 8) ^ table[(crc ^ byte) & 0xFF]
    return crc
