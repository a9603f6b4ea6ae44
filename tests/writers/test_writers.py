"""What each writer writes is what independent decoders read back."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import fitdecode
import fitparse
import gpxpy
import numpy as np
import pytest

from ingest.recording import Floats, Lap, Pause, Recording
from ingest.writers import FitOptions, TableOptions, write_csv, write_fit, write_gpx, write_tcx
from ingest.writers.columns import clock_text
from ingest.writers.tcx import DATABASE, EXTENSION

START = datetime(2026, 5, 4, 6, 15, 10, tzinfo=UTC)


def column(values: Floats | None) -> Floats:
    assert values is not None
    return values


def example() -> Recording:
    """Two minutes of rowing with a hole, a lap, a pause and missing values."""
    time_s = np.array([0, 1, 2, 3, 5, 8, 41, 42, 43, 100, 101, 102, 120], dtype=float)
    ramp = np.arange(time_s.size, dtype=float)
    heart_rate = 100 + ramp
    heart_rate[4] = np.nan
    return Recording(
        format="fit",
        device="rower",
        start=START,
        sample_count=time_s.size,
        time_s=time_s,
        heart_rate_bpm=heart_rate,
        power_w=200 + 3 * ramp,
        cadence_per_min=24 + ramp,
        speed_m_s=3.5 + 0.01 * ramp,
        distance_m=4.25 * time_s,
        calories=np.floor(time_s / 4),
        total_calories=30.0,
        laps=(Lap(0.0, 43.0), Lap(43.0, 120.0, workout_step=1)),
        pauses=(Pause(43.0, 100.0),),
    )


FIT_LAYOUTS = [
    FitOptions(byte_order=order, compressed_timestamps=compressed)
    for order in ("little", "big")
    for compressed in (False, True)
]
FIT_FIELDS = {
    "heart_rate": ("heart_rate_bpm", 0.5),
    "power": ("power_w", 0.5),
    "cadence": ("cadence_per_min", 0.5),
    "distance": ("distance_m", 0.005),
    "calories": ("calories", 0.5),
}


Decode = Callable[[bytes], list[dict[str, object]]]


def rows_by_fitdecode(data: bytes) -> list[dict[str, object]]:
    with fitdecode.FitReader(
        data, check_crc=fitdecode.CrcCheck.RAISE, error_handling=fitdecode.ErrorHandling.RAISE
    ) as reader:
        return [
            {field.name: field.value for field in frame.fields}
            for frame in reader
            if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record"
        ]


def rows_by_fitparse(data: bytes) -> list[dict[str, object]]:
    messages = fitparse.FitFile(io.BytesIO(data), check_crc=True).get_messages("record")
    return [message.get_values() for message in messages]


@pytest.mark.parametrize("decode", [rows_by_fitdecode, rows_by_fitparse])
@pytest.mark.parametrize("options", FIT_LAYOUTS, ids=str)
def test_fit_reads_back_sample_by_sample_with_two_decoders(
    decode: Decode, options: FitOptions
) -> None:
    recording = example()
    rows = decode(write_fit(recording, options))
    assert len(rows) == recording.time_s.size
    for index, row in enumerate(rows):
        stamp = row["timestamp"]
        assert isinstance(stamp, datetime)
        expected = START + timedelta(seconds=float(recording.time_s[index]))
        assert stamp.replace(tzinfo=UTC) == expected
        for name, (attribute, tolerance) in FIT_FIELDS.items():
            value = getattr(recording, attribute)[index]
            if np.isnan(value):
                assert row.get(name) is None
            else:
                assert row[name] == pytest.approx(value, abs=tolerance)
        speed = row.get("enhanced_speed", row.get("speed"))
        assert speed == pytest.approx(column(recording.speed_m_s)[index], abs=0.0005)


@pytest.mark.parametrize("options", FIT_LAYOUTS, ids=str)
def test_fit_keeps_laps_pauses_sport_and_totals(options: FitOptions) -> None:
    with fitdecode.FitReader(write_fit(example(), options)) as reader:
        frames = [f for f in reader if f.frame_type == fitdecode.FIT_FRAME_DATA]
    laps = [f for f in frames if f.name == "lap"]
    assert [lap.get_value("total_elapsed_time") for lap in laps] == [43.0, 77.0]
    assert laps[1].get_value("wkt_step_index") == 1
    assert laps[1].get_value("start_time") == START + timedelta(seconds=43)
    timer = [
        (f.get_value("timestamp"), f.get_value("event_type")) for f in frames if f.name == "event"
    ]
    assert timer[1:3] == [
        (START + timedelta(seconds=43), "stop_all"),
        (START + timedelta(seconds=100), "start"),
    ]
    session = next(f for f in frames if f.name == "session")
    assert session.get_value("sub_sport") == "indoor_rowing"
    assert session.get_value("total_calories") == 30
    assert session.get_value("total_timer_time") == 63.0


def test_fit_keeps_beat_intervals_in_order() -> None:
    beats = 0.6 + 0.01 * np.arange(12, dtype=np.float64)
    recording = replace(
        example(), beat_time_s=np.linspace(0.5, 45, beats.size), beat_interval_s=beats
    )
    with fitdecode.FitReader(write_fit(recording)) as reader:
        frames = [f for f in reader if f.frame_type == fitdecode.FIT_FRAME_DATA]
    read = [
        value
        for f in frames
        if f.name == "hrv"
        for value in f.get_value("time")
        if value is not None
    ]
    assert read == pytest.approx(list(beats))


def test_formats_that_need_a_date_say_so() -> None:
    undated = replace(example(), start=None)
    for write in (write_fit, write_tcx, write_gpx, write_csv):
        with pytest.raises(ValueError, match="date"):
            write(undated)


def test_tcx_reads_back_with_the_standard_library() -> None:
    recording = example()
    root = ET.fromstring(write_tcx(recording))
    space = {"t": DATABASE, "x": EXTENSION}
    points = root.findall(".//t:Trackpoint", space)
    assert len(points) == recording.time_s.size
    assert points[-1].findtext("t:Time", namespaces=space) == "2026-05-04T06:17:10Z"
    watts = [float(p.findtext(".//x:Watts", "nan", space)) for p in points]
    assert watts == pytest.approx(list(column(recording.power_w)))
    missing = [p.find("t:HeartRateBpm", space) is None for p in points]
    assert missing == list(np.isnan(column(recording.heart_rate_bpm)))
    assert len(root.findall(".//t:Lap", space)) == 2
    assert len(root.findall(".//t:Track", space)) == 3


def test_a_pause_inside_a_tcx_lap_begins_a_new_track() -> None:
    recording = replace(example(), laps=())
    root = ET.fromstring(write_tcx(recording))
    assert len(root.findall(".//{*}Lap")) == 1
    assert len(root.findall(".//{*}Track")) == 2


def test_gpx_reads_back_with_gpxpy() -> None:
    recording = example()
    track = gpxpy.parse(write_gpx(recording).decode()).tracks[0]
    assert len(track.segments) == 2
    points = [point for segment in track.segments for point in segment.points]
    assert len(points) == recording.time_s.size
    assert points[-1].time == START + timedelta(seconds=120)
    rates = [
        next(
            (float(e.text) for x in p.extensions for e in x.iter() if e.tag.endswith("hr")), np.nan
        )
        for p in points
    ]
    np.testing.assert_array_equal(rates, recording.heart_rate_bpm)


TABLES = [
    TableOptions(),
    TableOptions(delimiter=";", decimal_comma=True, byte_order_mark=True, line_end="\r\n"),
    TableOptions(delimiter="\t", time="elapsed", time_decimals=1),
    TableOptions(time="clock", pace_metres=500, headers={"pace": "Pace (/500 m)"}),
]


@pytest.mark.parametrize("options", TABLES, ids=str)
def test_tables_read_back_with_the_csv_module(options: TableOptions) -> None:
    recording = example()
    text = write_csv(recording, options).decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=options.delimiter))
    header, body = rows[0], rows[1:]
    assert len(body) == recording.time_s.size
    distance = [float(r[header.index("distance_m")].replace(",", ".")) for r in body]
    assert distance == pytest.approx(list(column(recording.distance_m)), abs=0.01)
    assert body[4][header.index("heart_rate_bpm")] == ""
    assert text.endswith(options.line_end)


def test_a_comma_for_cells_and_decimals_is_refused() -> None:
    with pytest.raises(ValueError, match="comma"):
        write_csv(example(), TableOptions(decimal_comma=True))


@pytest.mark.parametrize(
    ("seconds", "decimals", "text"),
    [
        (0, 0, "0:00"),
        (59.6, 0, "1:00"),
        (125.25, 1, "2:05.2"),
        (3599.96, 1, "1:00:00.0"),
        (3725, 0, "1:02:05"),
    ],
)
def test_clock_times(seconds: float, decimals: int, text: str) -> None:
    assert clock_text(seconds, decimals) == text
