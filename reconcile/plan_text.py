"""Reads a plan from the text that a coach wrote (`plan.yaml` in the class folder's contract)."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, get_args

from reconcile.errors import InputError, PlanError
from reconcile.fields import Fields, one_of
from reconcile.marked_yaml import Listing, Mapping, Node, Scalar, read_yaml
from reconcile.plan import (
    MACHINES,
    DurationRange,
    Effort,
    FreeBlock,
    Measure,
    Plan,
    Quantity,
    ScoreRule,
    Step,
    Take,
    Task,
    TimedBlock,
)
from reconcile.sentence import Sentence

MOST_ROUNDS = 200
MOST_STEPS = 5_000
LONGEST_PLAN_S = 24 * 3600.0

Unit = Literal["kg", "lb", "cm", "in"]
AMOUNTS: tuple[Measure, ...] = ("calories", "metres", "reps")
BLOCK_FIELDS = ("name", "rounds", "steps", "score", "rotate", "free")
TASK_FIELDS = (
    "movement", *AMOUNTS, "most", "load_kg", "load_lb", "height_cm", "height_in", "effort",
    "intended", "instead",
)  # fmt: skip


def read_plan(text: str, *, file: str = "plan.yaml") -> Plan:
    """The plan that a text holds; `file` is the name to tell mistakes by.

    Raises PlanError with every mistake found: its line and column, what stands there, and what
    may stand there.
    """
    try:
        document = read_yaml(text, file=file)
    except InputError as error:
        raise PlanError(error.mistakes) from error
    reader = PlanReader(file)
    plan = reader.plan(document)
    if reader.mistakes:
        raise PlanError(
            sorted(reader.mistakes, key=lambda found: (found.line or 0, found.column or 0))
        )
    return plan


class PlanReader(Fields):
    """Reads the parts of a plan, outermost first."""

    options: tuple[str, ...] = ()

    def plan(self, node: Node) -> Plan:
        """The whole document."""
        fields = self.mapping(node, Sentence("the plan"), ("title", "options", "blocks"))
        title = self.required(fields, "title", node, Sentence("the plan"))
        blocks = self.required(fields, "blocks", node, Sentence("the plan"))
        if "options" in fields:
            nodes = self.items(fields["options"], "`options`")
            self.options = tuple(self.name(item, Sentence("an option")) for item in nodes)
            self.unique(zip(self.options, nodes, strict=True), Sentence("options"))
        plan = Plan(
            title=self.name(title, "`title`") if title else "",
            blocks=self.blocks(blocks) if blocks else (),
            options=self.options,
        )
        if blocks and not plan.timed_blocks:
            remedy = Sentence("give at least one block `steps` with `work` and `rest`")
            self.mistake(
                "no_timed_block", Sentence("no block of the plan is on the clock"), blocks, remedy
            )
        if blocks and not self.mistakes and longest_s(plan) > LONGEST_PLAN_S:
            self.mistake(
                "too_long",
                Sentence("the plan takes more than a day"),
                blocks,
                Sentence("shorten it"),
            )
        return plan

    def blocks(self, node: Node) -> tuple[TimedBlock | FreeBlock, ...]:
        """The blocks in order; their names differ."""
        nodes = self.items(node, "`blocks`")
        blocks = tuple(self.block(item) for item in nodes)
        self.unique(
            ((block.name, item) for block, item in zip(blocks, nodes, strict=True)),
            Sentence("blocks"),
        )
        timed = [block for block in blocks if isinstance(block, TimedBlock)]
        steps = sum(len(block.steps) * block.rounds for block in timed)
        if steps > MOST_STEPS:
            message = Sentence("the plan has {steps} steps over all rounds", steps=steps)
            self.mistake(
                "too_many_steps",
                message,
                node,
                Sentence("{most_steps} are the most", most_steps=MOST_STEPS),
            )
        return blocks

    def block(self, node: Node) -> TimedBlock | FreeBlock:
        """A timed block (it has `steps`) or a free one (it has `free`)."""
        fields = self.mapping(node, Sentence("a block"), BLOCK_FIELDS)
        named = self.required(fields, "name", node, Sentence("a block"))
        name = self.name(named, "`name`") if named else ""
        if "free" in fields:
            for key in fields.keys() - {"name", "free"}:
                remedy = Sentence("leave out this field or `free`")
                message = Sentence("a free block is not on the clock and has no `{key}`", key=key)
                self.mistake("free_and_timed", message, fields[key], remedy)
            return FreeBlock(name, *self.duration_range(fields["free"], "`free`"))
        if "steps" not in fields and isinstance(node, Mapping):
            self.mistake(
                "missing_field",
                Sentence("a block has neither `steps` nor `free`"),
                node,
                Sentence("add `steps:` (on the clock) or `free:` (off it)"),
            )
        rounds = Fraction(1)
        if "rounds" in fields:
            rounds = self.number(fields["rounds"], "`rounds`", 1, MOST_ROUNDS, whole=True)
        return TimedBlock(
            name=name,
            rounds=int(rounds),
            steps=self.steps(fields["steps"]) if "steps" in fields else (),
            score=self.score(fields["score"]) if "score" in fields else None,
            rotate="rotate" in fields and self.flag(fields["rotate"], "`rotate`"),
        )

    def steps(self, node: Node) -> tuple[Step, ...]:
        """The steps of one round; at least one of them is work."""
        steps = tuple(self.step(item) for item in self.items(node, "`steps`"))
        if isinstance(node, Listing) and all(step.kind == "rest" for step in steps):
            remedy = Sentence("add a step such as `- work: 40s`")
            self.mistake("no_work", Sentence("a block on the clock has no work step"), node, remedy)
        return steps

    def step(self, node: Node) -> Step:
        """`work: DURATION` with its tasks, or `rest: DURATION`."""
        fields = self.mapping(node, Sentence("a step"), ("work", "rest", "tasks"))
        kinds: tuple[Literal["work", "rest"], ...] = ("work", "rest")
        present = [kind for kind in kinds if kind in fields]
        if len(present) != 1:
            if isinstance(node, Mapping):
                wrong = (
                    Sentence("both `work` and `rest`")
                    if present
                    else Sentence("neither `work` nor `rest`")
                )
                self.mistake(
                    "work_or_rest",
                    Sentence("a step has {wrong}", wrong=wrong),
                    node,
                    Sentence("write one of the two"),
                )
            return Step("work", 1.0)
        kind = present[0]
        duration_s = self.duration(fields[kind], f"`{kind}`")
        if kind == "rest" and "tasks" in fields:
            remedy = Sentence("write `work` for `rest`, or leave out `tasks`")
            self.mistake(
                "rest_with_tasks", Sentence("a rest has no tasks"), fields["tasks"], remedy
            )
        nodes = self.items(fields["tasks"], "`tasks`") if "tasks" in fields else ()
        return Step(kind, duration_s, tuple(self.task(item) for item in nodes))

    def task(self, node: Node, *, instead_of_another: bool = False) -> Task:
        """One task; what an option does instead has no `instead` of its own."""
        fields = self.mapping(node, Sentence("a task"), TASK_FIELDS)
        movement = self.required(fields, "movement", node, Sentence("a task"))
        measure, amount, most = self.amount(fields)
        if instead_of_another and "instead" in fields:
            remedy = Sentence("leave it out")
            message = Sentence("what is done instead has no `instead` of its own")
            self.mistake("instead_twice", message, fields["instead"], remedy)
        return Task(
            movement=self.movement(movement) if movement else "",
            measure=measure,
            amount=amount,
            most=most,
            load=self.quantity(fields, "load", ("kg", "lb")),
            height=self.quantity(fields, "height", ("cm", "in")),
            effort=(
                self.choice(fields["effort"], "`effort`", get_args(Effort))
                if "effort" in fields
                else None
            ),
            intended=(
                DurationRange(*self.duration_range(fields["intended"], "`intended`"))
                if "intended" in fields
                else None
            ),
            instead=(
                self.instead(fields["instead"])
                if "instead" in fields and not instead_of_another
                else {}
            ),
        )

    def movement(self, node: Node) -> str:
        """A movement as written; the words for machines count in any case of letters."""
        name = self.name(node, "`movement`")
        return name.lower() if name.lower() in ("machine", *MACHINES) else name

    def amount(self, fields: dict[str, Node]) -> tuple[Measure | None, float | None, bool]:
        """What a task counts, how much of it, and whether it is as many as possible."""
        given = [key for key in fields if key in (*AMOUNTS, "most")]
        for key in given[1:]:
            message = Sentence("a task has `{first}` and `{key}`", first=given[0], key=key)
            self.mistake("two_amounts", message, fields[key], Sentence("keep at most one amount"))
        if not given:
            return None, None, False
        if given[0] == "most":
            return self.choice(fields["most"], "`most`", AMOUNTS), None, True
        measure = next(measure for measure in AMOUNTS if measure == given[0])
        whole = measure == "reps"
        value = self.number(fields[measure], f"`{measure}`", 1, 1_000_000, whole=whole)
        return measure, float(value), False

    def quantity(
        self, fields: dict[str, Node], what: str, units: tuple[Unit, Unit]
    ) -> Quantity | None:
        """A load or a height in the one unit in which it is written."""
        given = [unit for unit in units if f"{what}_{unit}" in fields]
        if not given:
            return None
        unit = given[0]
        key, node = f"{what}_{unit}", fields[f"{what}_{unit}"]
        if len(given) > 1:
            other = f"{what}_{given[1]}"
            message = Sentence("a task has `{key}` and `{other}`", key=key, other=other)
            self.mistake("two_units", message, fields[other], Sentence("keep one of them"))
        if isinstance(node, Scalar):
            value = self.number(node, f"`{key}`", 0, 5000)
            return Quantity(value, value, unit)
        remedy = Sentence("write one number, or `{key}: {{men: 30, women: 20}}`", key=key)
        if not isinstance(node, Mapping):
            self.mistake("not_a_number", Sentence("`{key}` is not a number", key=key), node, remedy)
            return None
        each = self.mapping(node, f"`{key}`", ("men", "women"))
        men, women = (
            self.number(each[sex], f"`{sex}`", 0, 5000)
            if self.required(each, sex, node, f"`{key}`")
            else Fraction(0)
            for sex in ("men", "women")
        )
        return Quantity(men, women, unit)

    def instead(self, node: Node) -> dict[str, Task]:
        """What options do in place of a task, by the option's name."""
        remedy = Sentence("name the plan's options first: `options: [...]`")
        if self.options:
            remedy = Sentence("the plan's options are {words}", words=one_of(self.options))
        tasks: dict[str, Task] = {}
        for option, key, value in self.named(
            node, "`instead`", Sentence("write `OPTION: {{movement: ...}}`")
        ):
            if option and option not in self.options:
                self.mistake("unknown_option", Sentence("the plan has no such option"), key, remedy)
            tasks[option] = self.task(value, instead_of_another=True)
        return tasks

    def score(self, node: Node) -> ScoreRule:
        """What the block is scored by."""
        fields = self.mapping(node, "`score`", ("measure", "take"))
        measure = self.required(fields, "measure", node, "`score`")
        take = self.required(fields, "take", node, "`score`")
        return ScoreRule(
            self.choice(measure, "`measure`", get_args(Measure)) if measure else "calories",
            self.choice(take, "`take`", get_args(Take)) if take else "total",
        )


def longest_s(plan: Plan) -> float:
    """Seconds of the whole plan with its free blocks at their shortest."""
    return sum(
        block.duration_s if isinstance(block, TimedBlock) else block.low_s for block in plan.blocks
    )
