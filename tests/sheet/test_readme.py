"""The README tells the truth: its class folder is a class, its words are the program's words."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from typer.testing import CliRunner

from api.command.main import app
from api.folder import read_class_folder
from api.sheet import words
from reconcile.result import Status, Verdict


@pytest.fixture(scope="module")
def readme(repository: Path) -> str:
    return (repository / "README.md").read_text(encoding="utf-8")


def folder_from(readme: str, folder: Path) -> None:
    """Write the files that the README shows, each named in the paragraph before it."""
    shown = re.findall(
        r"^`([\w.]+)`, [^`]*(?:`[\w]+`[^`]*)*```\w+\n(.*?)```", readme, re.DOTALL | re.MULTILINE
    )
    assert [name for name, _ in shown] == ["plan.yaml", "class.yaml", "roster.csv", "scores.csv"]
    for name, text in shown:
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "recordings").mkdir()


def test_the_folder_of_five_minutes_is_read_without_a_problem(readme: str, tmp_path: Path) -> None:
    folder_from(readme, tmp_path)
    record = read_class_folder(tmp_path)
    assert {problem.code for problem in record.problems} <= {"no_recordings"}
    assert [athlete.athlete for athlete in record.athletes] == ["b01", "b02"]
    assert record.scores[0].rounds is not None
    assert sum(record.scores[0].rounds) == record.scores[0].score


def test_the_plan_of_five_minutes_can_be_shown(readme: str, tmp_path: Path) -> None:
    folder_from(readme, tmp_path)
    assert CliRunner().invoke(app, ["plan", str(tmp_path / "plan.yaml")]).exit_code == 0


def test_every_command_and_option_that_the_readme_types_is_there(readme: str) -> None:
    typed = re.findall(r"intervouch (\w+)([^`\n#]*)", readme)
    assert {command for command, _ in typed} >= {"plan", "check"}
    for command, rest in typed:
        usage = help_of(command, *re.findall(r"^ ([a-z]+)", rest)) or help_of(command)
        assert usage is not None, command
        for option in re.findall(r"--\w+", rest):
            assert option in re.sub(r"\x1b\[[\d;]*m", "", usage)


def help_of(*command: str) -> str | None:
    """What a command or a command of a group says of itself; None where there is no such one."""
    shown = CliRunner().invoke(app, [*command, "--help"], env={"COLUMNS": "200"})
    return shown.output if shown.exit_code == 0 else None


def test_every_verdict_and_status_is_explained(readme: str) -> None:
    for verdict in get_args(Verdict):
        assert f"| {words.VERDICTS[verdict].sign} | {verdict} |" in readme
    for status in get_args(Status):
        assert f"| {status} |" in readme


def test_every_picture_and_page_that_it_points_to_is_there(readme: str, repository: Path) -> None:
    named = re.findall(r"\]\(([^)#:]+)\)", readme)
    assert "docs/class-table.png" in named
    for path in named:
        assert (repository / path).is_file(), path
