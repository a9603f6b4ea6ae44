"""Whatever the bytes are, they give readings; nothing is raised and the readings are in order."""

from __future__ import annotations

import gzip

import numpy as np
from hypothesis import example as also
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import FileReading, read_file
from ingest.moments import duration_of
from ingest.recording import Format
from tests.readers.crafting import gpx_file, heart_rates, sound, tcx_file, trackpoint, zipped

FORMATS: tuple[Format, ...] = ("fit", "tcx", "gpx", "csv")
SOUND = [
    *(sound(kind) for kind in FORMATS),
    gzip.compress(sound("csv")),
    zipped({"a.fit": sound("fit"), "b.csv": sound("csv")}),
    tcx_file(trackpoint(0)),
    gpx_file(""),
    heart_rates([90]),
]
NAMES = ["a.fit", "a.tcx.gz", "a.gpx", "a.csv", "a.zip", "a", "", "...", "é\n.csv"]

CELLS = [
    "0",
    "1",
    "2.5",
    "1e9",
    "1e300",
    "-3",
    "-1e300",
    "12,5",
    "1:02",
    "2026-03-09",
    "NaN",
    '"',
    "x",
    "2026-03-09T17:30:00Z",
    "99:99:99",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "9.3.2026",
    "1773077400000",
    "1e17",
    "inf",
]
CELLS += ["", "9.3.2026 17:30"]


def check(readings: tuple[FileReading, ...]) -> None:
    """Hold readings to what every reader promises."""
    assert readings
    for one in readings:
        recording = one.recording
        if recording is None:
            assert one.problems
            continue
        assert recording.problems == one.problems
        assert recording.sample_count >= len(recording.time_s) > 0
        assert np.isfinite(recording.time_s).all()
        assert (np.diff(recording.time_s) > 0).all()
        for name, column in vars(recording).items():
            if isinstance(column, np.ndarray) and not name.startswith("beat"):
                assert column.dtype == np.float64
                assert column.shape == recording.time_s.shape
                assert not np.isinf(column).any()
        spans = [(lap.start_s, lap.end_s) for lap in recording.laps]
        spans += [(pause.start_s, pause.end_s) for pause in recording.pauses]
        assert all(start <= end for start, end in spans)
    for one in readings:
        for problem in one.problems:
            assert problem.code.isidentifier()
            assert problem.message.isprintable()


@given(st.binary(max_size=2000), st.sampled_from(NAMES))
@also(b"\xff\xfe", "a.csv")
@also(b"\x1f\x8b", "a.gz")
@also(b"PK\x03\x04", "a.zip")
@also(b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT", "a.fit")
@also(b"<gpx>", "a.gpx")
@also(b"time,hr", "a.csv")
def test_any_bytes_give_readings(data: bytes, name: str) -> None:
    check(read_file(data, name))


@settings(max_examples=400)
@given(
    st.sampled_from(SOUND),
    st.lists(
        st.tuples(
            st.sampled_from(["put", "drop", "insert", "repeat"]),
            st.floats(0, 1),
            st.binary(min_size=1, max_size=6),
        ),
        min_size=1,
        max_size=12,
    ),
    st.floats(0, 1),
    st.sampled_from(NAMES),
)
def test_sound_files_changed_at_will_give_readings(
    data: bytes, changes: list[tuple[str, float, bytes]], keep: float, name: str
) -> None:
    changed = bytearray(data)
    for kind, where, piece in changes:
        at = int(where * len(changed))
        match kind:
            case "put":
                changed[at : at + len(piece)] = piece
            case "drop":
                del changed[at : at + len(piece)]
            case "insert":
                changed[at:at] = piece
            case _:
                changed[at:at] = changed[at : at + 40 * len(piece)]
    if keep < 0.3:
        changed = changed[: int(len(changed) * keep / 0.3)]
    check(read_file(bytes(changed), name))


@given(
    st.lists(
        st.lists(
            st.sampled_from(CELLS),
            max_size=5,
        ),
        max_size=12,
    ),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["time,hr,lap", "date,time,pace,speed", "timestamp,power,distance,speed"]),
)
def test_any_cells_under_a_header_give_readings(
    rows: list[list[str]], delimiter: str, header: str
) -> None:
    lines = [header.replace(",", delimiter), *(delimiter.join(row) for row in rows)]
    check(read_file("\n".join(lines).encode(), "a.csv"))


@given(st.text(max_size=20))
def test_a_duration_is_seconds_or_a_value_error(text: str) -> None:
    try:
        seconds = duration_of(text)
    except ValueError:
        return
    assert seconds >= 0
