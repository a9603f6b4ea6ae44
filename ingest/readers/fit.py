"""FIT: samples, laps, pauses and beats of a FIT activity file, chained files included.

Field and message numbers are those of the FIT protocol's global profile, by way of fitparse.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import isfinite, nan
from typing import Any

import numpy as np
from fitparse.profile import MESSAGE_TYPES
from fitparse.records import BASE_TYPE_BYTE
from fitparse.utils import FitParseError

from ingest.checksum import crc16
from ingest.cleaning import Samples, recording_from
from ingest.errors import DamagedFileError, NoSamplesError, Place, TooLargeError
from ingest.fitdecoder import (
    BEATS,
    FIRST_DATE_S,
    FIT_EPOCH_S,
    RECORD,
    STORED_HEART_RATE,
    FitPart,
    Layout,
    PartDecoder,
)
from ingest.limits import MAX_FIT_PARTS
from ingest.recording import Device, Floats, Format, Problem, Recording

name: Format = "fit"
endings: tuple[str, ...] = (".fit",)

FIELDS: dict[str, tuple[int, ...]] = {
    "heart_rate_bpm": (3,),
    "power_w": (7,),
    "cadence_per_min": (4,),
    "speed_m_s": (73, 6),
    "distance_m": (5,),
    "calories": (33,),
}
"""Field numbers of `record` by channel, the first that has a value wins."""

COMPRESSED_SPEED_DISTANCE = "8"
POSITION = "0"

TIMER_EVENT = 0
TIMER_START = 0
TIMER_STOPS = (1, 4, 8, 9)

HEART_RATE_REACH_S = 5.0
"""A heart rate kept in a message of its own stands for samples this near to it."""

INDOORS: dict[str, Device] = {
    "indoor_rowing": "rower",
    "indoor_skiing": "ski",
    "indoor_cycling": "bike",
    "spin": "bike",
}
ANYWHERE: dict[str, Device] = {
    "rowing": "rower",
    "cross_country_skiing": "ski",
    "cycling": "bike",
}
"""Sports of the FIT profile that are done on a machine, always or where nothing was located."""


def sniff(head: bytes) -> bool:
    """Whether the head is that of a FIT file (FIT protocol, file header)."""
    return len(head) >= 12 and head[8:12] == b".FIT"


def read(data: bytes, file: str) -> Recording:
    """Read a FIT file; of a damaged one whatever is sound, with a problem that says where.

    Raises:
        DamagedFileError: it breaks before the first sample.
        NoSamplesError: it holds no samples, a plan or a settings file for instance.
        TooLargeError: it chains more files than a recording may.
    """
    chain = decode(data, file)
    parts, problems = chain.parts, chain.problems
    if not any(len(part.record_clock) for part in parts):
        if chain.broken_at is not None:
            raise DamagedFileError(
                f"it breaks before the first sample: {chain.broken_why}",
                file=file,
                format=name,
                place=Place(offset=chain.broken_at),
            )
        raise NoSamplesError("it holds no samples", file=file, format=name)

    clock = np.concatenate([part.record_clock for part in parts])
    dated = bool(np.nanmedian(clock) >= FIRST_DATE_S) if np.isfinite(clock).any() else False
    channels: dict[str, list[Floats]] = {channel: [] for channel in FIELDS}
    for part in parts:
        for channel, values in channels_of(part).items():
            channels[channel].append(values)
    messages = [message for part in parts for message in part.messages]
    columns = {channel: np.concatenate(values) for channel, values in channels.items()}
    fill_heart_rate(columns["heart_rate_bpm"], clock, parts)
    shift = FIT_EPOCH_S if dated else 0
    first = next(iter(clock[np.isfinite(clock)].tolist()), nan)
    skipped = sum(part.skipped for part in parts)
    if skipped:
        problems.append(
            Problem("damaged_message", f"{skipped} messages make no sense and were left out")
        )
    samples = Samples(
        clock_s=clock + shift,
        dated=dated,
        channels=columns,
        laps=[(start + shift, end + shift, step) for start, end, step in laps_of(messages, first)],
        pauses=[(start + shift, end + shift) for start, end in pauses_of(messages)],
        beats=beats_of(parts, shift),
        total_calories=total_calories_of(messages),
        device=device_of(messages, columns, located=any(map(has_position, parts))),
        device_mark=device_mark_of(messages),
        problems=problems,
    )
    return recording_from(samples, format="fit", file=file)


@dataclass(eq=False)
class Chain:
    """All FIT files of a chain, each as far as it is sound.

    broken_at, broken_why: the first byte from which something could not be read, None where all
        could.
    """

    parts: list[FitPart] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    broken_at: int | None = None
    broken_why: str = ""

    def broke(self, code: str, offset: int, why: str) -> None:
        """Note that what follows an offset could not be read."""
        self.problems.append(Problem(code, f"{why}; read up to there"))
        if self.broken_at is None:
            self.broken_at, self.broken_why = offset, why


def decode(data: bytes, file: str) -> Chain:
    """Decode one FIT file after another.

    Raises:
        TooLargeError: more of them are chained than a recording may.
    """
    chain = Chain()
    offset = 0
    while offset < len(data):
        if not sniff(data[offset : offset + 12]):
            count = len(data) - offset
            chain.broke(
                "trailing_bytes",
                offset,
                f"{count} bytes from byte {offset} on are no FIT file",
            )
            break
        if len(chain.parts) == MAX_FIT_PARTS:
            raise TooLargeError(
                f"more than {MAX_FIT_PARTS} FIT files are chained in it",
                file=file,
                format=name,
                place=Place(offset=offset),
            )
        offset = decode_part(data, offset, chain)
    return chain


def decode_part(data: bytes, offset: int, chain: Chain) -> int:
    """Decode the FIT file at an offset and give the offset of the next."""
    length = int.from_bytes(data[offset + 4 : offset + 8], "little")
    unfinished = length == 0 and len(data) - offset > data[offset] + 2
    end = len(data) if unfinished else offset + data[offset] + length
    content = data[offset : min(end, len(data))]
    if unfinished:
        # the decoder goes by the length in the header
        length = len(content) - content[0]
        content = content[:4] + length.to_bytes(4, "little") + content[8:]
    try:
        part = PartDecoder(content).decode()
    except FitParseError as error:
        chain.broke("damaged", offset, f"the header at byte {offset} is broken: {error}")
        return len(data)
    chain.parts.append(part)
    cut = unfinished or end + 2 > len(data)
    if cut:
        wanted = "an unknown length" if unfinished else f"{end + 2} bytes"
        chain.broke("truncated", len(data), f"the file ends at byte {len(data)} of {wanted}")
    elif crc16(content) != int.from_bytes(data[end : end + 2], "little"):
        what = f"the checksum at byte {end} does not fit the content; values may be wrong"
        chain.problems.append(Problem("bad_crc", what))
    if part.broken_at is not None and not (cut and part.cut_off):
        at = offset + part.broken_at
        chain.broke(
            "truncated" if part.cut_off else "damaged",
            at,
            f"the file breaks at byte {at} ({part.broken_why})",
        )
    return end + 2


def channels_of(part: FitPart) -> dict[str, Floats]:
    """Every channel of one FIT file, a value a `record`, NaN where missing."""
    count = len(part.record_clock)
    channels = {channel: np.full(count, np.nan) for channel in FIELDS}
    packed = np.full((count, 3), np.nan)
    fields = MESSAGE_TYPES[RECORD].fields
    native = native_fields(part)
    for layout in part.layouts[RECORD]:
        places = np.array(layout.places)
        for channel, numbers in FIELDS.items():
            column = channels[channel]
            for number in numbers:
                values = layout.values(str(number))
                fits = layout.columns.get(str(number), (0, "", 0))[2] != BASE_TYPE_BYTE.identifier
                if values is not None and fits:
                    scale = fields[number].scale or 1
                    fill(column, places, values[:, 0] / scale - (fields[number].offset or 0))
                for key, base_type in native.get(number, ()):
                    values = layout.values(key, base_type)
                    if values is not None:
                        fill(column, places, values[:, 0])
        values = layout.values(COMPRESSED_SPEED_DISTANCE)
        if values is not None and values.shape[1] == 3:
            packed[places] = values
    whole = np.flatnonzero(np.isfinite(packed).all(axis=1))
    if len(whole):
        speed, distance = unpack_speed_distance(packed[whole].astype(np.int64))
        fill(channels["speed_m_s"], whole, speed)
        fill(channels["distance_m"], whole, distance)
    return channels


def fill(column: Floats, places: np.ndarray[Any, Any], values: Floats) -> None:
    """Put values where the column has none yet."""
    column[places] = np.where(np.isnan(column[places]), values, column[places])


def native_fields(part: FitPart) -> dict[int, list[tuple[str, int]]]:
    """Developer fields that stand for a field of `record`: column and base type by its number."""
    found: dict[int, list[tuple[str, int]]] = {}
    for (index, number), message in part.developer_fields.items():
        stands_for = message.get_raw_value("native_field_num")
        base_type = message.get_raw_value("fit_base_type_id")
        of_record = message.get_raw_value("native_mesg_num") in (RECORD, None)
        if of_record and isinstance(stands_for, int) and isinstance(base_type, int):
            found.setdefault(stands_for, []).append((f"d{index}.{number}", base_type))
    return found


def unpack_speed_distance(packed: np.ndarray[Any, Any]) -> tuple[Floats, Floats]:
    """Speed and running distance from `compressed_speed_distance`, rows of three bytes.

    Twelve bits of speed in 1/100 m/s, then twelve bits of distance in 1/16 m that run over every
    256 m (FIT profile, record field 8).
    """
    speed = (packed[:, 0] | (packed[:, 1] & 0x0F) << 8) / 100.0
    distance = packed[:, 1] >> 4 | packed[:, 2] << 4
    steps = np.diff(distance, prepend=0) % 4096
    return speed, np.cumsum(steps) / 16.0


def fill_heart_rate(column: Floats, clock: Floats, parts: Sequence[FitPart]) -> None:
    """Give samples without a heart rate the nearest one kept in `hr` messages.

    A strap that stored them hands them on afterwards, often in further files of the chain.
    """
    stored = [stored_heart_rate(part.layouts[STORED_HEART_RATE]) for part in parts]
    times = np.concatenate([one for one, _ in stored])
    rates = np.concatenate([one for _, one in stored])
    missing = np.flatnonzero(np.isnan(column) & np.isfinite(clock))
    if not len(times) or not len(missing):
        return
    order = np.argsort(times, kind="stable")
    times, rates = times[order], rates[order]
    wanted = clock[missing]
    right = np.clip(np.searchsorted(times, wanted), 0, len(times) - 1)
    left = np.maximum(right - 1, 0)
    nearest = np.where(wanted - times[left] < times[right] - wanted, left, right)
    near = np.abs(times[nearest] - wanted) <= HEART_RATE_REACH_S
    column[missing[near]] = rates[nearest[near]]


def stored_heart_rate(layouts: Sequence[Layout]) -> tuple[Floats, Floats]:
    """Times (FIT seconds) and rates of the `hr` messages.

    A message with a `timestamp` says which moment its `event_timestamp` (1/1024 s) stands for;
    the later ones carry only the lowest twelve bits of it, two in three bytes, and run on from
    the last (FIT profile, message hr).
    """
    messages: list[tuple[int, dict[str, list[float]]]] = []
    for layout in layouts:
        columns = {
            key: values.tolist()
            for key in ("0", "6", "9", "10", "253")
            if (values := layout.values(key)) is not None
        }
        messages += [
            (turn, {key: values[row] for key, values in columns.items()})
            for row, turn in enumerate(layout.turns)
        ]
    messages.sort(key=lambda message: message[0])
    times: list[float] = []
    rates: list[float] = []
    shift = nan
    last = 0
    for _, fields in messages:
        events = [int(event) for event in fields.get("9", []) if isfinite(event)]
        moment = fields.get("253", [nan])[0]
        if events and isfinite(moment):
            fraction = fields.get("0", [nan])[0] / 32_768
            shift = moment + (fraction if isfinite(fraction) else 0.0) - events[0] / 1024
        if events:
            last = events[-1]
        for low in twelve_bits(fields.get("10", [])):
            last += (low - last) % 4096
            events.append(last)
        for event, rate in zip(events, fields.get("6", []), strict=False):
            times.append(shift + event / 1024.0)
            rates.append(rate if rate > 0 else nan)
    stored = np.array([times, rates], dtype=np.float64)
    known = np.isfinite(stored).all(axis=0)
    return stored[0, known], stored[1, known]


def twelve_bits(raw: Sequence[float]) -> list[int]:
    """Numbers of twelve bits, packed two in three bytes, lowest first."""
    if not all(map(isfinite, raw)):
        return []
    whole = int.from_bytes(bytes(map(int, raw)), "little")
    return [whole >> 12 * place & 0xFFF for place in range(len(raw) * 8 // 12)]


def number(message: Any, field_name: str) -> float | None:
    """One number of a message, scaled; None where it is missing or no number."""
    value = message.get_value(field_name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value)


def named(messages: Iterable[Any], kind: str) -> list[Any]:
    """The messages of one kind, in file order."""
    return [message for message in messages if message.name == kind]


def laps_of(messages: Sequence[Any], first: float) -> list[tuple[float, float, int | None]]:
    """Start and end of each lap in FIT seconds, and its workout step.

    A lap that does not say when it began, began with the end of the one before it, or with the
    first sample.
    """
    laps: list[tuple[float, float, int | None]] = []
    for message in named(messages, "lap"):
        start, end = number(message, "start_time"), number(message, "timestamp")
        elapsed = number(message, "total_elapsed_time")
        if start is None:
            start = laps[-1][1] if laps else first
        elif elapsed is not None:
            end = start + elapsed
        if end is None or not end >= start:
            continue
        step = number(message, "wkt_step_index")
        laps.append((start, end, None if step is None else int(step)))
    return laps


def pauses_of(messages: Sequence[Any]) -> list[tuple[float, float]]:
    """From each stop of the device's timer to its next start, FIT seconds."""
    turns: list[tuple[float, bool]] = []
    for message in named(messages, "event"):
        if message.get_raw_value("event") != TIMER_EVENT:
            continue
        at, kind = number(message, "timestamp"), message.get_raw_value("event_type")
        if at is not None and (kind == TIMER_START or kind in TIMER_STOPS):
            turns.append((at, kind != TIMER_START))
    turns.sort(key=lambda turn: turn[0])
    return [
        (stop, start)
        for (stop, stopped), (start, still_stopped) in pairwise(turns)
        if stopped and not still_stopped and start > stop
    ]


