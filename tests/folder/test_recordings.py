"""Names of recordings, and recordings that are not what they seem."""

from __future__ import annotations

import io
import os
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.folder import recordings as reading
from api.folder.recordings import FileName, read_file_name, read_recordings

ROSTER = ("a01", "a02", "j.ro", "k.2", "dee+bo", "Zoë", "p.watch")

CSV = b"time,heart rate\n" + b"".join(
    b"2026-02-03T06:15:%02dZ,%d\n" % (second, 100 + second) for second in range(30)
)


@pytest.mark.parametrize(
    ("name", "athletes", "source"),
    [
        ("a01.watch.fit", ("a01",), "watch"),
        ("a01.watch.fit.gz", ("a01",), "watch"),
        ("a01.watch.2.fit", ("a01",), "watch"),
        ("a01.unknown.3.csv.GZ", ("a01",), "unknown"),
        ("a01.Ski.TCX", ("a01",), "ski"),
        ("A01.bike.gpx", ("a01",), "bike"),
        ("a01+a02.rower.fit", ("a01", "a02"), "rower"),
        ("a01+a02+a01.rower.1.fit", ("a01", "a02"), "rower"),
        ("dee+bo.rower.fit", ("dee+bo",), "rower"),
        ("unassigned.rower.1.fit", (), "rower"),
        ("unassigned.bike.12.csv.gz", (), "bike"),
        ("j.ro.watch.fit", ("j.ro",), "watch"),
        ("k.2.watch.fit", ("k.2",), "watch"),
        ("p.watch.rower.fit", ("p.watch",), "rower"),
        ("zoe\u0308.watch.fit", ("Zoë",), "watch"),
        ("new.comer.watch.fit", ("new.comer",), "watch"),
        ("a01.rower.zip", ("a01",), "rower"),
        ("a01.watch", ("a01",), "unknown"),
    ],
)
def test_a_name_says_who_uploaded_it_and_what_made_it(
    name: str, athletes: tuple[str, ...], source: str
) -> None:
    read = read_file_name(name, ROSTER)
    assert (read.athletes, read.source) == (athletes, source)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("a01.fit", FileName(("a01",), "unknown")),
        ("a01.treadmill.fit", FileName(("a01",), "unknown")),
        ("k.2.fit", FileName(("k.2",), "unknown")),
        ("a01", FileName(("a01",), "unknown")),
        ("stranger.5.fit", FileName(("stranger",), "unknown")),
    ],
)
def test_a_name_without_a_source_is_kept_and_told(name: str, expected: FileName) -> None:
    read = read_file_name(name, ROSTER)
    assert (read.athletes, read.source) == (expected.athletes, expected.source)
    assert [problem.code for problem in read.problems] == ["unknown_source"]


@given(st.text(min_size=1, max_size=30))
def test_any_name_says_something(name: str) -> None:
    read = read_file_name(name, ROSTER)
    assert all(isinstance(athlete, str) for athlete in read.athletes)


def folder_with(path: Path, **files: bytes) -> Path:
    (path / "recordings").mkdir()
    for name, data in files.items():
        (path / "recordings" / name.replace("__", ".")).write_bytes(data)
    return path


def test_every_file_is_an_upload_in_the_order_of_names(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    folder = folder_with(tmp_path, b1__watch__csv=CSV, a01__watch__csv=CSV, a01__bike__fit=b"no")
    uploads, problems = read_recordings(
        folder, ("a01",), lambda stage, done, total: told.append((stage, done, total))
    )
    assert [upload.file for upload in uploads] == ["a01.bike.fit", "a01.watch.csv", "b1.watch.csv"]
    assert [upload.recording is not None for upload in uploads] == [False, True, True]
    assert not problems
    assert [(done, total) for _, done, total in told] == [(0, 3), (1, 3), (2, 3), (3, 3)]


def test_a_members_upload_has_the_zips_name_uploader_and_source(tmp_path: Path) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("one.csv", CSV)
        archive.writestr("sub/a02.watch.csv", CSV)
    folder = folder_with(tmp_path, a01__rower__zip=stream.getvalue())
    uploads, _ = read_recordings(folder, ROSTER)
    assert [(u.file, u.athletes, u.source) for u in uploads] == [
        ("a01.rower.zip/one.csv", ("a01",), "rower"),
        ("a01.rower.zip/sub/a02.watch.csv", ("a01",), "rower"),
    ]


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_bytes(CSV)
    inside = tmp_path / "class"
    inside.mkdir()
    folder_with(inside)
    (inside / "recordings" / "a01.watch.csv").symlink_to(outside)
    (inside / "recordings" / "a02.watch.csv").symlink_to("nowhere.csv")
    (inside / "recordings" / "j.ro.watch.csv").symlink_to("j.ro.watch.csv")
    uploads, _ = read_recordings(inside, ROSTER)
    assert [upload.recording for upload in uploads] == [None, None, None]
    assert {upload.problems[0].code for upload in uploads} == {"outside_folder"}


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    os.mkfifo(folder / "recordings" / "a01.watch.csv")
    uploads, _ = read_recordings(folder, ROSTER)
    assert [problem.code for problem in uploads[0].problems] == ["outside_folder"]


def test_a_file_too_large_for_a_recording_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "MAX_ARCHIVE_BYTES", 10)
    uploads, _ = read_recordings(folder_with(tmp_path, a01__watch__csv=CSV), ROSTER)
    assert [problem.code for problem in uploads[0].problems] == ["too_large"]


def test_a_folder_among_the_recordings_is_told(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, a01__watch__csv=CSV)
    (folder / "recordings" / "more").mkdir()
    (folder / "recordings" / ".hidden").write_bytes(b"x")
    uploads, problems = read_recordings(folder, ROSTER)
    assert len(uploads) == 1
    assert [problem.code for problem in problems] == ["folder_inside"]


@pytest.mark.parametrize("made", [True, False])
def test_no_recordings_is_a_problem_and_no_error(tmp_path: Path, made: bool) -> None:
    if made:
        (tmp_path / "recordings").mkdir()
    uploads, problems = read_recordings(tmp_path, ROSTER)
    assert uploads == ()
    assert [problem.code for problem in problems] == ["no_recordings"]


def test_more_files_than_a_class_has_are_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "MOST_FILES", 1)
    folder = folder_with(tmp_path, a01__watch__csv=CSV, a02__watch__csv=CSV)
    uploads, problems = read_recordings(folder, ROSTER)
    assert [upload.file for upload in uploads] == ["a01.watch.csv"]
    assert [problem.code for problem in problems] == ["too_many_files"]


def test_a_name_without_a_source_shows_in_the_recordings_problems(tmp_path: Path) -> None:
    uploads, _ = read_recordings(folder_with(tmp_path, a01__csv=CSV), ROSTER)
    assert uploads[0].recording is not None
    assert "unknown_source" in {problem.code for problem in uploads[0].recording.problems}
    assert uploads[0].problems == uploads[0].recording.problems
