"""A plan unfolded into steps on the clock of its blocks, for the class and for each athlete."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from reconcile.plan import Plan, Task, TimedBlock


@dataclass(frozen=True)
class PlannedStep:
    """One step of one round, on its block's own clock.

    round, step: counted from 1; `step` is the place on the clock, also in a rotating block.
    start_s, end_s: seconds from the block's first bell.
    tasks: what this athlete does in it (option applied, station applied).
    """

    block: str
    round: int
    step: int
    kind: Literal["work", "rest"]
    start_s: float
    end_s: float
    tasks: tuple[Task, ...]

    @property
    def duration_s(self) -> float:
        """Planned seconds."""
        return self.end_s - self.start_s


def unfold_block(
    block: TimedBlock, option: str | None = None, station: int | None = None
) -> tuple[PlannedStep, ...]:
    """Every step of every round of a block, in the order of the clock.

    In a rotating block an athlete begins at the work step `station` (counted from 1 among the
    work steps) and moves on by one at each bell, from the last to the first.
    """
    work_tasks = [step.tasks for step in block.steps if step.kind == "work"]
    shift = (station - 1) if block.rotate and station is not None else 0
    steps: list[PlannedStep] = []
    clock_s = 0.0
    for round_number in range(1, block.rounds + 1):
        work_index = 0
        for step_number, step in enumerate(block.steps, start=1):
            tasks = step.tasks
            if step.kind == "work":
                tasks = work_tasks[(work_index + shift) % len(work_tasks)]
                work_index += 1
            chosen = tuple(task.instead.get(option or "", task) for task in tasks)
            end_s = clock_s + step.duration_s
            steps.append(
                PlannedStep(
                    block.name, round_number, step_number, step.kind, clock_s, end_s, chosen
                )
            )
            clock_s = end_s
    return tuple(steps)


def unfold(
    plan: Plan, option: str | None = None, station: int | None = None
) -> dict[str, tuple[PlannedStep, ...]]:
    """The steps of every timed block, by block name."""
    return {block.name: unfold_block(block, option, station) for block in plan.timed_blocks}
