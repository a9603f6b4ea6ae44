"""Figures of energy on simulated classes.

Each function returns the cases of one figure; its docstring says what counts.
"""

from __future__ import annotations

from tests.bench.outcomes import BlockRow, StepRow
from tests.bench.rows import Case, Line, Rows, mean, median, ninetieth, share


def given(rows: Rows) -> list[Case]:
    """Scored blocks of every athlete: whether each of its steps has an energy."""
    return [Case(float(row.said_kcal is not None), row) for row in rows.blocks]


def relative(said: float, true: float) -> float:
    return abs(said - true) / true * 100


def block_errors(rows: Rows) -> list[Case]:
    """|sum over a scored block's steps − demand of the block|, per cent of the latter."""
    return [
        Case(relative(row.said_kcal, row.true_kcal), row)
        for row in rows.blocks
        if row.said_kcal is not None
    ]


def of_block(case: Case) -> BlockRow:
    assert isinstance(case.row, BlockRow)
    return case.row


def block_errors_machine(rows: Rows) -> list[Case]:
    """As `block_errors`, where a readable machine file holds every pull of the block."""
    return [case for case in block_errors(rows) if of_block(case).machine]


def block_errors_heart(rows: Rows) -> list[Case]:
    """As `block_errors`, where a readable watch file holds the whole block and no machine file."""
    return [
        case for case in block_errors(rows) if of_block(case).heart and not of_block(case).machine
    ]


def block_bias(rows: Rows) -> list[Case]:
    """(sum − demand) of a scored block, per cent of the demand, signed."""
    return [
        Case((row.said_kcal - row.true_kcal) / row.true_kcal * 100, row)
        for row in rows.blocks
        if row.said_kcal is not None
    ]


def steps(rows: Rows, *, machine: bool | None = None, kind: str | None = None) -> list[StepRow]:
    return [
        row
        for row in rows.steps
        if row.said is not None
        and row.said["energy"] is not None
        and row.scored
        and (machine is None or row.machine == machine)
        and (kind is None or row.truth.kind == kind)
    ]


def holds(row: StepRow) -> float:
    assert row.said is not None
    energy = row.said["energy"]
    return float(energy["low"] <= row.truth.energy_kcal <= energy["high"])


def relative_width(row: StepRow) -> float:
    assert row.said is not None
    energy = row.said["energy"]
    return float((energy["high"] - energy["low"]) / max(energy["kcal"], 1e-9) * 100)


def step_coverage(rows: Rows) -> list[Case]:
    """Steps of scored blocks: whether the 95 % range holds the demand credited to the step."""
    return [Case(holds(row), row) for row in steps(rows)]


def work_coverage(rows: Rows) -> list[Case]:
    """As `step_coverage`, work steps."""
    return [Case(holds(row), row) for row in steps(rows, kind="work")]


def rest_coverage(rows: Rows) -> list[Case]:
    """As `step_coverage`, rest steps."""
    return [Case(holds(row), row) for row in steps(rows, kind="rest")]


def step_width(rows: Rows) -> list[Case]:
    """Width of those ranges, per cent of the value."""
    return [Case(relative_width(row), row) for row in steps(rows)]


def step_width_machine(rows: Rows) -> list[Case]:
    """As `step_width`, where a readable machine file holds every pull of the block."""
    return [Case(relative_width(row), row) for row in steps(rows, machine=True)]


def work_error(rows: Rows) -> list[Case]:
    """|energy − demand| of work steps, per cent of the demand."""
    return [
        Case(relative(row.said["energy"]["kcal"], row.truth.energy_kcal), row)
        for row in steps(rows, kind="work")
        if row.said is not None
    ]


def rest_error(rows: Rows) -> list[Case]:
    """|energy − demand| of rest steps, per cent of the demand."""
    return [
        Case(relative(row.said["energy"]["kcal"], row.truth.energy_kcal), row)
        for row in steps(rows, kind="rest")
        if row.said is not None
    ]


def watch_baseline(rows: Rows) -> list[Case]:
    """Baseline: the watch's own total shared out by time over the block, placed where it was."""
    return [
        Case(relative(row.watch_kcal, row.true_kcal), row)
        for row in rows.blocks
        if row.watch_kcal is not None
    ]


def keytel_baseline(rows: Rows) -> list[Case]:
    """Baseline: Keytel integrated over the block, placed where it was."""
    return [
        Case(relative(row.keytel_kcal, row.true_kcal), row)
        for row in rows.blocks
        if row.keytel_kcal is not None
    ]


ENERGY = (
    Line("energy of a scored block given", given, share, "%", at_least=95),
    Line("energy of a scored block: median error", block_errors, median, "%"),
    Line("energy of a scored block: 90th", block_errors, ninetieth, "%", at_most=20),
    Line("the same with a machine file: median", block_errors_machine, median, "%"),
    Line("the same with a machine file: 90th", block_errors_machine, ninetieth, "%", at_most=16),
    Line("the same with a watch only: 90th", block_errors_heart, ninetieth, "%"),
    Line("energy of a scored block: bias", block_bias, mean, "%"),
    Line("step ranges hold the truth", step_coverage, share, "%", at_least=93, at_most=97),
    Line("work steps", work_coverage, share, "%"),
    Line("rest steps", rest_coverage, share, "%"),
    Line("mean width of step ranges", step_width, mean, "%", at_most=80),
    Line("the same with a machine file", step_width_machine, mean, "%", at_most=65),
    Line("work steps: median error", work_error, median, "%"),
    Line("rest steps: median error", rest_error, median, "%"),
)
ENERGY_BASELINES = (
    Line("watch's total by time: median", watch_baseline, median, "%"),
    Line("watch's total by time: 90th", watch_baseline, ninetieth, "%"),
    Line("Keytel over the window: median", keytel_baseline, median, "%"),
    Line("Keytel over the window: 90th", keytel_baseline, ninetieth, "%"),
)
