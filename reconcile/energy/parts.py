"""A step cut into parts of one kind each: standing about, pulling on a machine, doing tasks."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from reconcile.energy.evidence import StepEvidence
from reconcile.energy.movements import movement
from reconcile.plan import Task

# Usual seconds of an amount that is not the movement's own. Common practice, no source.
SECONDS_PER_CALORIE = 4.5
SECONDS_PER_METRE = 1.0
SECONDS_PER_REPETITION = 2.5
# People begin a few seconds after the bell, where nothing tells when. Common practice, no source.
USUAL_START_S, USUAL_START_SHARE = 3.0, 0.1
# A logged time further from the usual than this (a factor of 2) is some mistake. Judgement.
CREDIBLE_LOG_RATIO = 0.7


@dataclass(frozen=True)
class Part:
    """A stretch of a step, seconds from the step's planned start.

    power_w: mean power of a pull, None elsewhere and where the file has none. tasks: what was done
    in it, each with the seconds that it is taken to have lasted. outside: strokes of this step's
    pull beyond its bells, where the step beside it carries the standing about. guessed: whether
    when it ended is only what its tasks usually take.
    """

    kind: Literal["standing", "machine", "tasks"]
    start_s: float
    end_s: float
    power_w: float | None = None
    tasks: tuple[tuple[Task, float], ...] = ()
    outside: bool = False
    guessed: bool = False

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end_s - self.start_s


def parts_of(step: StepEvidence) -> tuple[Part, ...]:
    """The parts of a step, without gaps, in order; empty for work of which nothing is known.

    Before the first pull the athlete does the tasks that the plan puts before the machine, after
    the last one those that it puts after it, and stands about otherwise. A rest is standing about,
    but for its pulls. A pull belongs whole to the step in which it began: what of it lies beyond
    the bells is a part `outside`.
    """
    length = step.planned.duration_s
    inside = _inside(step, _cut(step.pulls, 0.0, length), length)
    if not inside:
        return ()
    before = _cut(step.pulls, -math.inf, 0.0)
    after = _cut(step.pulls, length, math.inf)
    beyond = [replace(part, outside=True) for part in (*before, *after)]
    return tuple(sorted((*inside, *beyond), key=lambda part: part.start_s))


def _inside(step: StepEvidence, pulls: list[Part], length: float) -> tuple[Part, ...]:
    """The parts between a step's bells."""
    if step.planned.kind == "rest" or (step.attempted is False and not pulls):
        return _without_gaps(pulls, length)
    late = min(USUAL_START_S, USUAL_START_SHARE * length)
    begin = late if step.effort_start_s is None else min(max(step.effort_start_s, 0.0), length)
    end = _logged_end(step) if step.effort_end_s is None else step.effort_end_s
    stop = length if end is None else min(max(end, begin), length)
    tasks = step.planned.tasks
    if pulls:
        return _without_gaps(_around_pulls(pulls, tasks, begin, stop), length)
    if step.machine_recorded:
        tasks = tuple(task for task in tasks if not task.on_machine)
    elif not tasks:
        return ()
    # Who recorded a machine and never pulled was still at the tasks before it at the bell.
    kept_from_machine = len(tasks) < len(step.planned.tasks)
    guessed = end is None and not kept_from_machine and not any(_is_open(task) for task in tasks)
    if guessed:
        stop = min(stop, begin + sum(_usual_seconds(task) for task in tasks))
    doing = [replace(_doing(tasks, begin, stop), guessed=guessed)] if tasks else []
    return _without_gaps(doing, length)


def _logged_end(step: StepEvidence) -> float | None:
    """When fixed tasks ended by what the athlete logged; None where that cannot be meant."""
    if step.logged is None or step.logged.measure != "seconds":
        return None
    usual = sum(_usual_seconds(task) for task in step.planned.tasks)
    credible = abs(math.log(step.logged.amount / usual)) <= CREDIBLE_LOG_RATIO if usual else True
    return step.logged.amount if credible else None


