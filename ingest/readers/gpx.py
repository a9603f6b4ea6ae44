"""GPX 1.0 and 1.1: track points with heart rate, cadence or power as extensions.

gpxpy reads the track; the parser of `ingest.markup` first lets through only what a recording
needs, so that a damaged document is read as far as it is sound and a hostile one does no harm.
Positions are passed over and never kept: indoors they are noise, and nobody's business.
"""

from __future__ import annotations

from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement, tostring

import gpxpy
import numpy as np
from gpxpy.gpx import GPX, GPXException

from ingest.cleaning import Samples, recording_from
from ingest.errors import DamagedFileError, NoSamplesError
from ingest.markup import Vocabulary, bad_values, parse, root_name
from ingest.moments import epochs
from ingest.numerals import numbers_of
from ingest.recording import Floats, Format, Recording
from ingest.text import text_of

name: Format = "gpx"
endings: tuple[str, ...] = (".gpx",)

EXTENSIONS = {
    "heart_rate_bpm": ("hr", "heartrate", "heart_rate", "HeartRate", "Hr", "HR"),
    "power_w": ("power", "Power", "watts", "Watts", "PowerInWatts"),
    "cadence_per_min": ("cad", "cadence", "Cadence", "Cad", "RunCadence", "rpm"),
    "speed_m_s": ("speed", "Speed"),
    "distance_m": ("distance", "Distance", "DistanceMeters"),
    "calories": ("calories", "Calories", "kcal"),
}
"""Local names of a point's extensions by channel (the track-point extension v2 names `hr`, `cad`
and `speed` in m/s; the others are common practice, no source)."""

VOCABULARY = Vocabulary(
    containers=frozenset({"gpx", "trk", "trkseg"}),
    point="trkpt",
    leaves=frozenset({"time"}.union(*EXTENSIONS.values())),
    attributes={},
)


def sniff(head: bytes) -> bool:
    """Whether the root element is that of GPX."""
    return root_name(text_of(head)[0]) == "gpx"


def read(data: bytes, file: str) -> Recording:
    """Read a GPX file; of a damaged one whatever is sound, with a problem that says where.

    Raises:
        DamagedFileError: it breaks before the first track point.
        NoSamplesError: it holds no track points.
        UnsafeMarkupError, TooLargeError: see `ingest.markup.parse`.
    """
    document = parse(data, VOCABULARY, file=file, format=name)
    if document.root is None or document.root.find(".//trkpt") is None:
        if document.broken_at is not None:
            raise DamagedFileError(
                "it breaks before the first track point",
                file=file,
                format=name,
                place=document.broken_at,
            )
        raise NoSamplesError("it holds no track points", file=file, format=name)
    try:
        track = gpxpy.parse(tostring(plain_track(document.root), encoding="unicode"))
    except GPXException as error:
        raise DamagedFileError(
            f"its track cannot be read: {error}", file=file, format=name
        ) from error
    segments = [segment.points for one in track.tracks for segment in one.segments]
    points = [point for segment in segments for point in segment]
    clock, problems = epochs(point.time for point in points)
    channels: dict[str, Floats] = {}
    found = [{one.tag: one.text for one in point.extensions} for point in points]
    for channel, tags in EXTENSIONS.items():
        for tag in tags:
            values, bad = numbers_of([one.get(tag) for one in found])
            problems.extend(bad_values(bad, tag))
            if not np.isnan(values).all():
                channels[channel] = values
                break
    samples = Samples(
        clock_s=clock,
        dated=True,
        channels=channels,
        pauses=pauses_of(track),
        device="watch" if "heart_rate_bpm" in channels else "unknown",
        problems=[*document.problems, *problems],
    )
    return recording_from(samples, format="gpx", file=file)


def plain_track(root: Element) -> Element:
    """Write the sieved tree as GPX 1.1 without namespaces, a point's values under `extensions`."""
    plain = Element("gpx", version="1.1", creator="intervouch")
    for track in root.iter("trk"):
        new_track = SubElement(plain, "trk")
        for segment in track.iter("trkseg"):
            new_segment = SubElement(new_track, "trkseg")
            for point in segment.iter("trkpt"):
                new_point = SubElement(new_segment, "trkpt", lat="0", lon="0")
                values: list[Element] = []
                for leaf in point:
                    (new_point if leaf.tag == "time" else values).append(leaf)
                SubElement(new_point, "extensions").extend(values)
    return plain


def pauses_of(track: GPX) -> list[tuple[float, float]]:
    """Between two segments of one track the receiver was off (GPX 1.1 schema, trkseg)."""
    pauses: list[tuple[float, float]] = []
    for one in track.tracks:
        spans = []
        for segment in one.segments:
            times, _ = epochs(point.time for point in segment.points)
            times = times[np.isfinite(times)]
            if len(times):
                spans.append((float(times[0]), float(times[-1])))
        pauses += [(end, start) for (_, end), (start, _) in pairwise(spans) if start > end]
    return pauses
