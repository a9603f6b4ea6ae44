"""The bench's own arithmetic, on rows made by hand."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from reconcile.plan import Step, TimedBlock
from tests.bench.alignment_figures import (
    machine_slips,
    owner_is_right,
    right_status,
    watch_coverage,
    watch_slips,
    watch_start,
    watch_width,
)
from tests.bench.bench import measure, print_tables, seeds_of
from tests.bench.outcomes import (
    ClassRow,
    FileRow,
    Outcome,
    ScoreRow,
    StartRow,
    reconcile_simulated,
    shortest_gap,
)
from tests.bench.pictures import write_diagrams
from tests.bench.reliability import bins, levels, reach
from tests.bench.rows import Line, Rows, median, ninetieth, share
from tests.bench.score_figures import (
    honest_flagged_direct,
    implausible_flagged,
    likeliest_right,
    recorded_coverage,
    recorded_error,
)
from tests.bench.simulator.truth import FileTruth, ScoreTruth

OF = ClassRow(1, "medium", "whole machine", "together", 12, 20, True, 1.0)
FILE = FileTruth(
    "a01.watch.fit", "aligned", "watch", "fit", None, None, 900, ("a01",), ("a01",),
    False, False, False,
    {"main": 100.0}, {"a01": {"main": 100.0}}, {"a01": ("main",)}, (),
)  # fmt: skip


def start(said_s: float, *, status: str = "aligned", rivals: tuple[float, ...] = ()) -> StartRow:
    said = {"start_s": said_s, "low_s": said_s - 4, "high_s": said_s + 4, "probability": 0.9}
    return StartRow(OF, FILE, "main", True, 180.0, 100.0, status, said, rivals)


def score(logged: float, code: str, *, flag: bool, first: str, recorded: float = 80.0) -> ScoreRow:
    truth = ScoreTruth("main", "calories", "total", 80.0, logged, None, code, impossible=False)
    said = {
        "recorded": recorded, "low": recorded - 1, "high": recorded + 1, "flag": flag,
        "verdict": "doubtful" if flag else "confirmed", "explanations": [{"code": first}],
    }  # fmt: skip
    return ScoreRow(OF, "a01", truth, said, direct=True, heart_only=False)


def test_starts_are_compared_with_the_one_listed_first() -> None:
    rows = Rows(starts=[start(103.0), start(95.0), start(100.0, status="unmatched")])
    assert [case.value for case in watch_start(rows)] == [3.0, 5.0]


def test_a_slip_is_more_than_half_the_shortest_time_between_work_starts_while_aligned() -> None:
    rows = Rows(starts=[start(189.0), start(191.0), start(300.0, status="ambiguous")])
    assert [case.value for case in watch_slips(rows)] == [0.0, 1.0]
    assert machine_slips(rows) == []


def test_ranges_count_only_in_the_right_round() -> None:
    rows = Rows(starts=[start(103.0), start(105.0), start(280.0)])
    assert [case.value for case in watch_coverage(rows)] == [1.0, 0.0]
    assert [case.value for case in watch_width(rows)] == [8.0, 8.0]


@pytest.mark.parametrize(
    ("status", "rivals", "right"),
    [("aligned", (), 1.0), ("ambiguous", (101.0,), 1.0), ("ambiguous", (500.0,), 0.0),
     ("unmatched", (), 0.0)],
)  # fmt: skip
def test_ambiguous_is_right_only_where_the_truth_is_listed(
    status: str, rivals: tuple[float, ...], right: float
) -> None:
    said = {"status": status, "belongs_to": "a01"}
    rows = Rows(
        files=[FileRow(OF, FILE, said)], starts=[start(280.0, status=status, rivals=rivals)]
    )
    assert [case.value for case in right_status(rows)] == [right]


@pytest.mark.parametrize(
    ("owners", "said", "right"),
    [
        (("a01",), "a01", 1.0),
        (("a01",), "a02", 0.0),
        (("a01", "a03"), ["a03", "a01"], 1.0),
        (("a01", "a03"), "a01", 0.0),
        ((), None, 1.0),
    ],
)
def test_an_owner_is_right_only_as_a_whole(
    owners: tuple[str, ...], said: object, right: float
) -> None:
    row = FileRow(OF, replace(FILE, owners=owners), {"status": "aligned", "belongs_to": said})
    assert owner_is_right(row) == right


def test_recorded_is_compared_with_the_score_at_the_bells() -> None:
    rows = Rows(scores=[score(80, "rounding", flag=False, first="rounding", recorded=82.0)])
    assert [case.value for case in recorded_error(rows)] == pytest.approx([2.5])
    assert [case.value for case in recorded_coverage(rows)] == [0.0]


def test_implausible_starts_at_ten_per_cent_and_leaves_honest_scores_out() -> None:
    rows = Rows(
        scores=[
            score(88.0, "inflated", flag=True, first="inflated"),
            score(87.0, "inflated", flag=False, first="rounding"),
            score(60.0, "missing_round", flag=False, first="missing_round"),
            score(79.0, "rounding", flag=True, first="rounding"),
        ]
    )
    assert [case.value for case in implausible_flagged(rows)] == [1.0, 0.0]
    assert [case.value for case in honest_flagged_direct(rows)] == [1.0]
    assert [case.value for case in likeliest_right(rows)] == [1.0, 0.0, 1.0]


def test_the_shortest_gap_is_between_work_starts() -> None:
    steps = (Step("work", 60), Step("rest", 30), Step("work", 40), Step("rest", 20))
    assert shortest_gap(TimedBlock("main", 3, steps)) == 60
    assert shortest_gap(TimedBlock("main", 1, (Step("work", 600),))) == 600


def test_summaries_and_floors() -> None:
    assert median([3, 1, 2]) == 2
    assert ninetieth(list(range(11))) == 9
    assert share([1, 0, 1, 1]) == 75
    assert median([]) is None
    line = Line("", lambda rows: [], share, "%", at_least=93, at_most=98)
    assert [line.meets(v) for v in (92.9, 93.0, 98.1, None)] == [False, True, False, None]
    assert line.floor == "≥ 93, ≤ 98"


def test_seed_ranges_hold_both_ends() -> None:
    assert list(seeds_of("3..6")) == [3, 4, 5, 6]
    assert list(seeds_of("7")) == [7]


def test_bins_compare_what_was_said_with_what_was() -> None:
    table = bins([(0.96, 1.0), (0.97, 0.0), (1.0, 1.0), (0.1, 0.0)])
    assert [(b.count, b.observed) for b in table] == [(1, 0.0), (2, 0.5), (1, 1.0)]
    assert table[1].predicted == pytest.approx(0.965)


def test_levels_are_those_of_normal_errors() -> None:
    # A normal deviate exceeds 0.6745 in half of the cases, 1.2816 in one of five (from memory).
    assert reach(12.0, 10.0, 8.0, 14.0) == 0.5
    held = {b.low: b.observed for b in levels([0.0, 0.6745 / 1.96 - 1e-3, 1.2816 / 1.96 - 1e-3, 2])}
    assert held[0.5] == 0.5
    assert held[0.8] == 0.75
    assert held[0.95] == 0.75


def test_diagrams_are_svg_with_title_and_description(tmp_path: Path) -> None:
    paths = write_diagrams(tmp_path, {"probability of an owner": bins([(0.9, 1.0), (0.4, 0.0)])})
    root = ET.fromstring(paths[0].read_text())
    words = {child.tag.split("}")[1] for child in root}
    assert {"title", "desc", "circle"} <= words


def test_a_class_goes_through_and_every_figure_can_be_printed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = Rows()
    outcome: Outcome = reconcile_simulated(735)
    rows.add(outcome)
    results = measure(rows)
    print_tables(rows, results)
    printed = capsys.readouterr().out
    assert "first scored block, watch: median" in printed
    assert results["right status"]["cases"] == len(outcome.files)
    assert all(row.said is not None for row in outcome.files)
    assert all(row.said is not None for row in outcome.steps)
