"""What explanations say: in a terminal of any kind, and as a page that stands alone."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser

import numpy as np
import pytest
from rich.console import Console

from api.sheet import words
from api.sheet.energy_terminal import print_energy
from api.sheet.explained import factor_text, place_table
from api.sheet.explained_page import explained_page
from api.sheet.explained_terminal import print_explained
from reconcile.align.explain import ExplainedRecording, explain
from reconcile.engine import Workings, workings
from tests.reconcile.known_class import RECORD, STATED, class_of, upload

FILES = ("a01.rower.csv", "a01.watch.csv", "a02.watch.csv")


@pytest.fixture(scope="module")
def worked() -> Workings:
    return workings(RECORD)


@pytest.fixture(scope="module")
def stranger() -> ExplainedRecording:
    """A watch of another day that shows no work."""
    other = upload("a04.watch.csv", "watch", -200.0)
    assert other.recording is not None
    walk = replace(
        other.recording,
        start=STATED + timedelta(days=3),
        heart_rate_bpm=100.0
        + np.random.default_rng(5).normal(0.0, 1.0, other.recording.time_s.size),
    )
    record = class_of(*RECORD.uploads, replace(other, recording=walk))
    return explain(record, workings(record).placed, "a04.watch.csv")


def text_of(told: ExplainedRecording, width: int = 100, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding)
    print_explained(Console(file=stream, width=width, highlight=False), told)
    stream.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [48, 80, 100, 160])
@pytest.mark.parametrize("file", FILES)
def test_no_line_is_wider_than_the_terminal_or_ends_in_blanks(
    worked: Workings, file: str, width: int
) -> None:
    for line in text_of(explain(RECORD, worked.placed, file), width).splitlines():
        assert len(line) <= width
        assert line == line.rstrip()


def test_where_only_ascii_can_be_shown_only_ascii_is(worked: Workings) -> None:
    text = text_of(explain(RECORD, worked.placed, "a01.watch.csv"), encoding="ascii")
    assert "begins" in text
    assert text.isascii()
    assert "?" not in text


def test_what_is_printed_is_plain_text(worked: Workings) -> None:
    text = text_of(explain(RECORD, worked.placed, "a01.rower.csv"))
    assert "\x1b" not in text


def test_the_place_its_rivals_and_who_says_what_are_printed(worked: Workings) -> None:
    told = explain(RECORD, worked.placed, "a01.rower.csv")
    text = text_of(told)
    assert text.startswith("a01.rower.csv: aligned; that it is of this class: over 99 in 100.")
    assert "Whose: a01" in text
    assert "main begins" in text
    for row in place_table(told.blocks[0]).rows:
        assert any(line.startswith(f"{row.number}  {row.start}") for line in text.splitlines()), row
    assert words.POWER_KEY in text
    assert words.HEART_KEY not in text


def test_how_sure_the_names_of_a_machine_used_in_turns_are_is_said(worked: Workings) -> None:
    told = explain(RECORD, worked.placed, "a01.rower.csv")
    shared = replace(told, owners=("a01", "a02"), ownership=0.41)
    assert "Whose: a01 and a02, in turns (41 in 100)." in text_of(shared)


def test_the_plan_is_drawn_with_every_bell_and_hatched_rests(worked: Workings) -> None:
    text = text_of(explain(RECORD, worked.placed, "a01.watch.csv"), width=160)
    (row,) = (line for line in text.splitlines() if line.strip().startswith("|_"))
    # Five rounds of work and rest: ten steps, eleven bells.
    assert row.count("|") == 11
    assert len(re.findall("/+", row)) == 5


def test_the_signal_and_the_answer_fitted_to_it_are_drawn(worked: Workings) -> None:
    text = text_of(explain(RECORD, worked.placed, "a01.watch.csv"))
    plot = text.split(words.HEART_KEY)[1].split(words.PLAN_KEY)[0]
    assert plot.count("=") > 60


def test_a_file_of_something_else_is_told_as_such(stranger: ExplainedRecording) -> None:
    text = text_of(stranger)
    assert text.startswith("a04.watch.csv: unmatched")
    assert "If it were of this class, main would begin" in text
    assert words.PLAN_KEY not in text


@pytest.mark.parametrize(
    ("log_factor", "text"),
    [
        (0.0, "as likely"),
        (math.log(1.1), "as likely"),
        (math.log(1 / 3), "3.0× less"),
        (math.log(4.4), "4.4× more"),
        (-math.log(9.96), "10× less"),
        (-math.log(12345), "12000× less"),
        (-1e5, "over a million× less"),
    ],
)
def test_a_factor_is_told_as_people_say_it(log_factor: float, text: str) -> None:
    assert factor_text(log_factor) == text


class Page(HTMLParser):
    """The ids, what they are named by, and the tags of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.named: list[str] = []
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        if identity := found.get("id"):
            self.ids.append(identity)
        for name in ("aria-labelledby", "aria-details"):
            self.named += (found.get(name) or "").split()


