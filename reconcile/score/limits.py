"""Whether a logged score lies beyond what a body or the machine can do in the planned time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reconcile.classes import Athlete, Equipment
from reconcile.display import (
    Machine,
    calories_from_power,
    power_from_calories,
    power_from_speed,
    speed_from_power,
)
from reconcile.plan import Measure
from reconcile.score.bounds import (
    Capacity,
    emptying_power_over_repeats_w,
    fastest_machine_s,
    fastest_repetition_s,
    least_seconds,
    most_power_over_repeats_w,
    most_power_w,
    record_capacity,
)
from reconcile.score.scored import Scored, ScoredStep, finishing_amounts

# A class works and reads the display until up to so long after the bell.
AFTER_THE_BELL_S = 3.0
# Whole numbers and clocks: a bound is only passed when it is passed by more than this.
GRAIN: dict[Measure, float] = {"calories": 1.0, "metres": 2.0, "reps": 1.0, "seconds": 2.0}


@dataclass(frozen=True)
class Beyond:
    """A number that passes a bound.

    what: `total`, `round`, `mean`, `highest`, `lowest`. round: counted from 1, where it is one.
    claimed: the number. limit: the bound in the same unit. seconds: the time there was.
    power_w, limit_w: the mean power that the number asks for and the bound's, where a machine
    counts. seconds_each: fastest credible seconds a repetition, where repetitions are counted.
    """

    measure: Measure
    what: str
    claimed: float
    limit: float
    seconds: float
    round: int | None = None
    power_w: float | None = None
    limit_w: float | None = None
    seconds_each: float | None = None


def beyond_the_possible(
    total: float,
    rounds: tuple[float, ...] | None,
    scored: Scored,
    athlete: Athlete,
    equipment: Equipment | None,
) -> Beyond | None:
    """The first bound that a logged score passes; None where it is possible.

    Rounds one by one as if each were done fresh, then the total with the balance of W′ over the
    rests (see `bounds`). The time is what the fixed tasks of a step leave at the fastest credible
    rates. Sex or mass not said: the widest bound.
    """
    capacity = record_capacity(athlete.sex, athlete.mass_kg)
    machine: Machine = "bike"  # the fastest display, where the machine is not known
    if equipment not in (None, "none"):
        machine = equipment  # type: ignore[assignment]
    if scored.measure == "seconds":
        return _too_fast(total, rounds, scored, capacity)
    singles = [most_of_round(steps, scored.measure, capacity, machine) for steps in scored.rounds]
    grain = GRAIN[scored.measure]
    highest = max(singles, key=lambda limit: limit.most)
    for index, value in enumerate(rounds or ()):
        limit = singles[index] if len(rounds or ()) == len(singles) else highest
        if value > limit.most + grain:
            return _beyond(scored, "round", value, limit, machine, index + 1)
    if scored.take != "total":
        if total > highest.most + grain:
            return _beyond(scored, scored.take, total, highest, machine)
        return None
    overall = most_of_total(scored, capacity, machine)
    if total > overall.most + grain:
        return _beyond(scored, "total", total, overall, machine)
    return None


@dataclass(frozen=True)
class Most:
    """The most that can be counted in some time, and the mean power that it takes."""

    most: float
    seconds: float
    power_w: float | None = None
    seconds_each: float | None = None


def window(step: ScoredStep, capacity: Capacity) -> tuple[float, float]:
    """(start_s, end_s) of the time that the step's other fixed tasks leave at the best."""
    taken_s = sum(
        least_seconds(task, capacity) for task in step.planned.tasks if not task.on_machine
    )
    end_s = step.end_s + AFTER_THE_BELL_S
    return min(step.start_s + taken_s, end_s - 5.0), end_s


def most_of_round(
    steps: tuple[ScoredStep, ...], measure: Measure, capacity: Capacity, machine: Machine
) -> Most:
    """The most of one round done fresh."""
    windows = [window(step, capacity) for step in steps]
    seconds = sum(end - start for start, end in windows)
    if measure == "reps":
        return _most_repetitions(steps, windows)
    powers = [most_power_w(capacity, end - start) for start, end in windows]
    return _most(measure, windows, powers, machine, seconds)


