"""GPX 1.0 and 1.1: track points with heart rate, cadence or power as extensions.

gpxpy reads tracks, segments and times. The parser of `ingest.markup` first lets through only what
a recording needs, so that a damaged document is read as far as it is sound and a hostile one does
no harm; extensions, which gpxpy would only hand on, are taken from there. Positions are passed
over and never kept: indoors they are noise, and nobody's business.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element
from xml.sax.saxutils import escape

import gpxpy
from gpxpy.gpx import GPX, GPXException

from ingest.cleaning import Samples, recording_from
from ingest.errors import DamagedFileError, NoSamplesError
from ingest.markup import Vocabulary, channels_of, gaps, parse, root_name
from ingest.moments import epochs
from ingest.recording import Format, Recording
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
    root = document.root
    points = [] if root is None else root.findall("trk/trkseg/trkpt")
    if root is None or not points:
        if document.broken_at is not None:
            raise DamagedFileError(
                "it breaks before the first track point",
                file=file,
                format=name,
                place=document.broken_at,
            )
        raise NoSamplesError("it holds no track points", file=file, format=name)
    try:
        track = gpxpy.parse(plain_track(root))
    except GPXException as error:
        raise DamagedFileError(
            f"its track cannot be read: {error}", file=file, format=name
        ) from error
    clock, problems = epochs(
        point.time for one in track.tracks for segment in one.segments for point in segment.points
    )
    channels, found = channels_of(points, EXTENSIONS)
    samples = Samples(
        clock_s=clock,
        dated=True,
        channels=channels,
        pauses=pauses_of(track),
        device="watch" if "heart_rate_bpm" in channels else "unknown",
        problems=[*document.problems, *problems, *found],
    )
    return recording_from(samples, format="gpx", file=file)


def plain_track(root: Element) -> str:
    """Write the sieved tree as GPX 1.1: tracks, segments and the times of their points."""
    lines = ['<gpx version="1.1" creator="intervouch">']
    for track in root.iterfind("trk"):
        lines.append("<trk>")
        for segment in track.iterfind("trkseg"):
            lines.append("<trkseg>")
            for point in segment.iterfind("trkpt"):
                time = escape(point.findtext("time") or "")
                lines.append(f'<trkpt lat="0" lon="0"><time>{time}</time></trkpt>')
            lines.append("</trkseg>")
        lines.append("</trk>")
    return "".join([*lines, "</gpx>"])


def pauses_of(gpx: GPX) -> list[tuple[float, float]]:
    """Between two segments of one track the receiver was off (GPX 1.1 schema, trkseg)."""
    pauses: list[tuple[float, float]] = []
    for track in gpx.tracks:
        pauses += gaps(epochs(point.time for point in one.points)[0] for one in track.segments)
    return pauses
