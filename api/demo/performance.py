"""What one of the demo's people does with the plan: pulls, demands on the body, and a score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.demo.flywheel import Pull, WheelTrace, count_at
from api.demo.heart import Demand
from api.demo.session import FREE_S, LEAD_S, Person
from reconcile.plan import FreeBlock, Plan
from reconcile.timeline import PlannedStep, unfold_block

REST_SHARE = 0.22
FREE_SHARE = 0.30
TASK_SHARE = 0.74


@dataclass(frozen=True)
class Performance:
    """What was done, on the demo's clock (LEAD_S before the first bell is second 0)."""

    pulls: tuple[Pull, ...]
    demands: tuple[Demand, ...]
    length_s: int


def block_starts(plan: Plan) -> dict[str, float]:
    """When each timed block begins on the demo's clock."""
    starts: dict[str, float] = {}
    clock_s = LEAD_S
    for block in plan.blocks:
        if isinstance(block, FreeBlock):
            clock_s += FREE_S[block.name]
        else:
            starts[block.name] = clock_s
            clock_s += block.duration_s
    return starts


def perform(plan: Plan, person: Person, rng: np.random.Generator) -> Performance:
    """Let a person do the plan: a little late, a little off the bells, a little slower by round."""
    pulls: list[Pull] = []
    demands: list[Demand] = []
    clock_s = 0.0
    for block in plan.timed_blocks:
        start_s = block_starts(plan)[block.name]
        demands.append(Demand(clock_s, start_s, FREE_SHARE))
        for step in unfold_block(block, person.option):
            step_pulls, step_demands = perform_step(step, start_s, person, rng)
            pulls.extend(step_pulls)
            demands.extend(step_demands)
        clock_s = start_s + block.duration_s
    return Performance(tuple(pulls), tuple(demands), round(clock_s + 120.0))


def perform_step(
    step: PlannedStep, block_start_s: float, person: Person, rng: np.random.Generator
) -> tuple[list[Pull], list[Demand]]:
    """One step: the tasks in order, the machine last and to the bell or near it."""
    bell_s = block_start_s + step.start_s
    end_s = block_start_s + step.end_s
    late_s = person.late_s + float(rng.uniform(0.0, 1.5))
    stop_s = end_s + float(rng.uniform(-1.5, 1.2))
    wobble = float(rng.normal(0.0, 0.03))
    if step.kind == "rest":
        if person.mistake == "rests counted" and step.duration_s >= 60:
            easy = Pull(bell_s + 14.0, end_s - 9.0, 0.3 * person.watts)
            return [easy], [
                Demand(bell_s, easy.start_s, REST_SHARE),
                Demand(easy.start_s, easy.end_s, REST_SHARE + 0.15),
                Demand(easy.end_s, end_s, REST_SHARE),
            ]
        return [], [Demand(bell_s, end_s, REST_SHARE)]
    if person.left_out == step.round and len(step.tasks) > 1:
        return [], [Demand(bell_s, end_s, REST_SHARE)]
    on_machine = any(task.on_machine for task in step.tasks) and person.machine is not None
    easy_step = step.tasks[0].effort == "easy"
    pull_start_s = bell_s + late_s
    if on_machine and len(step.tasks) > 1:
        fade_s = 1.2 * (step.round - 1)
        pull_start_s = end_s - max(person.machine_s - fade_s + float(rng.normal(0.0, 2.5)), 12.0)
    if not on_machine:
        share = 0.42 if easy_step else TASK_SHARE + 0.03
        return [], [
            Demand(bell_s, bell_s + late_s, REST_SHARE),
            Demand(bell_s + late_s, end_s, share + wobble / 2),
        ]
    effort = 0.45 if easy_step else 1.45 if len(step.tasks) == 1 else 1.0
    watts = person.watts * effort * (1.0 + wobble) * (1.0 - 0.012 * (step.round - 1))
    share = min(0.50 + 0.36 * effort, 0.95)
    return [Pull(pull_start_s, stop_s, watts)], [
        Demand(bell_s, pull_start_s, TASK_SHARE if len(step.tasks) > 1 else REST_SHARE),
        Demand(pull_start_s, end_s, share),
    ]


@dataclass(frozen=True)
class Score:
    """A row of the score sheet: the score, and the rounds where they were written down."""

    block: str
    score: int | None
    rounds: tuple[int, ...]


def scores(
    plan: Plan, person: Person, wheel: WheelTrace | None, rng: np.random.Generator
) -> tuple[Score, ...]:
    """What the person logs for the two scored blocks, own mistake in the first."""
    starts = block_starts(plan)
    orchard, gate = (block for block in plan.timed_blocks if block.score is not None)
    if wheel is None:
        reps = [int(rng.integers(38, 47)) for _ in range(orchard.rounds)]
        fast = [int(rng.integers(58, 70)) for _ in range(gate.rounds)]
        return (
            Score(orchard.name, sum(reps), tuple(reps)),
            Score(gate.name, max(fast), tuple(fast)),
        )
    reading_s = 8.0 if person.mistake == "read late" else 1.0
    calories = round_counts(
        wheel, "calories", unfold_block(orchard), starts[orchard.name], reading_s
    )
    metres = round_counts(wheel, "metres", unfold_block(gate), starts[gate.name], 1.0)
    kept = tuple(
        count for number, count in enumerate(calories, start=1) if number != person.left_out
    )
    total, rounds = sum(kept), kept
    if person.mistake == "rests counted":
        last_bell_s = starts[orchard.name] + orchard.duration_s - orchard.steps[-1].duration_s
        begun = count_at(wheel.calories, starts[orchard.name])
        total, rounds = int(count_at(wheel.calories, last_bell_s) - begun), ()
    elif person.mistake == "digits swapped":
        total, rounds = int(str(total)[::-1]), ()
    elif person.mistake == "too high":
        total, rounds = round(1.3 * total), ()
    return (
        Score(orchard.name, total, rounds),
        Score(gate.name, max(metres), tuple(metres)),
    )


def round_counts(
    wheel: WheelTrace,
    measure: str,
    steps: Sequence[PlannedStep],
    block_start_s: float,
    reading_s: float,
) -> list[int]:
    """The display's whole numbers for each round, read so many seconds after the bell."""
    counted = wheel.calories if measure == "calories" else wheel.distance_m
    return [
        int(
            count_at(counted, block_start_s + step.end_s + reading_s)
            - count_at(counted, block_start_s + step.start_s)
        )
        for step in steps
        if step.kind == "work"
    ]
