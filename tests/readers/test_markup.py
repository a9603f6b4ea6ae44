"""What TCX and GPX files hold, in the namespaces and dialects that devices write."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from ingest import FileReading, read_file
from ingest.recording import Lap, Pause, Recording
from ingest.writers import FitOptions, write_fit
from tests.readers.crafting import START, example, gpx_file, tcx_file, track_point, trackpoint


def reading(data: bytes, name: str) -> FileReading:
    (found,) = read_file(data, name)
    return found


def tcx(points: str, **options: str) -> Recording:
    found = reading(tcx_file(points, **options), "a.tcx")
    assert found.recording is not None, found.problems
    return found.recording


def gpx(points: str, **options: str) -> Recording:
    found = reading(gpx_file(points, **options), "a.gpx")
    assert found.recording is not None, found.problems
    return found.recording


TCX_VALUES = [
    ("<HeartRateBpm><Value>140</Value></HeartRateBpm>", "heart_rate_bpm", 140),
    ('<HeartRateBpm xsi:type="x" xmlns:xsi="y"><Value> 140 </Value></HeartRateBpm>',
     "heart_rate_bpm", 140),
    ("<Cadence>28</Cadence>", "cadence_per_min", 28),
    ("<DistanceMeters>12.5</DistanceMeters>", "distance_m", 12.5),
    ("<Extensions><e:TPX><e:Watts>210</e:Watts></e:TPX></Extensions>", "power_w", 210),
    ("<Extensions><e:TPX><e:Speed>3.25</e:Speed></e:TPX></Extensions>", "speed_m_s", 3.25),
    ("<Extensions><e:TPX><e:RunCadence>85</e:RunCadence></e:TPX></Extensions>",
     "cadence_per_min", 85),
    ('<Extensions><TPX xmlns="other"><Watts>210</Watts></TPX></Extensions>', "power_w", 210),
    ('<n7:Cadence xmlns:n7="z">28</n7:Cadence>', "cadence_per_min", 28),
    ("<Cadence><!-- pulled --> 28</Cadence>", "cadence_per_min", 28),
    ("<Cadence><![CDATA[28]]></Cadence>", "cadence_per_min", 28),
]  # fmt: skip


@pytest.mark.parametrize(("inner", "channel", "value"), TCX_VALUES)
def test_a_trackpoint_gives_its_values(inner: str, channel: str, value: float) -> None:
    column = getattr(tcx(trackpoint(0, inner) + trackpoint(1, "")), channel)
    assert column[0] == value
    assert np.isnan(column[1])


GPX_VALUES = [
    ("<extensions><hr>140</hr></extensions>", "heart_rate_bpm", 140),
    ('<extensions><x:E xmlns:x="a"><x:hr>140</x:hr></x:E></extensions>', "heart_rate_bpm", 140),
    ('<extensions><q:heartrate xmlns:q="b">140</q:heartrate></extensions>', "heart_rate_bpm", 140),
    ('<extensions><x:E xmlns:x="a"><x:cad>28</x:cad></x:E></extensions>', "cadence_per_min", 28),
    ("<extensions><cadence>28</cadence></extensions>", "cadence_per_min", 28),
    ("<extensions><power>210</power></extensions>", "power_w", 210),
    ('<extensions><p:PowerInWatts xmlns:p="c">210</p:PowerInWatts></extensions>', "power_w", 210),
    ("<extensions><speed>3.25</speed></extensions>", "speed_m_s", 3.25),
    ("<speed>3.25</speed>", "speed_m_s", 3.25),  # GPX 1.0 has it in the point itself
]  # fmt: skip


@pytest.mark.parametrize(("inner", "channel", "value"), GPX_VALUES)
def test_a_track_point_gives_the_values_of_its_extensions(
    inner: str, channel: str, value: float
) -> None:
    column = getattr(gpx(track_point(0, inner) + track_point(1, "")), channel)
    assert column[0] == value
    assert np.isnan(column[1])


def test_a_prefix_on_every_element_changes_nothing() -> None:
    plain = gpx_file(track_point(0) + track_point(1)).decode()
    body = plain.partition("?>")[2]
    for element in ("gpx", "trkpt", "trkseg", "trk", "time", "extensions", "hr"):
        body = body.replace(f"<{element} ", f"<g:{element} ").replace(
            f"<{element}>", f"<g:{element}>"
        )
        body = body.replace(f"</{element}>", f"</g:{element}>")
    body = body.replace("xmlns=", "xmlns:g=")
    found = reading(body.encode(), "a.gpx").recording
    assert found is not None
    assert found.heart_rate_bpm.tolist() == [120, 120]  # type: ignore[union-attr]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "iso-8859-1"])
def test_the_encoding_does_not_matter(encoding: str) -> None:
    for made, name in ((tcx_file(trackpoint(0)), "a.tcx"), (gpx_file(track_point(0)), "a.gpx")):
        declared = {"utf-16": "UTF-16", "iso-8859-1": "ISO-8859-1"}.get(encoding, "UTF-8")
        text = made.decode().replace("UTF-8", declared)
        text = text.replace("?>", "?><!-- Grüße -->", 1)
        found = reading(text.encode(encoding), name)
        assert found.recording is not None, found.problems
        assert not found.problems


@pytest.mark.parametrize(
    "moment",
    ["2026-03-09T17:30:00Z", "2026-03-09T17:30:00.000Z", "2026-03-09T18:30:00+01:00"],
)
def test_moments_with_an_offset_are_that_moment(moment: str) -> None:
    assert tcx(f"<Trackpoint><Time>{moment}</Time></Trackpoint>").start == START
    assert gpx(f'<trkpt lat="0" lon="0"><time>{moment}</time></trkpt>').start == START


def test_moments_without_an_offset_are_taken_as_utc_and_it_is_said() -> None:
    moment = "2026-03-09T17:30:00"
    for found in (
        tcx(f"<Trackpoint><Time>{moment}</Time></Trackpoint>"),
        gpx(f'<trkpt lat="0" lon="0"><time>{moment}</time></trkpt>'),
    ):
        assert found.start == START
        assert "no_timezone" in [problem.code for problem in found.problems]


def test_laps_of_a_tcx_have_their_start_and_length() -> None:
    assert tcx(trackpoint(0) + trackpoint(59)).laps == (Lap(0.0, 60.0),)


def test_the_laps_calories_add_up_to_the_devices_total() -> None:
    assert tcx(trackpoint(0)).total_calories == 12


def test_between_tracks_or_segments_the_timer_stood() -> None:
    broken = trackpoint(0) + trackpoint(10) + "</Track><Track>" + trackpoint(40) + trackpoint(50)
    assert tcx(broken).pauses == (Pause(10.0, 40.0),)
    broken = track_point(0) + track_point(10) + "</trkseg><trkseg>" + track_point(40)
    assert gpx(broken).pauses == (Pause(10.0, 40.0),)


@pytest.mark.parametrize(
    ("sport", "inner", "device"),
    [
        ("Biking", "<DistanceMeters>1</DistanceMeters>", "bike"),
        ("Biking", "<Position/><DistanceMeters>1</DistanceMeters>", "unknown"),
        ("Rowing", "<Extensions><e:TPX><e:Watts>9</e:Watts></e:TPX></Extensions>", "rower"),
        ("Biking", "<HeartRateBpm><Value>99</Value></HeartRateBpm>", "watch"),
        ("Other", "<HeartRateBpm><Value>99</Value></HeartRateBpm>", "watch"),
        ("Other", "<DistanceMeters>1</DistanceMeters>", "unknown"),
    ],
)
def test_the_kind_of_device_of_a_tcx(sport: str, inner: str, device: str) -> None:
    assert tcx(trackpoint(0, inner), sport=sport).device == device


def test_a_gpx_with_a_heart_rate_is_a_watchs() -> None:
    assert gpx(track_point(0)).device == "watch"
    assert gpx(track_point(0, "")).device == "unknown"


def test_no_position_no_maker_and_no_serial_number_is_kept() -> None:
    place = "<Position><LatitudeDegrees>48.12345</LatitudeDegrees></Position>"
    creator = (
        "<Creator><Name>Our Watch</Name><UnitId>3141592653</UnitId><ProductID>77123</ProductID>"
        "</Creator></Activity>"
    )
    data = tcx_file(trackpoint(0, place)).replace(b"</Activity>", creator.encode())
    found = reading(data, "a.tcx").recording
    assert found is not None
    assert found.device_mark is not None
    assert "1.5" not in repr(gpx(track_point(0)))
    for secret in ("48.12345", "Our Watch", "3141592653", "77123"):
        assert secret not in repr(found)
    # the same device marks its FIT files alike
    fit = reading(write_fit(example(), FitOptions(serial_number=3_141_592_653)), "a.fit").recording
    assert fit is not None
    assert fit.device_mark == found.device_mark


def test_a_point_at_a_time_already_taken_is_left_out() -> None:
    # a trackpoint at the bell often ends one lap and begins the next
    found = tcx(trackpoint(0) + trackpoint(9) + "</Track><Track>" + trackpoint(9) + trackpoint(10))
    assert found.time_s.tolist() == [0, 9, 10]
    assert found.sample_count == 4
    assert found.start is not None
    assert found.start + timedelta(seconds=10) == START + timedelta(seconds=10)
