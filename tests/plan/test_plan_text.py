"""A plan's text becomes typed values, or errors that say where and what instead."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from typing import Literal
from unicodedata import normalize

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reconcile.durations import format_duration
from reconcile.errors import PlanError
from reconcile.plan import (
    DurationRange,
    FreeBlock,
    Plan,
    Quantity,
    ScoreRule,
    Step,
    Task,
    TimedBlock,
)
from reconcile.plan_text import read_plan

HARBOUR = """\
title: Harbour ladders
options: [full, short sets]
blocks:
  - name: loosen up
    steps:
      - {work: 1m, tasks: [{movement: Rower, effort: easy}]}
  - {name: change over, free: 90s..4m}
  - name: ladders
    rounds: 4
    rotate: true
    steps:
      - work: 1m45s
        tasks:
          - {movement: bucket haul, metres: 12.5, load_lb: {men: 52.5, women: 35}}
          - {movement: plank reach, reps: 9}
          - movement: machine
            most: calories
            intended: 30s..50s
            instead:
              short sets: {movement: step touch, most: reps, effort: steady}
      - rest: 50s
      - work: 30s
        tasks: [{movement: ledge hop, height_in: 20}]
    score: {measure: calories, take: lowest}
"""


def mistakes(text: str) -> list[tuple[str, int | None, int | None]]:
    with pytest.raises(PlanError) as caught:
        read_plan(text)
    return [(found.code, found.line, found.column) for found in caught.value.mistakes]


def test_a_plan_is_read_into_the_values_that_it_says() -> None:
    assert read_plan(HARBOUR) == Plan(
        title="Harbour ladders",
        options=("full", "short sets"),
        blocks=(
            TimedBlock(
                "loosen up", 1, (Step("work", 60, (Task("rower", effort="easy"),)),)
            ),
            FreeBlock("change over", 90, 240),
            TimedBlock(
                "ladders",
                4,
                (
                    Step(
                        "work",
                        105,
                        (
                            Task(
                                "bucket haul",
                                "metres",
                                12.5,
                                load=Quantity(Fraction("52.5"), Fraction(35), "lb"),
                            ),
                            Task("plank reach", "reps", 9),
                            Task(
                                "machine",
                                "calories",
                                most=True,
                                intended=DurationRange(30, 50),
                                instead={
                                    "short sets": Task(
                                        "step touch", "reps", most=True, effort="steady"
                                    )
                                },
                            ),
                        ),
                    ),
                    Step("rest", 50),
                    Step(
                        "work",
                        30,
                        (Task("ledge hop", height=Quantity(Fraction(20), Fraction(20), "in")),),
                    ),
                ),
                ScoreRule("calories", "lowest"),
                rotate=True,
            ),
        ),
    )  # fmt: skip


def test_every_plan_of_the_contract_is_read(repository: Path) -> None:
    contract = repository.parent / "shared" / "contract" / "class-folder.md"
    if not contract.is_file():
        pytest.skip("the contract is not here: ../shared/contract/class-folder.md")
    fences = re.findall(r"```yaml\n(.*?)```", contract.read_text("utf-8"), re.DOTALL)
    plans = [text for text in fences if "blocks:" in text]
    assert plans
    for text in plans:
        plan = read_plan(text)
        assert [block.name for block in plan.timed_blocks] == ["warm-up", "main"]
        assert plan.timed_blocks[1].duration_s == 5 * 270


def test_units_are_kept_as_written_and_are_exact() -> None:
    # NIST Handbook 44 (2024), Appendix C: 1 lb = 0.453 592 37 kg and 1 in = 2.54 cm, exactly.
    plan = read_plan(HARBOUR)
    bucket, _, _ = plan.timed_blocks[1].steps[0].tasks
    hop = plan.timed_blocks[1].steps[2].tasks[0]
    assert bucket.load is not None
    assert bucket.load.men * Fraction("0.45359237") == Fraction("23.813599425")
    assert bucket.load.in_metric("m") == 23.813599425
    assert bucket.load.in_metric("f") == 15.87573295
    assert hop.height is not None
    assert hop.height.in_metric(None) == 50.8


def test_a_load_of_unknown_sex_is_the_mean_of_both() -> None:
    load = Quantity(Fraction(30), Fraction(20), "kg")
    assert load.in_metric(None) == 25


ONE_BLOCK = "title: T\noptions: [a]\nblocks:\n  - name: n\n    steps:\n"


@pytest.mark.parametrize(
    ("step", "code", "offset"),
    [
        ("work: 45", "not_a_duration", 14),
        ("work: 2:30", "not_a_duration", 14),
        ("work: 0s", "out_of_range", 14),
        ("work: 25h", "out_of_range", 14),
        ("work: [45s]", "not_a_value", 14),
        ("work:", "no_value", 8),
        ("work: '~\\n'", "not_a_duration", 14),
        ("sleep: 45s", "unknown_field", 8),
        ("{}", "work_or_rest", 8),
        ("{work: 5s, rest: 5s}", "work_or_rest", 8),
        ("{work: 5s, work: 6s}", "field_twice", 19),
        ("just text", "not_a_mapping", 8),
        ("{work: 5s, tasks: plank}", "not_a_list", 26),
        ("{work: 5s, tasks: [plank]}", "not_a_mapping", 27),
        ("{work: 5s, tasks: [{reps: 5}]}", "missing_field", 27),
        ("{work: 5s, tasks: [{movement: }]}", "no_value", 28),
        ('{work: 5s, tasks: [{movement: "a\\e[2Jb"}]}', "not_printable", 38),
        (f"{{work: 5s, tasks: [{{movement: {'m' * 201}}}]}}", "too_long", 38),
        ("{work: 5s, tasks: [{movement: m, reps: 5, metres: 5}]}", "two_amounts", 58),
        ("{work: 5s, tasks: [{movement: m, reps: 5, most: reps}]}", "two_amounts", 56),
        ("{work: 5s, tasks: [{movement: m, reps: five}]}", "not_a_number", 47),
        ("{work: 5s, tasks: [{movement: m, reps: 2.5}]}", "not_whole", 47),
        ("{work: 5s, tasks: [{movement: m, reps: 0}]}", "out_of_range", 47),
        ("{work: 5s, tasks: [{movement: m, reps: .inf}]}", "not_a_number", 47),
        ("{work: 5s, tasks: [{movement: m, reps: 1e3}]}", "not_a_number", 47),
        ("{work: 5s, tasks: [{movement: m, reps: 0x1F}]}", "not_a_number", 47),
        ("{work: 5s, tasks: [{movement: m, reps: {men: 5, women: 4}}]}", "not_a_value", 47),
        ("{work: 5s, tasks: [{movement: m, most: seconds}]}", "not_a_choice", 47),
        ("{work: 5s, tasks: [{movement: m, load_kg: 10, load_lb: 22}]}", "two_units", 63),
        ("{work: 5s, tasks: [{movement: m, load_kg: -5}]}", "out_of_range", 50),
        ("{work: 5s, tasks: [{movement: m, load_kg: '22,5'}]}", "not_a_number", 50),
        ("{work: 5s, tasks: [{movement: m, load_kg: 22,5}]}", "unknown_field", 53),
        ("{work: 5s, tasks: [{movement: m, load_kg: {men: 30}}]}", "missing_field", 50),
        ("{work: 5s, tasks: [{movement: m, load_kg: {men: 3, women: x}}]}", "not_a_number", 66),
        ("{work: 5s, tasks: [{movement: m, load_kg: [30, 20]}]}", "not_a_number", 50),
        ("{work: 5s, tasks: [{movement: m, effort: medium}]}", "not_a_choice", 49),
        ("{work: 5s, tasks: [{movement: m, intended: 30s}]}", "not_a_range", 51),
        ("{work: 5s, tasks: [{movement: m, intended: 9s..3s}]}", "not_a_range", 51),
        ("{work: 5s, tasks: [{movement: m, intended: 1s..25h}]}", "out_of_range", 51),
        ("{work: 5s, tasks: [{movement: m, instead: {b: {movement: x}}}]}", "unknown_option", 51),
        ("{work: 5s, tasks: [{movement: m, instead: x}]}", "not_a_mapping", 50),
        ("{work: 5s, tasks: [{movement: m, instead: {a: {movement: x, instead: {}}}}]}",
         "instead_twice", 77),
        ("{work: 5s, tasks: [{movement: m, instead: {a: {movement: x}, a: {movement: y}}}]}",
         "name_twice", 69),
    ],
)  # fmt: skip
def test_a_mistake_in_a_step_is_told_at_its_line_and_column(
    step: str, code: str, offset: int
) -> None:
    assert mistakes(f"{ONE_BLOCK}      - {step}\n      - work: 5s\n")[0] == (code, 6, offset + 1)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("title: T", ("missing_field", 1, 1)),
        ("blocks: [{name: n, steps: [work: 5s]}]", ("missing_field", 1, 1)),
        ("title: T\nblocks: []", ("no_timed_block", 2, 9)),
        ("title: T\nblocks: [{name: n, free: 1m..2m}]", ("no_timed_block", 2, 9)),
        ("title: T\nblocks: {name: n}", ("not_a_list", 2, 9)),
        ("- title", ("not_a_mapping", 1, 1)),
        ("title: T\nblocks: [{name: n}]", ("missing_field", 2, 10)),
        ("title: T\nblocks: [{steps: [work: 5s]}]", ("missing_field", 2, 10)),
        ("title: T\nblocks: [{name: n, steps: []}]", ("no_work", 2, 27)),
        ("title: T\nblocks: [{name: n, steps: [rest: 5s]}]", ("no_work", 2, 27)),
        ("title: T\nblocks: [{name: n, steps: [{rest: 5s, tasks: []}, work: 5s]}]",
         ("rest_with_tasks", 2, 46)),
        ("title: T\nblocks: [{name: n, rounds: 0, steps: [work: 5s]}]",
         ("out_of_range", 2, 28)),
        ("title: T\nblocks: [{name: n, rounds: 201, steps: [work: 5s]}]",
         ("out_of_range", 2, 28)),
        ("title: T\nblocks: [{name: n, rotate: yes, steps: [work: 5s]}]",
         ("not_a_choice", 2, 28)),
        ("title: T\nblocks: [{name: n, free: 1m..2m, rounds: 2}, {name: o, steps: [work: 5s]}]",
         ("free_and_timed", 2, 42)),
        ("title: T\nblocks: [{name: n, free: 5m}, {name: o, steps: [work: 5s]}]",
         ("not_a_range", 2, 26)),
        ("title: T\nblocks: [{name: n, steps: [work: 5s]}, {name: n, steps: [work: 5s]}]",
         ("name_twice", 2, 40)),
        ("title: T\noptions: [a, a]\nblocks: [{name: n, steps: [work: 5s]}]",
         ("name_twice", 2, 14)),
        ("title: T\noptions: a\nblocks: [{name: n, steps: [work: 5s]}]", ("not_a_list", 2, 10)),
        ("title: T\nblocks: [{name: n, steps: [work: 5s], score: {measure: kcal, take: total}}]",
         ("not_a_choice", 2, 56)),
        ("title: T\nblocks: [{name: n, steps: [work: 5s], score: {measure: reps, take: sum}}]",
         ("not_a_choice", 2, 68)),
        ("title: T\nblocks: [{name: n, steps: [work: 5s], score: {measure: reps}}]",
         ("missing_field", 2, 46)),
        ("title: T\nblocks: [{name: n, rounds: 200, steps: [work: 10m]}]", ("too_long", 2, 9)),
        ("title: T\nblocks: [{name: n, rounds: 200, steps: ["
         + "work: 1s, " * 26 + "]}]", ("too_many_steps", 2, 9)),
        ("titel: T\nblocks: [{name: n, steps: [work: 5s]}]", ("unknown_field", 1, 1)),
    ],
)  # fmt: skip
def test_a_mistake_in_a_plan_is_told_at_its_line_and_column(
    text: str, expected: tuple[str, int, int]
) -> None:
    assert mistakes(text)[0] == expected


def test_a_misspelt_field_names_the_one_that_was_meant() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(HARBOUR.replace("rounds: 4", "round: 4"), file="tuesday.yaml")
    error = caught.value
    assert (error.file, error.line, error.column) == ("tuesday.yaml", 9, 5)
    assert error.found == "round"
    assert "`rounds`" in error.remedy
    assert "is `rounds` meant?" in error.remedy


def test_an_error_says_place_fault_finding_and_remedy_in_one_line() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(HARBOUR.replace("rest: 50s", "rest: 50"))
    assert str(caught.value) == (
        "plan.yaml:21:15: `rest` is a bare number, which could be seconds or minutes (found `50`); "
        "write a duration with its units, such as 45s, 2m, 2m30s or 1h5m"
    )


def test_all_mistakes_of_a_plan_are_told_in_the_order_of_the_text() -> None:
    text = (
        HARBOUR.replace("rest: 50s", "rest: 50")
        .replace("take: lowest", "take: least")
        .replace("90s..4m", "4m..90s")
        .replace("short sets: {", "shorter sets: {")
    )
    assert mistakes(text) == [
        ("not_a_range", 7, 31),
        ("unknown_option", 20, 15),
        ("not_a_duration", 21, 15),
        ("not_a_choice", 24, 38),
    ]


def test_what_stands_there_is_shown_short_and_safe_for_a_terminal() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(HARBOUR.replace("rest: 50s", 'rest: "\\e[31m' + "9" * 500 + '"'))
    message = str(caught.value)
    assert "\x1b" not in message
    assert "\\x1b[31m" in message
    assert len(message) < 300


letters = st.characters(categories=["L", "N"])
names = (
    st.text(letters, min_size=1, max_size=12)
    .map(lambda name: normalize("NFC", name))
    .filter(lambda name: name.lower() not in ("machine", "rower", "ski", "bike"))
)
durations = st.integers(1, 900)


def quoted(name: str) -> str:
    return f'"{name}"'


@st.composite
def tasks(draw: st.DrawFn) -> tuple[str, Task]:
    name = draw(names)
    fields, task = [f"movement: {quoted(name)}"], {"movement": name}
    values: dict[str, object] = dict(task)
    match draw(st.sampled_from(["none", "fixed", "most"])):
        case "fixed":
            amount = draw(st.integers(1, 500))
            fields.append(f"reps: {amount}")
            values |= {"measure": "reps", "amount": float(amount)}
        case "most":
            fields.append("most: metres")
            values |= {"measure": "metres", "most": True}
    if draw(st.booleans()):
        men, women = draw(st.decimals(0, 200, places=2)), draw(st.decimals(0, 200, places=2))
        unit: Literal["kg", "lb"] = draw(st.sampled_from(["kg", "lb"]))
        fields.append(f"load_{unit}: {{men: {men}, women: {women}}}")
        values["load"] = Quantity(Fraction(men), Fraction(women), unit)
    return "{" + ", ".join(fields) + "}", Task(**values)  # type: ignore[arg-type]


@st.composite
def plans(draw: st.DrawFn) -> tuple[str, Plan]:
    lines: list[str] = []
    blocks: list[TimedBlock | FreeBlock] = []
    for name in draw(st.lists(names, min_size=1, max_size=4, unique=True)):
        free: bool = draw(st.booleans())
        if blocks and free:
            low, extra = draw(durations), draw(durations)
            written = f"{format_duration(low)}..{format_duration(low + extra)}"
            lines.append(f"  - {{name: {quoted(name)}, free: {written}}}")
            blocks.append(FreeBlock(name, low, low + extra))
            continue
        rounds, steps = draw(st.integers(1, 12)), []
        lines += [f"  - name: {quoted(name)}", f"    rounds: {rounds}", "    steps:"]
        for _ in range(draw(st.integers(1, 3))):
            work, rest = draw(durations), draw(durations)
            written_tasks = draw(st.lists(tasks(), max_size=3))
            listed = ", ".join(text for text, _ in written_tasks)
            lines.append(f"      - {{work: {format_duration(work)}, tasks: [{listed}]}}")
            lines.append(f"      - rest: {rest}s")
            steps.append(Step("work", work, tuple(task for _, task in written_tasks)))
            steps.append(Step("rest", rest))
        blocks.append(TimedBlock(name, rounds, tuple(steps)))
    return "\n".join(["title: Any", "blocks:", *lines]), Plan("Any", tuple(blocks))


@given(plans())
def test_any_plan_that_can_be_written_reads_back(written: tuple[str, Plan]) -> None:
    text, plan = written
    assert read_plan(text) == plan


@settings(max_examples=300)
@given(st.data())
def test_a_plan_damaged_anywhere_gives_a_plan_or_an_error_of_the_family(
    data: st.DataObject,
) -> None:
    start = data.draw(st.integers(0, len(HARBOUR)))
    end = data.draw(st.integers(start, min(start + 40, len(HARBOUR))))
    put = data.draw(st.text(st.sampled_from("{}[]:,-&*!~ \n'\"0a9s.#|>\t%"), max_size=8))
    try:
        read_plan(HARBOUR[:start] + put + HARBOUR[end:])
    except PlanError as error:
        assert all(mistake.code and mistake.message for mistake in error.mistakes)
