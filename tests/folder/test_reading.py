"""A whole class folder becomes one record, or one error that says which file lacks what."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.folder import ClassFolderError, read_class_folder
from reconcile.classes import Athlete, LoggedScore, Pin

PLAN = """\
title: Ropes and rails
blocks:
  - name: rails
    rounds: 3
    steps:
      - {work: 50s, tasks: [{movement: bike, most: metres}]}
      - rest: 40s
    score: {measure: metres, take: highest}
"""

CSV = "time,heart rate\n" + "".join(
    f"2026-02-03T06:15:{second:02}Z,{100 + second}\n" for second in range(40)
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small class in which everything is as it should be."""
    files = {
        "class.yaml": "plan: plan.yaml\nstart: 2026-02-03T07:15:00+01:00\n",
        "plan.yaml": PLAN,
        "roster.csv": "athlete,sex\nivo,m\nuna,f\n",
        "scores.csv": "athlete,score\nivo,410\n",
        "pins.csv": "file,block,start_s,owner\nuna.watch.csv,rails,3.5,ivo\n",
        "history.json": json.dumps({"schema": 1}),
        "recordings/una.watch.csv": CSV,
    }
    (tmp_path / "recordings").mkdir()
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_a_folder_is_read_into_one_record(folder: Path) -> None:
    record = read_class_folder(folder)
    assert record.plan.title == "Ropes and rails"
    assert record.start == datetime(2026, 2, 3, 6, 15, tzinfo=UTC)
    assert record.athletes == (Athlete("ivo", "m"), Athlete("una", "f"))
    assert record.scores == (LoggedScore("ivo", "rails", score=410),)
    assert [upload.file for upload in record.uploads] == ["una.watch.csv"]
    assert record.pins == (Pin("una.watch.csv", "rails", 3.5, "ivo"),)
    assert record.history == {"schema": 1}
    assert record.problems == ()


@pytest.mark.parametrize("name", ["class.yaml", "plan.yaml", "roster.csv"])
@pytest.mark.parametrize("how", ["missing", "empty", "binary", "folder", "linked out"])
def test_a_folder_without_its_needed_files_is_refused_by_name(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, name: str, how: str
) -> None:
    path = folder / name
    text = path.read_text("utf-8")
    path.unlink()
    if how == "empty":
        path.touch()
    elif how == "binary":
        path.write_bytes(bytes(range(256)) * 4)
    elif how == "folder":
        path.mkdir()
    elif how == "linked out":
        elsewhere = tmp_path_factory.mktemp("elsewhere") / name
        elsewhere.write_text(text, encoding="utf-8")
        path.symlink_to(elsewhere)
    with pytest.raises(ClassFolderError) as caught:
        read_class_folder(folder)
    assert caught.value.file == name
    assert caught.value.message


@pytest.mark.parametrize(
    "plan", ["../plan.yaml", "/etc/hostname", "recordings", "no.yaml", "\0", "𝕡" * 200]
)
def test_a_plan_outside_the_folder_is_not_read(folder: Path, plan: str) -> None:
    (folder / "class.yaml").write_text(
        f'plan: "{plan}"\nstart: 2026-02-03T07:15:00+01:00\n'.replace("\0", "\\0"), "utf-8"
    )
    (folder.parent / "plan.yaml").write_text(PLAN, "utf-8")
    with pytest.raises(ClassFolderError) as caught:
        read_class_folder(folder)
    assert caught.value.code in ("outside_folder", "missing_file", "not_printable")


def test_a_mistake_in_the_plan_is_told_with_all_others_of_the_plan(folder: Path) -> None:
    bad = PLAN.replace("rest: 40s", "rest: 40").replace("rounds: 3", "rounds: three")
    (folder / "plan.yaml").write_text(bad, "utf-8")
    with pytest.raises(ClassFolderError) as caught:
        read_class_folder(folder)
    assert [(m.file, m.line, m.column) for m in caught.value.mistakes] == [
        ("plan.yaml", 4, 13),
        ("plan.yaml", 7, 15),
    ]


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(ClassFolderError, match="no such folder"):
        read_class_folder(tmp_path / "nobody")


@pytest.mark.parametrize("name", ["scores.csv", "pins.csv", "history.json"])
def test_a_class_does_without_the_rest(folder: Path, name: str) -> None:
    (folder / name).unlink()
    record = read_class_folder(folder)
    expected = ["missing_file"] if name == "scores.csv" else []
    assert [problem.code for problem in record.problems] == expected


@pytest.mark.parametrize("name", ["scores.csv", "pins.csv", "history.json"])
def test_a_list_that_is_no_list_is_told_and_carried_on_from(folder: Path, name: str) -> None:
    (folder / name).write_bytes(bytes(range(256)))
    record = read_class_folder(folder)
    assert record.problems
    assert all(problem.message.startswith(name) for problem in record.problems)


def test_whoever_uploaded_without_being_on_the_roster_is_kept(folder: Path) -> None:
    (folder / "recordings" / "zed+una.watch.2.csv").write_text(CSV, "utf-8")
    record = read_class_folder(folder)
    assert record.athletes[2] == Athlete("zed")
    assert [problem.code for problem in record.problems] == ["not_on_roster"]


def test_a_start_of_no_block_is_told_and_left_out(folder: Path) -> None:
    with (folder / "class.yaml").open("a", encoding="utf-8") as stream:
        stream.write("starts: {ropes: 2026-02-03T07:20:00Z, rails: 2026-02-03T07:21:00Z}\n")
    record = read_class_folder(folder)
    assert list(record.starts) == ["rails"]
    assert [problem.code for problem in record.problems] == ["unknown_block"]


def test_real_recordings_are_read_under_their_names(folder: Path, recordings: Path) -> None:
    paths = [path for path in recordings.iterdir() if path.suffix in (".fit", ".tcx", ".gpx")]
    for number, path in enumerate(paths):
        copied = folder / "recordings" / f"ivo.watch.{number}{path.suffix}"
        copied.write_bytes(path.read_bytes())
    record = read_class_folder(folder)
    assert len(record.uploads) == len(paths) + 1
    assert all(upload.recording is not None for upload in record.uploads)
