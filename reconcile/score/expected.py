"""What a score would be expected to be with no machine recording: wide, and no more than prior."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.classes import Athlete, Equipment
from reconcile.display import Machine, calories_from_power, speed_from_power
from reconcile.energy.movements import movement
from reconcile.plan import Measure, Task
from reconcile.score.scored import Scored, ScoredStep, finishing_amounts

# Mean power of adults who train in small groups, over rounds of one to three minutes (judgement).
USUAL_POWER_W = {"m": 190.0, "f": 130.0, None: 160.0}
# Net efficiency, mechanical work over energy above rest: rowing 0.198 (Eur J Appl Physiol 1986
# 55:471-475); cycling delta 0.23 to 0.27 and double poling 0.13 to 0.18 from memory.
NET_EFFICIENCY: dict[Machine, float] = {"rower": 0.198, "ski": 0.165, "bike": 0.23}
# One litre of oxygen is 20.9 kJ (Weir 1949, 4.98 kcal at RQ 0.95); resting 3.5 ml/kg/min (1 MET).
JOULES_PER_ML_OXYGEN = 20.9
RESTING_ML_PER_KG_MIN = 3.5
# Intervals are done at about this share of the power at VO2max (judgement), give or take the sd.
INTERVAL_SHARE = 0.85

# Spread (log) of a person's score about the expectation: nothing but sex known; VO2max and mass
# known; earlier classes known. And what other tasks in the step add, for the time that they leave.
SPREAD_BY_SEX = 0.42
SPREAD_BY_OXYGEN = 0.30
SPREAD_BY_EARLIER = 0.18
SPREAD_OF_TIME_LEFT = 0.40
# Spread of one athlete about the middle of the class on the same plan, and how many make a middle.
SPREAD_IN_CLASS, FEWEST_OTHERS = 0.38, 3


@dataclass(frozen=True, eq=False)
class Expectation:
    """Expected value of each round, and the spread (sd of the log) common to all of them."""

    rounds: Floats
    spread: float


def expected_power_w(
    athlete: Athlete, machine: Machine, earlier_power_w: tuple[float, ...] = ()
) -> tuple[float, float]:
    """(mean power in work intervals, its log spread) before anything was recorded.

    From earlier classes where there are any, else from VO2max and mass, else from sex.
    """
    if earlier_power_w:
        return float(np.median(earlier_power_w)), SPREAD_BY_EARLIER
    if athlete.vo2max is not None and athlete.mass_kg is not None:
        net = max(5.0, athlete.vo2max - RESTING_ML_PER_KG_MIN) * athlete.mass_kg
        top_w = net / 60 * JOULES_PER_ML_OXYGEN * NET_EFFICIENCY[machine]
        return INTERVAL_SHARE * top_w, SPREAD_BY_OXYGEN
    return USUAL_POWER_W[athlete.sex], SPREAD_BY_SEX


def expectation(
    scored: Scored,
    athlete: Athlete,
    equipment: Equipment | None,
    earlier_power_w: tuple[float, ...] = (),
    others: Collection[tuple[float, ...]] = (),
) -> Expectation:
    """What each round's value is expected to be, from the plan, the roster and the class.

    others: what machines recorded for others in each round, in the same measure.
    """
    machine: Machine = "rower" if equipment in (None, "none") else equipment  # type: ignore[assignment]
    power_w, spread = expected_power_w(athlete, machine, earlier_power_w)
    shared = any(len(step.planned.tasks) > 1 for step in scored.steps)
    if shared:
        spread = float(np.hypot(spread, SPREAD_OF_TIME_LEFT))
    if scored.measure == "reps":
        spread = float(np.hypot(spread, SPREAD_OF_TIME_LEFT))
    values = [
        sum(_expected_step(step, scored.measure, machine, power_w) for step in steps)
        for steps in scored.rounds
    ]
    own = Expectation(np.asarray(values, dtype=np.float64), spread)
    return _among_others(own, [other for other in others if len(other) == len(values)])


def _among_others(own: Expectation, others: Sequence[tuple[float, ...]]) -> Expectation:
    """The expectation drawn to the middle of the class, both weighted by their precision."""
    totals = np.array([sum(other) for other in others])
    totals = totals[totals > 0]
    expected = float(own.rounds.sum())
    if len(totals) < FEWEST_OTHERS or not expected > 0:
        return own
    own_weight, class_weight = own.spread**-2, SPREAD_IN_CLASS**-2
    log_ratio = float(np.log(np.median(totals) / expected))
    drawn = class_weight / (own_weight + class_weight) * log_ratio
    spread = float((own_weight + class_weight) ** -0.5)
    return Expectation(own.rounds * float(np.exp(drawn)), spread)


def _expected_step(step: ScoredStep, measure: Measure, machine: Machine, power_w: float) -> float:
    if measure == "seconds":
        return _expected_seconds(step, machine, power_w)
    left_s = usual_time_left_s(step)
    if measure == "reps":
        open_task = next((t for t in step.planned.tasks if t.most), Task("", "reps"))
        return left_s / movement(open_task.movement).seconds
    if measure == "metres":
        return speed_from_power(power_w, machine) * left_s
    return calories_from_power(power_w, left_s)


def _expected_seconds(step: ScoredStep, machine: Machine, power_w: float) -> float:
    finish = finishing_amounts(step.planned)
    if finish is None:
        return step.planned.duration_s * 0.75
    measure, amount = finish
    rate = calories_from_power(power_w, 1.0)
    if measure == "metres":
        rate = speed_from_power(power_w, machine)
    return min(step.planned.duration_s, amount / rate)


def usual_machine_s(scored: Scored) -> float | None:
    """Seconds usually left for the machine in a scored step, mean; None where it counts nothing."""
    if not scored.steps or not scored.on_machine:
        return None
    return float(np.mean([usual_time_left_s(step) for step in scored.steps]))


def usual_time_left_s(step: ScoredStep) -> float:
    """Seconds usually left for the open task of a step, from its `intended` or from the others."""
    open_tasks = [task for task in step.planned.tasks if task.most]
    intended = [task.intended for task in open_tasks if task.intended is not None]
    if intended:
        return (intended[0].low_s + intended[0].high_s) / 2
    before_s = sum(
        (task.amount or 0.0) * movement(task.movement).seconds
        for task in step.planned.tasks
        if not task.most and not task.on_machine and task.measure in ("reps", "metres")
    )
    return max(0.15 * step.planned.duration_s, step.planned.duration_s - before_s)
