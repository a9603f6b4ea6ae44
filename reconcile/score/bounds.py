"""What no body and no machine can do: outer bounds of power, of repeats, and of repetitions.

Every bound is drawn wide of the best that was ever measured, so that only what lies beyond it is
called impossible.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reconcile.display import (
    Machine,
    calories_from_power,
    power_from_pace,
    speed_from_power,
)
from reconcile.energy.movements import movement
from reconcile.plan import Sex, Task

# Indoor records, men (World Rowing: 500 m in 1:10.5, news of 12 March 2021; 2000 m in 5:35.8,
# 2018; read in stored pages, may be outdated).
RECORD_500_M_S = 70.5
RECORD_2000_M_S = 335.8
# Women's watts over men's: the women's 2000 m record of 6:21.1 is 0.684 of the men's; rounded up
# so that the record itself lies inside.
WOMEN_SHARE = 0.70
# Mean power of any effort of some seconds, men. From memory: 100 m in 12.6 s shows 1400 W.
PEAK_POWER_W = 1500.0
# Power of bodies of like build grows with mass to 2/3 (Vanderburgh et al. 1996, Med Sci Sports
# Exerc 28, on 148 men at an indoor championship: speed³ as mass^(2/3)). Below these masses the
# bounds shrink; the records were set at or above them (lightweight records stay inside).
MASS_EXPONENT = 2 / 3
FULL_MASS_KG: dict[Sex, float] = {"m": 90.0, "f": 75.0}


@dataclass(frozen=True)
class Capacity:
    """Two-parameter power-duration law: power = critical_power_w + work_above_j / seconds.

    peak_power_w caps it for short efforts. (Monod and Scherrer 1965, Ergonomics 8:329-338.)
    """

    critical_power_w: float
    work_above_j: float
    peak_power_w: float

    def scaled(self, factor: float) -> Capacity:
        """The same law with every power multiplied."""
        return Capacity(
            self.critical_power_w * factor, self.work_above_j * factor, self.peak_power_w * factor
        )


def record_capacity(sex: Sex | None = None, mass_kg: float | None = None) -> Capacity:
    """The law through the men's 500 m and 2000 m records: 483.3 W and 36.34 kJ.

    It joins marks of different people and so lies above any one of them. Women 0.70 of it; light
    bodies less (mass^(2/3)). Where sex is not said the men's bound holds.
    """
    fast_w = power_from_pace(RECORD_500_M_S)
    slow_w = power_from_pace(RECORD_2000_M_S / 4)
    fast_j, slow_j = fast_w * RECORD_500_M_S, slow_w * RECORD_2000_M_S
    critical_w = (slow_j - fast_j) / (RECORD_2000_M_S - RECORD_500_M_S)
    men = Capacity(critical_w, fast_j - critical_w * RECORD_500_M_S, PEAK_POWER_W)
    factor = WOMEN_SHARE if sex == "f" else 1.0
    if mass_kg is not None:
        factor *= min(1.0, (mass_kg / FULL_MASS_KG[sex or "m"]) ** MASS_EXPONENT)
    return men.scaled(factor)


def most_power_w(capacity: Capacity, duration_s: float) -> float:
    """Highest mean power of one fresh effort of `duration_s` seconds."""
    mean_w = capacity.critical_power_w + capacity.work_above_j / duration_s
    return min(mean_w, capacity.peak_power_w)


def skiba_2012_tau_s(deficit_w: float) -> float:
    """Time constant of the refilling of W′, seconds: 546 · e^(−0.01 · D) + 316.

    D is critical power less the mean power of the recoveries, W (Skiba et al. 2012, Med Sci Sports
    Exerc 44:1526-1532, equation 3).
    """
    return 546.0 * math.exp(-0.01 * deficit_w) + 316.0


def most_power_over_repeats_w(
    windows: Sequence[tuple[float, float]], capacity: Capacity
) -> tuple[float, ...]:
    """Highest mean power of each of several efforts, each emptying what is left: outer bound.

    `windows` are (start_s, end_s), in order. The balance of Skiba et al. 2012 in its integral form
    (what was spent decays with `skiba_2012_tau_s`, during work too), passive rest, even power in
    each effort. Emptying each time gives the greatest sum, since what is kept back decays.
    """
    tau_s = skiba_2012_tau_s(capacity.critical_power_w)
    powers: list[float] = []
    spent_j, last_end_s = 0.0, windows[0][0] if windows else 0.0
    for start_s, end_s in windows:
        spent_j *= math.exp(-(start_s - last_end_s) / tau_s)
        kept = math.exp(-(end_s - start_s) / tau_s)
        room_j = capacity.work_above_j - spent_j * kept
        above_w = room_j / (tau_s * (1 - kept))
        power_w = min(capacity.critical_power_w + above_w, capacity.peak_power_w)
        spent_j = spent_after_j(spent_j, power_w, end_s - start_s, capacity, tau_s)
        powers.append(power_w)
        last_end_s = end_s
    return tuple(powers)


def emptying_power_over_repeats_w(
    windows: Sequence[tuple[float, float]], capacity: Capacity
) -> tuple[float, ...]:
    """As `most_power_over_repeats_w`, with W′ spent linearly in work and refilled in rest only.

    The inner bound: evidence, never ground for `impossible`, since the balance was found not to
    tell exhaustion well.
    """
    tau_s = skiba_2012_tau_s(capacity.critical_power_w)
    powers: list[float] = []
    spent_j, last_end_s = 0.0, windows[0][0] if windows else 0.0
    for start_s, end_s in windows:
        spent_j *= math.exp(-(start_s - last_end_s) / tau_s)
        above_w = (capacity.work_above_j - spent_j) / (end_s - start_s)
        power_w = min(capacity.critical_power_w + above_w, capacity.peak_power_w)
        spent_j += (power_w - capacity.critical_power_w) * (end_s - start_s)
        powers.append(power_w)
        last_end_s = end_s
    return tuple(powers)


def spent_after_j(
    spent_j: float, power_w: float, duration_s: float, capacity: Capacity, tau_s: float
) -> float:
    """Joules of W′ spent after an even effort, integral form; never below 0."""
    kept = math.exp(-duration_s / tau_s)
    above_w = power_w - capacity.critical_power_w
    return max(0.0, spent_j * kept + max(0.0, above_w) * tau_s * (1 - kept))


# Fastest credible seconds a repetition. Common practice, no source, except single-unders
# (competition speed jumping, some 7.7 a second over 30 s) and double-unders. The first entry all
# of whose words stand in the movement's name counts.
FASTEST_SECONDS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("double", "under"), 0.34),
    (("single", "under"), 0.13),
    (("skip",), 0.13),
    (("rope", "jump"), 0.13),
    (("jump", "rope"), 0.13),
    (("jumping", "jack"), 0.4),
    (("box", "jump"), 1.2),
    (("step", "up"), 0.8),
    (("clean", "thruster"), 2.5),
    (("thruster",), 1.5),
    (("wall", "ball"), 1.6),
    (("burpee", "over"), 2.5),
    (("burpee",), 1.8),
    (("swing",), 1.2),
    (("push", "up"), 0.7),
    (("press-up",), 0.7),
    (("pull", "up"), 1.0),
    (("chin", "up"), 1.0),
    (("sit", "up"), 0.9),
    (("crunch",), 0.6),
    (("squat",), 0.9),
    (("lunge",), 0.8),
    (("snatch",), 1.2),
    (("clean",), 1.2),
    (("deadlift",), 0.9),
    (("row",), 0.7),
    (("press",), 0.7),
)
# What is not listed is never faster than this share of its usual time, nor than a skipping rope.
UNLISTED_SHARE, UNLISTED_S = 0.12, 0.13
# Metres per second of a carry or a run, at the most. From memory: 100 m in 9.6 s.
FASTEST_ON_FOOT_M_S = 10.4


def fastest_repetition_s(name: str) -> float:
    """Fastest credible seconds for one repetition of a movement, see `FASTEST_SECONDS`."""
    lower = name.lower()
    for words, seconds in FASTEST_SECONDS:
        if all(word in lower for word in words):
            return seconds
    return max(UNLISTED_S, UNLISTED_SHARE * movement(name).seconds)


def least_seconds(task: Task, capacity: Capacity) -> float:
    """Seconds that a task of fixed amount needs at least; 0 for one without a fixed amount."""
    if task.most or task.amount is None or task.amount <= 0:
        return 0.0
    if task.measure == "reps":
        return task.amount * fastest_repetition_s(task.movement)
    if task.measure == "seconds":
        return task.amount
    if not task.on_machine:
        return task.amount / FASTEST_ON_FOOT_M_S if task.measure == "metres" else 0.0
    return fastest_machine_s(task, capacity)


def fastest_machine_s(task: Task, capacity: Capacity) -> float:
    """Seconds in which a fixed amount of calories or metres on a machine can be done at the best.

    Halving over the power-duration law: the amount grows with the time allowed. For a task on any
    machine metres are a bike's, the fastest display.
    """
    amount = task.amount or 0.0
    machine: Machine = "rower" if task.movement in ("rower", "ski") else "bike"

    def done(duration_s: float) -> float:
        power_w = most_power_w(capacity, duration_s)
        if task.measure == "calories":
            return calories_from_power(power_w, duration_s)
        return speed_from_power(power_w, machine) * duration_s

    low_s, high_s = 0.1, 36_000.0
    for _ in range(60):
        middle_s = (low_s + high_s) / 2
        low_s, high_s = (low_s, middle_s) if done(middle_s) >= amount else (middle_s, high_s)
    return high_s