def beats_of(parts: Sequence[FitPart], shift: float) -> tuple[Floats, Floats] | None:
    """Beat-to-beat intervals and when each ended, true to about a second.

    An `hrv` message has no time; its last interval is taken to end with the sample before it.
    """
    times: list[Floats] = []
    intervals: list[Floats] = []
    for part in parts:
        clock = part.record_clock
        if not len(clock):
            continue
        for layout in part.layouts[BEATS]:
            values = layout.values("0")
            if values is None:
                continue
            seconds = values / 1000.0
            known = np.isfinite(seconds) & (seconds > 0)
            lengths = np.where(known, seconds, 0.0)
            ends = clock[np.maximum(np.array(layout.places) - 1, 0)]
            after = lengths[:, ::-1].cumsum(axis=1)[:, ::-1] - lengths
            times.append((ends[:, None] - after)[known] + shift)
            intervals.append(seconds[known])
    if not times or not sum(map(len, times)):
        return None
    ended = np.concatenate(times)
    timed = np.isfinite(ended)
    return np.maximum.accumulate(ended[timed]), np.concatenate(intervals)[timed]


def total_calories_of(messages: Sequence[Any]) -> float | None:
    """Sum up the totals that the device states for its sessions."""
    totals = [number(message, "total_calories") for message in named(messages, "session")]
    known = [total for total in totals if total is not None]
    return sum(known) if known else None


