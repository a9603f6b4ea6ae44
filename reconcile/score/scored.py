"""Which steps of a block a score is made of, and how its rounds make one number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.plan import Measure, Take, Task, TimedBlock
from reconcile.timeline import PlannedStep


@dataclass(frozen=True)
class ScoredStep:
    """One work step whose work is scored.

    planned: the step. next_work_s: when the next work step begins (the block's end after the last
    one). next_scored_s: the same for the next scored step. on_into_s: until when the work that
    follows without a rest goes on, of which nothing is on a machine (its own end without one).
    """

    planned: PlannedStep
    next_work_s: float
    next_scored_s: float
    on_into_s: float

    @property
    def start_s(self) -> float:
        """The bell at which the step begins, seconds from the block's first bell."""
        return self.planned.start_s

    @property
    def end_s(self) -> float:
        """The bell at which the step ends."""
        return self.planned.end_s


@dataclass(frozen=True)
class Scored:
    """What is scored for one athlete in one block.

    measure: the score's unit for this athlete (an option may have its own).
    rounds: the scored steps of each round, in order; a round's value is the sum over its steps.
    """

    measure: Measure
    take: Take
    rounds: tuple[tuple[ScoredStep, ...], ...]

    @property
    def steps(self) -> tuple[ScoredStep, ...]:
        """Every scored step, in the order of the clock."""
        return tuple(step for steps in self.rounds for step in steps)

    @property
    def on_machine(self) -> bool:
        """Whether a machine counts what is scored."""
        if self.measure == "reps":
            return False
        if self.measure == "seconds":
            return all(finishing_amounts(step.planned) is not None for step in self.steps)
        return all(any(task.on_machine for task in step.planned.tasks) for step in self.steps)


def scored_steps(block: TimedBlock, steps: Sequence[PlannedStep]) -> Scored:
    """What is scored in a block for an athlete with these steps; no rounds where nothing counts.

    Where an option replaced the scored task, the measure is that of the task done instead.
    Raises ValueError for a block without a score.
    """
    if block.score is None:
        raise ValueError(f"the block {block.name!r} is not scored")
    planned_tasks = [task for step in block.steps for task in step.tasks]
    scored_tasks = _scored_tasks(planned_tasks, block.score.measure)
    replacements = [other for task in scored_tasks for other in task.instead.values() if other.most]
    measure = block.score.measure
    chosen = [step for step in steps if _counts(step, scored_tasks)]
    if not chosen:
        chosen = [step for step in steps if _counts(step, replacements)]
        own = [task for step in chosen for task in step.tasks if task in replacements]
        measure = next((task.measure for task in own if task.measure is not None), measure)
    if chosen and measure in ("calories", "metres"):
        # A round's value is the sum over its work steps, and the display counts in every one.
        chosen = [step for step in steps if step.kind == "work" and _on_machine(step)]
    if chosen and measure == "seconds":
        chosen = [step for step in steps if step.kind == "work" and step.tasks]
    return Scored(measure, block.score.take, _by_round(chosen, steps) if chosen else ())


def _on_machine(step: PlannedStep) -> bool:
    return any(task.on_machine for task in step.tasks)


def _scored_tasks(tasks: Sequence[Task], measure: Measure) -> list[Task]:
    """The planned tasks that a score in `measure` counts."""
    if measure == "seconds":
        fixed = [task for task in tasks if task.amount is not None and not task.most]
        return [task for task in fixed if task.on_machine] or fixed or list(tasks)
    most = [task for task in tasks if task.most and task.measure == measure]
    if most:
        return most
    return [task for task in tasks if task.measure == measure and task.amount is not None]


def _counts(step: PlannedStep, scored_tasks: Sequence[Task]) -> bool:
    return step.kind == "work" and any(task in scored_tasks for task in step.tasks)


def _by_round(
    chosen: Sequence[PlannedStep], steps: Sequence[PlannedStep]
) -> tuple[tuple[ScoredStep, ...], ...]:
    end_s = steps[-1].end_s
    work_starts = [step.start_s for step in steps if step.kind == "work"]
    scored_starts = [step.start_s for step in chosen]

    def next_of(starts: Sequence[float], step: PlannedStep) -> float:
        return min((start for start in starts if start >= step.end_s), default=end_s)

    rounds: dict[int, list[ScoredStep]] = {}
    for step in chosen:
        rounds.setdefault(step.round, []).append(
            ScoredStep(
                step,
                next_of(work_starts, step),
                next_of(scored_starts, step),
                _on_into(step, steps),
            )
        )
    return tuple(tuple(rounds[number]) for number in sorted(rounds))


def _on_into(step: PlannedStep, steps: Sequence[PlannedStep]) -> float:
    until_s = step.end_s
    for other in steps:
        follows = other.start_s == until_s and other.round == step.round
        if follows and other.kind == "work" and not _on_machine(other):
            until_s = other.end_s
    return until_s


def finishing_amounts(step: PlannedStep) -> tuple[Measure, float] | None:
    """What the machine must count for the step to be finished: (measure, amount).

    None where the step's last task is not a fixed amount on a machine: then no machine tells when
    it ended.
    """
    if not step.tasks:
        return None
    last = step.tasks[-1]
    if not last.on_machine or last.most or last.amount is None or last.measure is None:
        return None
    total = sum(
        task.amount or 0.0
        for task in step.tasks
        if task.on_machine and task.measure == last.measure and not task.most
    )
    return last.measure, total


def take_of(values: Floats | Sequence[float], take: Take) -> float:
    """One number from the values of the rounds that count; NaN of none."""
    known = np.asarray(values, dtype=np.float64)
    if known.size == 0:
        return float("nan") if take != "total" else 0.0
    if take == "total":
        return float(known.sum())
    if take == "lowest":
        return float(known.min())
    return float(known.max()) if take == "highest" else float(known.mean())