def _around_pulls(
    pulls: list[Part], tasks: tuple[Task, ...], begin: float, stop: float
) -> list[Part]:
    """Parts of work that a machine recorded: the pulls, and the tasks around them.

    Tasks that stand between two machine tasks fill the longest break between pulls.
    """
    on_machine = [index for index, task in enumerate(tasks) if task.on_machine]
    first, last = (on_machine[0], on_machine[-1]) if on_machine else (len(tasks), len(tasks))
    before = tasks[:first]
    between = tuple(task for task in tasks[first:last] if not task.on_machine)
    after = tasks[last + 1 :]
    parts = list(pulls)
    if before:
        parts.append(_doing(before, min(begin, pulls[0].start_s), pulls[0].start_s))
    if between and len(pulls) > 1:
        gaps = pairwise(pulls)
        left, right = max(gaps, key=lambda gap: gap[1].start_s - gap[0].end_s)
        parts.append(_doing(between, left.end_s, right.start_s))
    elif between:
        after = between + after
    if after:
        parts.append(_doing(after, pulls[-1].end_s, max(stop, pulls[-1].end_s)))
    return sorted(parts, key=lambda part: part.start_s)


def _cut(pulls: tuple[tuple[float, float, float], ...], low_s: float, high_s: float) -> list[Part]:
    """What of the pulls lies between two times, as parts, cut where they overlap."""
    parts: list[Part] = []
    for start_s, end_s, power_w in sorted(pulls):
        start = max(start_s, parts[-1].end_s if parts else low_s)
        end = min(end_s, high_s)
        if end > start:
            known_power = float(power_w) if math.isfinite(power_w) else None
            parts.append(Part("machine", start, end, known_power))
    return parts


def _without_gaps(parts: list[Part], length: float) -> tuple[Part, ...]:
    """The parts in order, with standing about wherever nothing else is known."""
    filled: list[Part] = []
    at = 0.0
    for part in parts:
        if part.start_s > at:
            filled.append(Part("standing", at, part.start_s))
        if part.seconds > 0:
            filled.append(part)
        at = max(at, part.end_s)
    if at < length:
        filled.append(Part("standing", at, length))
    return tuple(filled)


def _doing(tasks: tuple[Task, ...], start_s: float, end_s: float) -> Part:
    """A part that fills the time with the tasks.

    Fixed amounts take their usual time; a task with an intended time takes that; what is open
    otherwise (as many as possible, or no amount) shares what remains, at least a quarter of the
    time. Where nothing is open for the rest, all stretch or shrink together.
    """
    seconds = end_s - start_s
    free = [_is_open(task) and task.intended is None for task in tasks]
    usual = [
        0.0 if open_ended else _usual_seconds(task)
        for task, open_ended in zip(tasks, free, strict=True)
    ]
    fixed = sum(usual)
    if any(free):
        room = max(seconds - fixed, 0.25 * seconds)
        scale = min(1.0, (seconds - room) / fixed) if fixed > 0 else 1.0
        share = room / sum(free)
    else:
        scale, share = (seconds / fixed if fixed > 0 else 0.0), 0.0
    shares = (
        share if open_ended else lasts * scale
        for lasts, open_ended in zip(usual, free, strict=True)
    )
    return Part("tasks", start_s, end_s, tasks=tuple(zip(tasks, shares, strict=True)))


def _is_open(task: Task) -> bool:
    """Whether the task lasts as long as there is time."""
    return task.most or task.amount is None


def _usual_seconds(task: Task) -> float:
    """Seconds that the coach intends for the task, or that its amount usually takes."""
    if task.intended is not None:
        return (task.intended.low_s + task.intended.high_s) / 2
    if task.amount is None:
        return 0.0
    known = movement(task.movement)
    if task.measure == "calories":
        return task.amount * SECONDS_PER_CALORIE
    if task.measure == "seconds":
        return task.amount
    if (task.measure == "metres") == known.per_metre:
        return task.amount * known.seconds
    return task.amount * (SECONDS_PER_METRE if task.measure == "metres" else SECONDS_PER_REPETITION)