def device_of(messages: Sequence[Any], channels: dict[str, Floats], *, located: bool) -> Device:
    """Kind of device, by the sport that the file names and what was measured.

    Only a recording with power, speed or distance is a machine's: a watch set to the same sport
    records a heart rate and, outdoors, where it is.
    """
    sports = [
        message.get_value(field)
        for message in [*named(messages, "session"), *named(messages, "sport")]
        for field in ("sub_sport", "sport")
    ]
    measured = any(
        np.isfinite(channels[channel]).any() for channel in ("power_w", "distance_m", "speed_m_s")
    )
    machines = INDOORS if located else INDOORS | ANYWHERE
    if measured:
        for sport in sports:
            if isinstance(sport, str) and sport in machines:
                return machines[sport]
    return "watch" if np.isfinite(channels["heart_rate_bpm"]).any() else "unknown"


def has_position(part: FitPart) -> bool:
    """Whether any sample has a position; the position itself is never kept."""
    return any(
        values is not None and bool(np.isfinite(values).any())
        for values in (layout.values(POSITION) for layout in part.layouts[RECORD])
    )


def device_mark_of(messages: Sequence[Any]) -> str | None:
    """One-way hash of the recording device's serial number."""
    for message in named(messages, "file_id"):
        serial = message.get_raw_value("serial_number")
        if isinstance(serial, int):
            return hashlib.sha256(f"serial {serial}".encode()).hexdigest()[:32]
    return None
