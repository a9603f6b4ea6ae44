"""A plan unfolds onto its clock, and is drawn."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from api.command.main import app
from api.timeline.sentences import clock_reading
from api.timeline.strip import ASCII, draw_strip
from reconcile.plan import Step, Task, TimedBlock
from reconcile.plan_text import read_plan
from reconcile.timeline import unfold, unfold_block

STATIONS = """\
title: Three corners
options: [full, seated]
blocks:
  - name: corners
    rotate: true
    rounds: 2
    steps:
      - work: 1m
        tasks: [{movement: ski, most: metres, instead: {seated: {movement: band pull}}}]
      - work: 45s
        tasks: [{movement: crate lift, load_lb: {men: 52.5, women: 35}}]
      - rest: 30s
      - {work: 1m, tasks: [{movement: wall sit, effort: hard}]}
  - {name: put away, free: 2m..3m}
"""


def movements(option: str | None = None, station: int | None = None) -> list[str]:
    steps = unfold(read_plan(STATIONS), option, station)["corners"]
    return [step.tasks[0].movement for step in steps if step.kind == "work"]


def test_steps_follow_each_other_without_a_gap_to_the_blocks_end() -> None:
    block = read_plan(STATIONS).timed_blocks[0]
    steps = unfold_block(block)
    assert [(s.round, s.step, s.kind, s.start_s, s.end_s) for s in steps] == [
        (1, 1, "work", 0, 60),
        (1, 2, "work", 60, 105),
        (1, 3, "rest", 105, 135),
        (1, 4, "work", 135, 195),
        (2, 1, "work", 195, 255),
        (2, 2, "work", 255, 300),
        (2, 3, "rest", 300, 330),
        (2, 4, "work", 330, 390),
    ]
    assert steps[-1].end_s == block.duration_s


def test_an_option_does_its_own_task_instead() -> None:
    assert movements("seated") == ["band pull", "crate lift", "wall sit"] * 2
    assert movements("full") == movements() == ["ski", "crate lift", "wall sit"] * 2


@pytest.mark.parametrize(
    ("station", "order"),
    [
        (1, ["ski", "crate lift", "wall sit"]),
        (2, ["crate lift", "wall sit", "ski"]),
        (3, ["wall sit", "ski", "crate lift"]),
        (None, ["ski", "crate lift", "wall sit"]),
    ],
)
def test_at_stations_an_athlete_moves_on_by_one_at_each_bell(
    station: int | None, order: list[str]
) -> None:
    assert movements(station=station) == order * 2


def block_of(lengths: list[int], rounds: int) -> TimedBlock:
    kinds = (Step("work", length) if i % 2 == 0 else Step("rest", length)
             for i, length in enumerate(lengths))  # fmt: skip
    return TimedBlock("any", rounds, tuple(kinds))


@given(
    st.lists(st.integers(1, 3600), min_size=1, max_size=5), st.integers(1, 40), st.integers(20, 120)
)
def test_a_strip_shows_every_step_between_two_bells_and_stays_in_its_width(
    lengths: list[int], rounds: int, columns: int
) -> None:
    lines = draw_strip(block_of(lengths, rounds), columns, ASCII)
    assert all(len(line.strip) <= columns for line in lines)
    drawn = [part for line in lines for part in line.strip.split("|")[1:-1]]
    assert len(drawn) == len(lengths) * rounds
    for number, part in enumerate(drawn):
        letter = " " if number % len(lengths) % 2 == 0 else "/"
        assert part == letter * len(part)
        assert part


@given(st.integers(1, 20), st.integers(60, 120))
def test_steps_of_one_length_are_drawn_of_one_width(rounds: int, columns: int) -> None:
    lines = draw_strip(block_of([40, 20], rounds), columns, ASCII)
    drawn = {part for line in lines for part in line.strip.split("|")[1:-1]}
    assert len(drawn) == 2


def test_the_clock_stands_under_the_first_bell_of_its_round() -> None:
    (line,) = draw_strip(block_of([60, 60], 3), 61, ASCII)
    for reading in ("0:00", "2:00", "4:00"):
        assert line.strip[line.clock.index(reading)] == "|"


@pytest.mark.parametrize(
    ("seconds", "reading"), [(0, "0:00"), (59, "0:59"), (270, "4:30"), (3725, "1:02:05")]
)
def test_a_clock_reads_as_on_the_wall(seconds: float, reading: str) -> None:
    assert clock_reading(seconds) == reading


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner(env={"COLUMNS": "100"}).invoke(app, arguments)
    return result.exit_code, result.stdout, result.stderr


def test_the_plan_command_prints_strip_table_and_length(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(STATIONS, "utf-8")
    code, out, err = run("plan", str(path))
    assert (code, err) == (0, "")
    for part in (
        "Three corners",
        "8m30s to 9m30s in all, 6m30s of it on the clock",
        "corners: 2 rounds of 3m15s, 6m30s on the clock, in stations",
        "put away: off the clock, usually 2m to 3m",
        "ski, most metres, seated instead: band pull",
        "crate lift, 52.5/35 lb (men/women)",
        "1:45  5:00",
        "┃",
        "╱╱",
    ):
        assert part in out


def test_the_plan_command_tells_every_mistake_and_ends_with_one(tmp_path: Path) -> None:
    path = tmp_path / "late.yaml"
    path.write_text(STATIONS.replace("45s", "45").replace("2m..3m", "2m"), "utf-8")
    code, out, err = run("plan", str(path))
    assert (code, out) == (1, "")
    assert [line.split(": ")[0] for line in err.splitlines()] == [
        "late.yaml:10:15",
        "late.yaml:14:28",
    ]


@pytest.mark.parametrize("name", ["nobody.yaml", "."])
def test_the_plan_command_names_a_file_that_is_not_there(tmp_path: Path, name: str) -> None:
    code, _, err = run("plan", str(tmp_path / name))
    assert code == 1
    assert "there is no such file" in err


def test_a_movement_in_brackets_is_printed_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(STATIONS.replace("wall sit", '"[bold]sit[/]"'), "utf-8")
    assert "[bold]sit[/]" in run("plan", str(path))[1]


def test_a_terminal_with_only_ascii_gets_only_ascii(tmp_path: Path, repository: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(STATIONS.replace("ski", "pülley"), "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "api.command.main", "plan", str(path)],
        env={"PYTHONIOENCODING": "ascii", "COLUMNS": "80"},
        cwd=repository,
        capture_output=True,
        check=True,
    )
    assert b"p?lley" in done.stdout
    done.stdout.decode("ascii")


def test_a_task_without_an_amount_is_only_its_movement() -> None:
    from api.timeline.sentences import task

    assert task(Task("stretch")) == "stretch"