@pytest.mark.parametrize("file", FILES)
def test_the_page_stands_alone_and_names_every_picture(worked: Workings, file: str) -> None:
    told = explain(RECORD, worked.placed, file)
    text = explained_page(told, "Willow bend")
    page = Page(text)
    assert len(page.ids) == len(set(page.ids))
    assert set(page.named) <= set(page.ids)
    assert "script" not in page.tags
    assert not re.search(r"(?:src|href)=|url\((?!#hatch)|@import", text)
    # The signal and each block's likelihood: a title, a description and a table of each.
    assert page.tags.count("title") == 1 + 1 + len(told.blocks)
    assert page.tags.count("desc") == 1 + len(told.blocks)
    assert page.tags.count("table") == 1 + len(told.blocks)
    assert explained_page(told, "Willow bend") == text


def test_the_page_draws_the_fitted_answer_only_where_there_is_heart_rate(
    worked: Workings,
) -> None:
    with_heart = explained_page(explain(RECORD, worked.placed, "a01.watch.csv"), "x")
    without = explained_page(explain(RECORD, worked.placed, "a01.rower.csv"), "x")
    assert '<path class="fitted"' in with_heart
    assert '<path class="fitted"' not in without
    assert '<path class="power"' in without


def test_the_page_escapes_names(worked: Workings) -> None:
    told = replace(explain(RECORD, worked.placed, "a01.watch.csv"), file="<b>a01</b>.watch.csv")
    text = explained_page(told, "<i>Willow</i>")
    assert "<b>" not in text
    assert "<i>" not in text


def test_the_page_of_something_else_draws_no_plan(stranger: ExplainedRecording) -> None:
    text = explained_page(stranger, "Willow bend")
    assert 'class="rest-band" x=' not in text
    assert "If it were of this class" in text


def energy_text(worked: Workings, athlete: str, width: int, *, oxygen_timed: bool) -> str:
    stream = io.StringIO()
    (found,) = (one for one in worked.result.athletes if one.athlete == athlete)
    console = Console(file=stream, width=width, highlight=False)
    print_energy(console, found, worked.energy[athlete], oxygen_timed=oxygen_timed)
    return stream.getvalue()


def test_energy_is_told_a_step_a_line_with_every_model_that_spoke(worked: Workings) -> None:
    text = energy_text(worked, "a01", 250, oxygen_timed=False)
    lines = [line for line in text.splitlines() if re.match(r"\d +\d (work|rest) ", line)]
    answer = worked.energy["a01"]
    assert len(lines) == len(answer.steps) == 10
    for row in answer.rows:
        if row.model == "joined":
            continue
        line = lines[2 * (row.round - 1) + row.step - 1]
        weight = f"×{row.weight:.2f}" if row.weight > 0 else "unused"
        assert f"{row.model} {row.kcal:.1f} ±{100 * row.sd:.0f}% {weight}" in line
    total = answer.blocks[0].total
    assert f"main: {total.kcal:.0f} ({total.low:.0f}–{total.high:.0f})" in text


def test_the_weights_of_a_step_sum_to_one(worked: Workings) -> None:
    for answer in worked.energy.values():
        weights: dict[tuple[int, int], float] = {}
        for row in answer.rows:
            if row.model != "joined":
                place = (row.round, row.step)
                weights[place] = weights.get(place, 0.0) + row.weight
        assert all(weight == pytest.approx(1.0, abs=1e-6) for weight in weights.values())


def test_what_a_mask_would_read_stands_beside_and_only_where_asked_for(worked: Workings) -> None:
    plain = energy_text(worked, "a01", 120, oxygen_timed=False)
    beside = energy_text(worked, "a01", 120, oxygen_timed=True)
    assert "by mask" not in plain
    assert words.OXYGEN_TIMED.split(":")[0] in beside
    answer = worked.energy["a01"]
    first = answer.oxygen_timed[0]
    assert first is not None
    assert f"{first.kcal:.1f} ({first.low:.1f}–{first.high:.1f})" in beside
    # The two are never added: the total is that of the demand.
    total = answer.blocks[0].total
    assert f"main: {total.kcal:.0f} (" in plain
    assert f"main: {total.kcal:.0f} (" in beside
