"""`check` and `demo` as one types them: what they print, what they write, how they end."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.command.check import nothing_checked
from api.command.main import app
from reconcile.result import ClassResult
from tests.sheet.example import RESULT


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The demo, made once: its folder and what was printed."""
    folder = tmp_path_factory.mktemp("run") / "demo"
    result = CliRunner().invoke(app, ["demo", "--folder", str(folder)])
    assert result.exit_code == 0, result.output
    return folder, result.output


def test_the_demo_says_where_everything_is_and_it_is_there(demo: tuple[Path, str]) -> None:
    folder, printed = demo
    for name in ("class", "class.json", "class.html"):
        assert str(folder / name) in printed
        assert (folder / name).exists()
    assert "This class is fiction." in printed


def test_the_demo_shows_all_ten_and_a_question(demo: tuple[Path, str]) -> None:
    folder, printed = demo
    document = json.loads((folder / "class.json").read_text(encoding="utf-8"))
    assert [athlete["athlete"] for athlete in document["athletes"]] == [
        f"a{number:02d}" for number in range(1, 11)
    ]
    verdicts = {score["verdict"] for a in document["athletes"] for score in a["scores"]}
    assert {"confirmed", "doubtful", "plausible", "unverifiable"} <= verdicts
    assert "?1 " in printed
    assert "a08.watch.fit: unreadable." in printed


def test_what_a_pipe_gets_is_plain_text(demo: tuple[Path, str]) -> None:
    _, printed = demo
    assert "\x1b" not in printed
    assert not set(printed) & set("─│┌┐└┘━┃╭╮█")


def test_checking_again_gives_the_same_document(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, _ = demo
    document = tmp_path / "again.json"
    result = CliRunner().invoke(app, ["check", str(folder / "class"), "--json", str(document)])
    assert result.exit_code == 0
    assert document.read_bytes() == (folder / "class.json").read_bytes()


def test_bad_recordings_are_listed_and_the_status_is_still_0(demo: tuple[Path, str]) -> None:
    _, printed = demo
    assert "a08.watch.fit: unreadable." in printed
    assert "a10.watch.gpx: unmatched." in printed


def test_a_folder_that_is_not_there_ends_with_1_and_says_what_to_do(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["check", str(tmp_path / "nowhere")])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "nowhere" in result.stderr
    assert "name a folder" in result.stderr


def test_a_plan_with_a_mistake_ends_with_1_and_its_place(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    folder = tmp_path / "class"
    shutil.copytree(demo[0] / "class", folder)
    plan = folder / "plan.yaml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("work: 2m10s", "work: two"), encoding="utf-8")
    result = CliRunner().invoke(app, ["check", str(folder)])
    assert result.exit_code == 1
    line = 1 + text[: text.index("work: 2m10s")].count("\n")
    assert f"plan.yaml:{line}" in result.stderr or f"line {line}" in result.stderr


def test_when_no_recording_can_be_read_the_status_is_1(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    folder = tmp_path / "class"
    shutil.copytree(demo[0] / "class", folder)
    for recording in (folder / "recordings").iterdir():
        recording.write_bytes(b"\x00\x01\x02 no recording")
    (folder / "scores.csv").unlink()
    result = CliRunner().invoke(app, ["check", str(folder)])
    assert result.exit_code == 1
    assert "could be checked" in " ".join(result.stderr.split())
    assert "a01.rower.fit: unreadable." in result.stdout


def test_a_place_that_cannot_be_written_ends_with_1(demo: tuple[Path, str], tmp_path: Path) -> None:
    path = tmp_path / "no" / "such" / "class.json"
    result = CliRunner().invoke(app, ["check", str(demo[0] / "class"), "--json", str(path)])
    assert result.exit_code == 1
    assert "class.json cannot be written" in " ".join(result.stderr.split())
    result = CliRunner().invoke(app, ["demo", "--folder", str(demo[0] / "class.json")])
    assert result.exit_code == 1
    assert "--folder" in result.stderr


def test_a_recording_is_explained_by_its_name_or_its_path(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    page = tmp_path / "why.html"
    folder = demo[0] / "class"
    asked = ["check", str(folder), "--explain", "a03.watch.gpx", "--html", str(page)]
    by_name = CliRunner().invoke(app, asked)
    assert by_name.exit_code == 0, by_name.output
    assert by_name.stdout.startswith("a03.watch.gpx: aligned")
    assert "Questions to ask" not in by_name.stdout
    assert "<h1>a03.watch.gpx</h1>" in page.read_text(encoding="utf-8")
    path = str(folder / "recordings" / "a03.watch.gpx")
    by_path = CliRunner().invoke(app, ["check", str(folder), "--explain", path])
    assert by_path.stdout == by_name.stdout


@pytest.mark.parametrize(
    ("option", "name", "said"),
    [
        ("--explain", "a99.watch.fit", "a99.watch.fit: no such recording"),
        ("--explain", "a08.watch.fit", "a08.watch.fit could not be read"),
        ("--explain-energy", "a99", "a99: no such athlete"),
    ],
)
def test_what_cannot_be_explained_ends_with_1_and_says_why(
    demo: tuple[Path, str], option: str, name: str, said: str
) -> None:
    result = CliRunner().invoke(app, ["check", str(demo[0] / "class"), option, name])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert said in " ".join(result.stderr.split())


def test_explaining_leaves_the_document_as_it_is_and_the_class_page_shows_the_mask(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    document, page = tmp_path / "class.json", tmp_path / "class.html"
    result = CliRunner().invoke(
        app,
        [
            *("check", str(demo[0] / "class"), "--explain-energy", "a01", "--oxygen-timed"),
            *("--json", str(document), "--html", str(page)),
        ],
    )
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Energy of a01, kcal")
    assert "by mask" in result.stdout
    assert document.read_bytes() == (demo[0] / "class.json").read_bytes()
    assert '<th scope="col">by mask kcal</th>' in page.read_text(encoding="utf-8")
    assert "by mask" not in (demo[0] / "class.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("result", "expected"),
    [(RESULT, False), (ClassResult("empty", (), ()), True)],
)
def test_nothing_is_checked_only_without_recordings_and_verdicts(
    result: ClassResult, expected: bool
) -> None:
    assert nothing_checked(result) is expected


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
def test_on_a_terminal_there_is_progress_on_standard_error_only(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    screen, side = pty.openpty()
    code = "from api.command.main import main; main()"
    with (tmp_path / "printed").open("wb") as printed:
        running = subprocess.Popen(
            [sys.executable, "-c", code, "check", str(demo[0] / "class")],
            stdout=printed,
            stderr=side,
            env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
        )
    os.close(side)
    seen = bytearray()
    # Linux ends a terminal that nobody writes to any more with an error, others with nothing.
    with contextlib.suppress(OSError):
        while chunk := os.read(screen, 65536):
            seen += chunk
    os.close(screen)
    assert running.wait() == 0
    assert b"/18" in seen
    assert b"\x1b" not in (tmp_path / "printed").read_bytes()
