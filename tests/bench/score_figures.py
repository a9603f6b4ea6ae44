"""Figures of recorded scores, verdicts, explanations and advice.

Each function returns the cases of one figure; its docstring says what counts.
"""

from __future__ import annotations

from tests.bench.outcomes import ScoreRow
from tests.bench.rows import Case, Line, Rows, mean, median, ninetieth, share


def direct(rows: Rows) -> list[ScoreRow]:
    return [row for row in rows.scores if row.direct]


def recorded_given(rows: Rows) -> list[Case]:
    """Scored blocks in calories or metres of which a readable machine file holds every pull:
    whether `recorded` is given."""
    return [
        Case(float(row.said is not None and row.said["recorded"] is not None), row)
        for row in direct(rows)
    ]


def with_recorded(rows: Rows) -> list[ScoreRow]:
    return [
        row for row in direct(rows) if row.said is not None and row.said["recorded"] is not None
    ]


def recorded_error(rows: Rows) -> list[Case]:
    """|recorded − score at the bells|, per cent of the latter (of 1 where it is smaller)."""
    return [
        Case(abs(row.said["recorded"] - row.truth.true) / max(row.truth.true, 1.0) * 100, row)
        for row in with_recorded(rows)
        if row.said is not None
    ]


def recorded_coverage(rows: Rows) -> list[Case]:
    """Whether the 95 % range of `recorded` holds the score at the bells."""
    return [
        Case(float(row.said["low"] - 1e-9 <= row.truth.true <= row.said["high"] + 1e-9), row)
        for row in with_recorded(rows)
        if row.said is not None
    ]


def recorded_width(rows: Rows) -> list[Case]:
    """Width of that range, per cent of the score at the bells."""
    return [
        Case((row.said["high"] - row.said["low"]) / max(row.truth.true, 1.0) * 100, row)
        for row in with_recorded(rows)
        if row.said is not None
    ]


def step_calories(rows: Rows) -> list[Case]:
    """Work steps on a machine whose readable file holds the whole block, in which the machine's own
    count grew by half a calorie or more: |machine_calories − that growth|; −1 where not given."""
    cases = []
    for row in rows.steps:
        true = row.truth.machine_calories
        if not row.machine or row.truth.kind != "work" or true is None or true < 0.5:
            continue
        said = None if row.said is None else row.said["machine_calories"]
        cases.append(Case(-1.0 if said is None else abs(said - true), row))
    return cases


def step_calories_error(rows: Rows) -> list[Case]:
    """The cases of `step_calories` that are given."""
    return [case for case in step_calories(rows) if case.value >= 0]


def step_calories_given(rows: Rows) -> list[Case]:
    """Whether a case of `step_calories` is given."""
    return [Case(float(case.value >= 0), case.row) for case in step_calories(rows)]


def is_wrong(row: ScoreRow) -> bool:
    return row.truth.logged is not None and row.truth.code != "rounding"


def off_by(row: ScoreRow) -> float:
    """How far the logged score is from the one at the bells, as a share of the latter."""
    assert row.truth.logged is not None
    return abs(row.truth.logged - row.truth.true) / max(row.truth.true, 1e-9)


def flagged(row: ScoreRow) -> float:
    return float(row.said is not None and row.said["flag"])


def implausible_flagged(rows: Rows) -> list[Case]:
    """Mistaken scores that are impossible, or 10 % or more off with machine evidence (as in
    `recorded_given`): whether they are flagged."""
    return [
        Case(flagged(row), row)
        for row in rows.scores
        if is_wrong(row) and (row.truth.impossible or (row.direct and off_by(row) >= 0.1))
    ]


def impossible_flagged(rows: Rows) -> list[Case]:
    """Impossible scores, whatever the evidence: whether they are flagged."""
    return [Case(flagged(row), row) for row in rows.scores if row.truth.impossible]


def small_mistakes_flagged(rows: Rows) -> list[Case]:
    """Mistaken scores less than 10 % off with machine evidence: whether they are flagged."""
    return [Case(flagged(row), row) for row in direct(rows) if is_wrong(row) and off_by(row) < 0.1]


def honest(rows: Rows) -> list[ScoreRow]:
    return [row for row in rows.scores if row.truth.code == "rounding"]


def honest_flagged_direct(rows: Rows) -> list[Case]:
    """Honest scores with machine evidence: whether they are flagged."""
    return [Case(flagged(row), row) for row in honest(rows) if row.direct]