def beyond_the_inner_bound(
    total: float, scored: Scored, athlete: Athlete, equipment: Equipment | None
) -> bool:
    """Whether a total passes the inner bound of repeats: evidence, not ground for `impossible`.

    W′ spent linearly and refilled in the rests only, see `bounds.emptying_power_over_repeats_w`.
    """
    if scored.take != "total" or scored.measure not in ("calories", "metres"):
        return False
    machine: Machine = "bike"
    if equipment not in (None, "none"):
        machine = equipment  # type: ignore[assignment]
    capacity = record_capacity(athlete.sex, athlete.mass_kg)
    most = most_of_total(scored, capacity, machine, emptying_power_over_repeats_w)
    return total > most.most + GRAIN[scored.measure]


Repeats = Callable[[Sequence[tuple[float, float]], Capacity], tuple[float, ...]]


def most_of_total(
    scored: Scored,
    capacity: Capacity,
    machine: Machine,
    repeats: Repeats = most_power_over_repeats_w,
) -> Most:
    """The most of all rounds together, W′ spent and refilled."""
    windows = [window(step, capacity) for step in scored.steps]
    # Windows reach past the bell; where work follows at once they must not overlap.
    apart = [
        (start, min(end, after))
        for (start, end), after in zip(
            windows, [start for start, _ in windows[1:]] + [float("inf")], strict=True
        )
    ]
    seconds = sum(end - start for start, end in apart)
    if scored.measure == "reps":
        return _most_repetitions(scored.steps, apart)
    powers = repeats(apart, capacity)
    return _most(scored.measure, apart, list(powers), machine, seconds)


def _most(
    measure: Measure,
    windows: list[tuple[float, float]],
    powers: list[float],
    machine: Machine,
    seconds: float,
) -> Most:
    pairs = list(zip(windows, powers, strict=True))
    if measure == "metres":
        most = sum(
            speed_from_power(power, machine) * (end - start) for (start, end), power in pairs
        )
    else:
        most = sum(calories_from_power(power, end - start) for (start, end), power in pairs)
    mean_w = sum(power * (end - start) for (start, end), power in pairs) / seconds
    return Most(most, seconds, mean_w)


def _most_repetitions(steps: tuple[ScoredStep, ...], windows: list[tuple[float, float]]) -> Most:
    each = [
        min(
            (fastest_repetition_s(task.movement) for task in step.planned.tasks if task.most),
            default=fastest_repetition_s(""),
        )
        for step in steps
    ]
    seconds = sum(end - start for start, end in windows)
    most = sum((end - start) / s for (start, end), s in zip(windows, each, strict=True))
    return Most(most, seconds, seconds_each=min(each))


def _beyond(
    scored: Scored,
    what: str,
    claimed: float,
    limit: Most,
    machine: Machine,
    round_number: int | None = None,
) -> Beyond:
    power_w: float | None = None
    if scored.measure == "calories":
        power_w = power_from_calories(claimed, limit.seconds)
    elif scored.measure == "metres":
        power_w = power_from_speed(claimed / limit.seconds, machine)
    return Beyond(
        scored.measure,
        what,
        claimed,
        limit.most,
        limit.seconds,
        round_number,
        power_w,
        limit.power_w,
        limit.seconds_each,
    )


def _too_fast(
    total: float, rounds: tuple[float, ...] | None, scored: Scored, capacity: Capacity
) -> Beyond | None:
    """A round finished sooner than its fixed tasks can be done."""
    least = [sum(_least_of_step(step, capacity) for step in steps) for steps in scored.rounds]
    lengths = [sum(step.planned.duration_s for step in steps) for steps in scored.rounds]
    grain = GRAIN["seconds"]
    if rounds is not None and len(rounds) == len(least):
        for index, (value, limit) in enumerate(zip(rounds, least, strict=True)):
            if value < limit - grain:
                return Beyond("seconds", "round", value, limit, lengths[index], index + 1)
    limit = sum(least) if scored.take == "total" else min(least)
    if total < limit - grain:
        return Beyond("seconds", scored.take, total, limit, max(lengths))
    return None


def _least_of_step(step: ScoredStep, capacity: Capacity) -> float:
    finish = finishing_amounts(step.planned)
    off_machine_s = sum(
        least_seconds(task, capacity) for task in step.planned.tasks if not task.on_machine
    )
    if finish is None:
        return min(off_machine_s, step.planned.duration_s)
    last = step.planned.tasks[-1]
    return min(off_machine_s + fastest_machine_s(last, capacity), step.planned.duration_s)
