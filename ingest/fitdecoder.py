"""FIT bytes to messages: `fitparse`'s decoder, with the plentiful messages decoded by column.

The package is `python-fitparse`, the continuation of `fitparse` under the same import name: it
is maintained, and it reads files whose field sizes are no multiple of their type, at which the
last stock release gives up.

fitparse decodes a message in some 70 µs, a second for four hours of samples. So the messages that
come about once a sample (`record`, `hrv`, `hr`) are only cut out here, by their definition, and
decoded together as one NumPy structure a definition; fitparse decodes all others, whose number is
small, and messages that no recording needs are stepped over.
"""

from __future__ import annotations

import io
import struct
from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from fitparse.base import FitFileDecoder
from fitparse.profile import MESSAGE_TYPES
from fitparse.records import (
    BASE_TYPE_BYTE,
    BASE_TYPES,
    DataMessage,
    DefinitionMessage,
    FieldDefinition,
    MessageHeader,
)
from fitparse.utils import FitEOFError, FitParseError

from ingest.limits import MAX_FIT_DEFINITIONS, MAX_FIT_MESSAGES, MAX_FIT_WHOLE_MESSAGES
from ingest.recording import Floats

FIT_EPOCH_S = 631_065_600
"""1989-12-31T00:00:00Z in seconds since 1970, from which FIT counts (FIT protocol, date_time)."""

FIRST_DATE_S = 0x1000_0000
"""Smaller timestamps count from the device's power-on (FIT protocol, date_time)."""

TIMESTAMP = "253"
RECORD = 20
BEATS = 78
STORED_HEART_RATE = 132
BY_COLUMN = frozenset({RECORD, BEATS, STORED_HEART_RATE})
FILE_ID, SPORT, SESSION, LAP, EVENT, FIELD_DESCRIPTION = 0, 12, 18, 19, 21, 206
BY_MESSAGE = frozenset({FILE_ID, SPORT, SESSION, LAP, EVENT, FIELD_DESCRIPTION})


@dataclass(eq=False)
class Layout:
    """One definition and the messages of it: raw rows, and where each stood in the file.

    places: of a `record` its own position among the records, of others how many came before.
    turns: position among all messages decoded by column.
    """

    definition: Any
    size: int
    columns: dict[str, tuple[int, str, int]]
    """Offset, NumPy type and base type's identifier by field: `7`, or `d0.7` for a developer's."""
    timestamp_at: int | None
    timestamp_format: struct.Struct
    rows: list[bytes] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    turns: list[int] = field(default_factory=list)

    @cached_property
    def table(self) -> Any:
        """All rows as one structured array."""
        kinds = np.dtype(
            {
                "names": list(self.columns),
                "formats": [kind for _, kind, _ in self.columns.values()],
                "offsets": [at for at, _, _ in self.columns.values()],
                "itemsize": self.size,
            }
        )
        return np.frombuffer(b"".join(self.rows), dtype=kinds)

    def values(self, name: str, base_type: int | None = None) -> Floats | None:
        """One field's values, rows × elements, invalid ones NaN; None where it is not there.

        base_type: what the bytes mean where the definition does not say (a developer's field).
        """
        if name not in self.columns:
            return None
        raw = self.table[name]
        identifier = self.columns[name][2]
        if raw.dtype.kind not in "iuf":
            return None
        raw = raw.reshape(len(raw), -1)
        if base_type is not None and base_type in BASE_TYPES:
            kind = np.dtype(self.definition.endian + BASE_TYPES[base_type].fmt)
            if kind.kind not in "iuf" or raw.shape[1] % kind.itemsize:
                return None
            raw = np.ascontiguousarray(raw).view(kind)
            identifier = base_type
        values: Floats = raw.astype(np.float64)
        if identifier == BASE_TYPE_BYTE.identifier:
            values[(raw == 0xFF).all(axis=1)] = np.nan
        else:
            values[raw == invalid_of(identifier, raw.dtype)] = np.nan
        return values


def invalid_of(identifier: int, kind: np.dtype[Any]) -> float | int:
    """Give the value that stands for "invalid" in a base type (FIT protocol, base types)."""
    if kind.kind == "f":
        return float("nan")
    return 0 if BASE_TYPES[identifier].name.endswith("z") else int(np.iinfo(kind).max)


