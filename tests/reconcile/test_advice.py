"""What is worth saying after class; the codes and their bounds are the contract's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from reconcile.advice import active_per_round, block_advice
from reconcile.plan import DurationRange, Step, Task, TimedBlock
from reconcile.result import Advice, Interval
from reconcile.timeline import unfold_block

CARRY = Task("sandbag carry", "metres", 20)
INTENDED = DurationRange(45.0, 70.0)
MACHINE = Task("machine", "calories", most=True, intended=INTENDED)
BLOCK = TimedBlock("main", 4, (Step("work", 150, (CARRY, MACHINE)), Step("rest", 120)))
STEPS = unfold_block(BLOCK)


def done(
    active_s: Sequence[float | None],
    *,
    attempted: Sequence[bool | None] | None = None,
    start_s: float = 90.0,
    end_s: float = 150.0,
    watts: list[float] | None = None,
    rest_active_s: float = 0.0,
) -> list[Interval]:
    """The block's intervals with so many seconds on the machine in each round."""
    out = []
    for step in STEPS:
        base = Interval(step.block, step.round, step.step, step.kind, step.duration_s)
        if step.kind == "rest":
            out.append(replace(base, machine_active_s=rest_active_s))
            continue
        number = step.round - 1
        active = active_s[number]
        pulled = active is not None and active > 0
        out.append(
            replace(
                base,
                attempted=True if attempted is None else attempted[number],
                machine_active_s=active,
                machine_start_s=start_s if pulled else None,
                machine_end_s=end_s if pulled else None,
                mean_power_w=(watts or [200.0] * 4)[number] if pulled else None,
            )
        )
    return out


def codes(advice: list[Advice]) -> list[str]:
    return [one.code for one in advice]


def load(advice: list[Advice]) -> list[str]:
    return [code for code in codes(advice) if code.startswith("load_")]


@pytest.mark.parametrize(
    ("mean_s", "code"),
    [
        (44.9, "load_too_heavy"),
        (45.0, "load_right"),
        (57.0, "load_right"),
        (70.0, "load_right"),
        (70.1, "load_too_light"),
        (0.0, "load_too_heavy"),
    ],
)
def test_the_load_is_judged_by_the_mean_time_left_bounds_included(mean_s: float, code: str) -> None:
    assert load(block_advice(BLOCK, STEPS, done([mean_s] * 4))) == [code]


def test_a_round_that_was_begun_and_left_no_time_counts_as_none() -> None:
    # (60 + 60 + 60 + 0) / 4 = 45
    assert load(block_advice(BLOCK, STEPS, done([60, 60, 60, 0]))) == ["load_right"]
    assert load(block_advice(BLOCK, STEPS, done([59, 60, 60, 0]))) == ["load_too_heavy"]


def test_a_skipped_round_does_not_count() -> None:
    skipped = [True, True, True, False]
    advice = block_advice(BLOCK, STEPS, done([59, 60, 60, 0], attempted=skipped))
    assert load(advice) == ["load_right"]


def test_nothing_is_said_of_the_load_without_a_machines_file() -> None:
    assert load(block_advice(BLOCK, STEPS, done([None] * 4))) == []
    assert active_per_round(STEPS, done([None] * 4)) is None


def test_nothing_is_said_of_the_load_where_no_time_was_intended() -> None:
    block = replace(
        BLOCK, steps=(Step("work", 150, (CARRY, Task("machine", "calories", most=True))),)
    )
    steps = unfold_block(block)
    intervals = [Interval(s.block, s.round, s.step, s.kind, 150.0, True) for s in steps]
    assert load(block_advice(block, steps, intervals)) == []


ALL_MACHINE = TimedBlock(
    "main", 4, (Step("work", 150, (Task("machine", "calories", most=True),)), Step("rest", 120))
)


def said(intervals: list[Interval]) -> list[str]:
    return codes(block_advice(ALL_MACHINE, unfold_block(ALL_MACHINE), intervals))


def test_an_honest_even_block_to_the_bell_needs_no_advice() -> None:
    assert said(done([148] * 4, start_s=2.0, end_s=150.5)) == []


def test_late_starts_are_told() -> None:
    assert "start_sooner" in said(done([135] * 4, start_s=15.0))


def test_stopping_before_the_bell_is_told() -> None:
    assert "work_to_the_bell" in said(done([130] * 4, start_s=2.0, end_s=132.0))


def test_pulling_through_the_rests_is_told() -> None:
    assert "rest_fully" in said(done([148] * 4, start_s=2.0, rest_active_s=80.0))


def test_a_fast_start_that_fades_is_told() -> None:
    fading = done([148] * 4, start_s=2.0, watts=[300.0, 240.0, 210.0, 200.0])
    assert "pace_evenly" in said(fading)
    rising = done([148] * 4, start_s=2.0, watts=[200.0, 210.0, 220.0, 260.0])
    assert "pace_evenly" not in said(rising)


def test_every_advice_has_a_text_that_names_its_numbers() -> None:
    advice = block_advice(BLOCK, STEPS, done([30] * 4))
    (heavy,) = [one for one in advice if one.code == "load_too_heavy"]
    assert heavy.block == "main"
    assert "30 s" in heavy.text
    assert "45 to 70 s" in heavy.text
