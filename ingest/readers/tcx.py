"""TCX: Training Center XML, schema version 2, with activity extension 2 in any namespace.

A trackpoint a sample. Positions are passed over and never kept.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from xml.etree.ElementTree import Element

import numpy as np

from ingest.cleaning import Samples, recording_from
from ingest.errors import NOWHERE, DamagedFileError, NoSamplesError
from ingest.markup import Vocabulary, channels_of, gaps, parse, root_name
from ingest.moments import epochs, iso_moment
from ingest.numerals import numbers_of
from ingest.recording import Device, Floats, Format, Problem, Recording
from ingest.text import text_of

name: Format = "tcx"
endings: tuple[str, ...] = (".tcx",)

NAMES = {
    "heart_rate_bpm": ("Value",),
    "power_w": ("Watts",),
    "cadence_per_min": ("Cadence", "RunCadence"),
    "speed_m_s": ("Speed",),
    "distance_m": ("DistanceMeters",),
    "calories": ("Calories",),
}
"""A trackpoint's elements by channel (TCX schema v2: `HeartRateBpm/Value`, `Cadence`,
`DistanceMeters`; ActivityExtension v2: `Watts`, `Speed`, `RunCadence`)."""

VOCABULARY = Vocabulary(
    containers=frozenset(
        {"TrainingCenterDatabase", "Activities", "Activity", "Lap", "Track", "Creator"}
    ),
    point="Trackpoint",
    leaves=frozenset({"Time", "Position", "TotalTimeSeconds", "UnitId"}.union(*NAMES.values())),
    attributes={"Activity": ("Sport",), "Lap": ("StartTime",)},
)

MACHINE_OF_SPORT: tuple[tuple[str, Device], ...] = (
    ("row", "rower"),
    ("ski", "ski"),
    ("bik", "bike"),
    ("cycl", "bike"),
)


def sniff(head: bytes) -> bool:
    """Whether the root element is that of TCX."""
    return root_name(text_of(head)[0]) == "TrainingCenterDatabase"


def read(data: bytes, file: str) -> Recording:
    """Read a TCX file; of a damaged one whatever is sound, with a problem that says where.

    Raises:
        DamagedFileError: it breaks before the first trackpoint.
        NoSamplesError: it holds no trackpoints.
        UnsafeMarkupError, TooLargeError: see `ingest.markup.parse`.
    """
    document = parse(data, VOCABULARY, file=file, format=name)
    root = document.root
    points = [] if root is None else list(root.iter("Trackpoint"))
    if root is None or not points:
        if document.broken_at is not None:
            raise DamagedFileError(
                "it breaks before the first trackpoint",
                file=file,
                format=name,
                place=document.broken_at,
            )
        raise NoSamplesError("it holds no trackpoints", file=file, format=name)
    problems = list(document.problems)
    clock, found = clock_of([point.findtext("Time") for point in points])
    problems.extend(found)
    channels, found = channels_of(points, NAMES)
    problems.extend(found)
    samples = Samples(
        clock_s=clock,
        dated=True,
        channels=channels,
        laps=laps_of(root),
        pauses=pauses_of(root),
        total_calories=total_calories_of(root),
        device=device_of(root, channels),
        device_mark=device_mark_of(root),
        problems=problems,
        place=NOWHERE,
    )
    return recording_from(samples, format="tcx", file=file)


def clock_of(texts: Iterable[str | None]) -> tuple[Floats, list[Problem]]:
    """Seconds since 1970 of each xsd:dateTime, NaN where it is missing or none."""
    return epochs(iso_moment(text or "") for text in texts)


def laps_of(root: Element) -> list[tuple[float, float, int | None]]:
    """Start and end of each lap, seconds since 1970."""
    laps: list[tuple[float, float, int | None]] = []
    for lap in root.iter("Lap"):
        (start,), _ = clock_of([lap.get("StartTime")])
        (length,), _ = numbers_of([lap.findtext("TotalTimeSeconds")])
        if np.isfinite(start) and np.isfinite(length) and 0 <= length < 1e7:
            laps.append((float(start), float(start + length), None))
    return laps


def pauses_of(root: Element) -> list[tuple[float, float]]:
    """Between two tracks of one lap the timer stood still (TCX schema v2, Lap/Track)."""
    pauses: list[tuple[float, float]] = []
    for lap in root.iter("Lap"):
        pauses += gaps(
            clock_of(point.findtext("Time") for point in track.iter("Trackpoint"))[0]
            for track in lap.findall("Track")
        )
    return pauses


def total_calories_of(root: Element) -> float | None:
    """Sum of the laps' calories; None where no lap states any."""
    values, _ = numbers_of([lap.findtext("Calories") for lap in root.iter("Lap")])
    known = values[np.isfinite(values) & (values >= 0) & (values < 1e5)]
    return float(known.sum()) if len(known) else None


def device_of(root: Element, channels: dict[str, Floats]) -> Device:
    """Kind of device: a machine's where the sport names one and nothing was located."""
    located = root.find(".//Trackpoint/Position") is not None
    measured = any(channel in channels for channel in ("power_w", "distance_m", "speed_m_s"))
    if measured and not located:
        for activity in root.iter("Activity"):
            sport = (activity.get("Sport") or "").casefold()
            for word, device in MACHINE_OF_SPORT:
                if word in sport:
                    return device
    return "watch" if "heart_rate_bpm" in channels else "unknown"


def device_mark_of(root: Element) -> str | None:
    """One-way hash of the creating device's unit number."""
    unit = root.findtext(".//Creator/UnitId")
    if not unit or not unit.strip("0"):
        return None
    return hashlib.sha256(f"serial {unit}".encode()).hexdigest()[:32]