def honest_flagged_heart(rows: Rows) -> list[Case]:
    """Honest scores of athletes with a readable watch file and no machine file: flagged or not."""
    return [Case(flagged(row), row) for row in honest(rows) if row.heart_only]


def honest_flagged_other(rows: Rows) -> list[Case]:
    """All other honest scores (no file, or a machine file that is incomplete): flagged or not."""
    return [
        Case(flagged(row), row) for row in honest(rows) if not row.direct and not row.heart_only
    ]


def likeliest_right(rows: Rows) -> list[Case]:
    """Mistaken scores with machine evidence: whether the first explanation is the true one."""
    cases = []
    for row in direct(rows):
        if is_wrong(row):
            reasons = [] if row.said is None else row.said["explanations"]
            cases.append(Case(float(bool(reasons) and reasons[0]["code"] == row.truth.code), row))
    return cases


def confirmed_honest(rows: Rows) -> list[Case]:
    """Honest scores with machine evidence: whether they are `confirmed`."""
    return [
        Case(float(row.said is not None and row.said["verdict"] == "confirmed"), row)
        for row in honest(rows)
        if row.direct
    ]


def load_advice(rows: Rows) -> list[Case]:
    """Scored blocks with an `intended` machine task whose readable machine file holds every pull:
    whether the advice on the load is the right one (none given is wrong)."""
    return [
        Case(float(row.said_advice == row.true_advice), row)
        for row in rows.blocks
        if row.machine and row.true_advice is not None
    ]


def spreadsheet_flags(row: ScoreRow) -> float:
    assert row.spreadsheet is not None
    assert row.truth.logged is not None
    return float(abs(row.truth.logged - row.spreadsheet) > 0.1 * max(row.spreadsheet, 1e-9))


def spreadsheet_error(rows: Rows) -> list[Case]:
    """Baseline: the last number of the machine file's column against a total at the bells."""
    return [
        Case(abs(row.spreadsheet - row.truth.true) / max(row.truth.true, 1.0) * 100, row)
        for row in direct(rows)
        if row.spreadsheet is not None and row.truth.take == "total"
    ]


def spreadsheet_implausible(rows: Rows) -> list[Case]:
    """Baseline: implausible totals that it flags (more than 10 % from the file's last number)."""
    return [
        Case(spreadsheet_flags(row), row)
        for row in direct(rows)
        if row.spreadsheet is not None
        and row.truth.take == "total"
        and is_wrong(row)
        and off_by(row) >= 0.1
    ]


def spreadsheet_honest(rows: Rows) -> list[Case]:
    """Baseline: honest totals that it flags."""
    return [
        Case(spreadsheet_flags(row), row)
        for row in honest(rows)
        if row.direct and row.spreadsheet is not None and row.truth.take == "total"
    ]


SCORES = (
    Line("recorded given", recorded_given, share, "%", at_least=97),
    Line("recorded: median error", recorded_error, median, "%", at_most=0.8),
    Line("recorded: 90th", recorded_error, ninetieth, "%", at_most=4.5),
    Line("recorded: ranges hold the truth", recorded_coverage, share, "%", at_least=93, at_most=98),
    Line("recorded: mean width", recorded_width, mean, "%"),
    Line("calories of a step given", step_calories_given, share, "%", at_least=92),
    Line("calories of a step: median error", step_calories_error, median, "cal", at_most=0.13),
    Line("calories of a step: 90th", step_calories_error, ninetieth, "cal", at_most=0.45),
    Line("implausible flagged", implausible_flagged, share, "%", at_least=94),
    Line("impossible flagged", impossible_flagged, share, "%", at_least=100),
    Line("mistakes below 10 % flagged", small_mistakes_flagged, share, "%"),
    Line("honest flagged, machine evidence", honest_flagged_direct, share, "%", at_most=4),
    Line("honest flagged, heart rate only", honest_flagged_heart, share, "%", at_most=0.8),
    Line("honest flagged, other", honest_flagged_other, share, "%"),
    Line("honest confirmed, machine evidence", confirmed_honest, share, "%"),
    Line("likeliest explanation is the true one", likeliest_right, share, "%", at_least=78),
    Line("advice on the load right", load_advice, share, "%", at_least=95.5),
)
SCORE_BASELINES = (
    Line("spreadsheet: median error of totals", spreadsheet_error, median, "%"),
    Line("spreadsheet: implausible flagged", spreadsheet_implausible, share, "%"),
    Line("spreadsheet: honest flagged", spreadsheet_honest, share, "%"),
)