@dataclass(eq=False)
class FitPart:
    """What one FIT file of a chain holds.

    record_clock: raw timestamp of each `record`, NaN where it has none.
    layouts: the messages decoded by column, by number of the message, in file order.
    messages: all others that a recording needs, in file order.
    skipped: messages that fitparse could not make sense of.
    broken_at, broken_why: byte at which the rest stopped making sense, None where nothing did.
    cut_off: whether that was for want of bytes.
    """

    record_clock: Floats
    layouts: dict[int, list[Layout]]
    developer_fields: dict[tuple[int, int], Any]
    messages: list[Any]
    skipped: int
    broken_at: int | None
    broken_why: str
    cut_off: bool


class PartDecoder(FitFileDecoder):  # type: ignore[misc]
    """fitparse's decoder for one FIT file of a chain, header included and checksum left off."""

    def __init__(self, data: bytes) -> None:
        self.steps_left = MAX_FIT_MESSAGES
        self.definitions_left = MAX_FIT_DEFINITIONS
        self.whole_left = MAX_FIT_WHOLE_MESSAGES
        self._bytes_left: int
        self.layouts: list[Layout] = []
        self.local: dict[int, Layout] = {}
        self.clock: list[float] = []
        self.developer_fields: dict[tuple[int, int], Any] = {}
        self.skipped = 0
        super().__init__(io.BytesIO(data), check_crc=False, check_developer_data=False)

    def decode(self) -> FitPart:
        """Read to the end, or to where the file breaks."""
        messages: list[Any] = []
        at = 0
        broken_at, why, cut_off = None, "", False
        try:
            while not self._complete:
                at = self._file.tell()
                message = self._parse_message()
                if isinstance(message, DataMessage):
                    messages.append(message)
        except FitEOFError:
            broken_at, why, cut_off = at, "the file ends in the middle of a message", True
        except (FitParseError, struct.error) as error:
            broken_at, why = at, str(error)
        finally:
            self.close()
        clock = np.array(self.clock, dtype=np.float64)
        layouts: dict[int, list[Layout]] = {number: [] for number in BY_COLUMN}
        for layout in self.layouts:
            if layout.rows:
                layouts[layout.definition.mesg_num].append(layout)
        return FitPart(
            record_clock=clock,
            layouts=layouts,
            developer_fields=self.developer_fields,
            messages=messages,
            skipped=self.skipped,
            broken_at=broken_at,
            broken_why=why,
            cut_off=cut_off,
        )

    def _parse_message_header(self) -> Any:
        self.steps_left -= 1
        if self.steps_left < 0 or self.whole_left < 0:
            raise FitParseError("it holds more messages than a recording may")
        return HEADERS[self._read(1)[0]]

    def _parse_definition_message(self, header: Any) -> Any:
        # fitparse's own stumbles over a misfit size of an unknown field, and over a size of 0
        self.definitions_left -= 1
        if self.definitions_left < 0:
            raise FitParseError("it defines more kinds of messages than a recording may")
        endian = ">" if self._read(2)[1] else "<"
        number, count = struct.unpack(endian + "HB", self._read(3))
        entries = [
            (str(field_number), size, BASE_TYPES.get(base, BASE_TYPE_BYTE))
            for field_number, size, base in struct.iter_unpack("3B", self._read(3 * count) or b"")
        ]
        if header.is_developer_data:
            described = self._read(3 * self._read(1)[0]) or b""
            entries += [
                (f"d{index}.{field_number}", size, BASE_TYPE_BYTE)
                for field_number, size, index in struct.iter_unpack("3B", described)
            ]
        fields: list[Any] = []
        columns: dict[str, tuple[int, str, int]] = {}
        at = 0
        timestamp_at = None
        for key, size, named_type in entries:
            if not size:
                continue
            base_type = BASE_TYPE_BYTE if size % named_type.size else named_type
            if key == TIMESTAMP and size == 4:
                timestamp_at = at
            if number in BY_COLUMN:
                columns[key] = (at, *column_of(base_type, size, endian))
            elif number in BY_MESSAGE:
                fields.append(field_of(number, key, size, base_type))
            at += size
        definition = DefinitionMessage(
            header=header,
            endian=endian,
            mesg_type=MESSAGE_TYPES.get(number),
            mesg_num=number,
            field_defs=fields,
            dev_field_defs=[],
        )
        layout = Layout(definition, at, columns, timestamp_at, struct.Struct(endian + "I"))
        if number in BY_COLUMN:
            self.layouts.append(layout)
        # components that run on, start at 0 (as fitparse has it)
        self._accumulators.setdefault(number, defaultdict(int))
        self.local[header.local_mesg_num] = layout
        self._local_mesgs[header.local_mesg_num] = definition
        return definition

    def _parse_data_message(self, header: Any) -> Any:
        layout = self.local.get(header.local_mesg_num)
        if layout is None:
            raise FitParseError(
                f"a message of local type {header.local_mesg_num} comes before its definition"
            )
        number = layout.definition.mesg_num
        if number in BY_MESSAGE:
            self.whole_left -= 1
            return self.whole_message(header, layout)
        row = self._read(layout.size) or b""
        timestamp = self.timestamp_of(header, layout, row)
        if number in BY_COLUMN:
            layout.places.append(len(self.clock))
            layout.turns.append(MAX_FIT_MESSAGES - self.steps_left)
            layout.rows.append(row)
        if number == RECORD:
            self.clock.append(timestamp)
        return layout.definition

    def whole_message(self, header: Any, layout: Layout) -> Any:
        """One message as fitparse decodes it, or the definition where it cannot."""
        if layout.size > self._filesize - self._file.tell():
            raise FitEOFError("the file ends in the middle of a message")
        end = self._file.tell() + layout.size
        left = self._bytes_left - layout.size
        try:
            message = super()._parse_data_message(header)
        except (FitParseError, struct.error, TypeError, ValueError, KeyError, OverflowError):
            # its length is known, so the rest of the file is sound all the same
            self.skipped += 1
            self._file.seek(end)
            self._bytes_left = left
            return layout.definition
        if message.mesg_num == FIELD_DESCRIPTION:
            self.note_developer_field(message)
        return message

    def timestamp_of(self, header: Any, layout: Layout, row: bytes) -> float:
        """Raw timestamp of a message, from its own field or its compressed header."""
        if layout.timestamp_at is not None:
            (raw,) = layout.timestamp_format.unpack_from(row, layout.timestamp_at)
            if raw != 0xFFFF_FFFF:
                self._compressed_ts_accumulator = raw
                return float(raw)
        if header.time_offset is not None:
            self._compressed_ts_accumulator = self._apply_compressed_accumulation(
                header.time_offset, self._compressed_ts_accumulator, 5
            )
            return float(self._compressed_ts_accumulator)
        return float("nan")

    def note_developer_field(self, message: Any) -> None:
        """Remember what a developer's field stands for."""
        index = message.get_raw_value("developer_data_index")
        number = message.get_raw_value("field_definition_number")
        if isinstance(index, int) and isinstance(number, int):
            self.developer_fields[index, number] = message

    def add_dev_data_id(self, message: Any) -> None:
        """Developer fields are looked up by index and number alone."""

    def add_dev_field_description(self, message: Any) -> None:
        """See `note_developer_field`."""


HEADERS = tuple(
    MessageHeader(
        is_definition=False,
        is_developer_data=False,
        local_mesg_num=(byte >> 5) & 0x3,
        time_offset=byte & 0x1F,
    )
    if byte & 0x80
    else MessageHeader(
        is_definition=bool(byte & 0x40),
        is_developer_data=bool(byte & 0x20),
        local_mesg_num=byte & 0xF,
        time_offset=None,
    )
    for byte in range(256)
)
"""What each header byte says (FIT protocol, record header)."""


def field_of(number: int, key: str, size: int, base_type: Any) -> Any:
    """Give fitparse's own definition of a field; a developer's is bytes to it."""
    known = MESSAGE_TYPES[number].fields.get(int(key)) if key.isdigit() else None
    return FieldDefinition(
        field=known,
        def_num=int(key.rpartition(".")[2]),
        base_type=base_type,
        size=size,
    )


def column_of(base_type: Any, size: int, endian: str) -> tuple[str, int]:
    """NumPy type of a field and the identifier of its base type."""
    if base_type.name == "string":
        return f"S{size}", base_type.identifier
    elements = size // base_type.size
    kind = endian + base_type.fmt
    return (kind if elements == 1 else f"({elements},){kind}"), base_type.identifier
