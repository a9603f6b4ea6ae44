"""People: their engines, their hearts and their habits, each trait drawn from its range."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.random import Generator

from tests.bench.simulator.movements import MACHINE_KINDS, MOVEMENTS

# Net efficiency of machine work: mean and spread.
EFFICIENCY = {"rower": 0.198, "ski": 0.165, "bike": 0.225}
EFFICIENCY_SD = 0.013
KCAL_MIN_PER_WATT = 60 / 4184.0


@dataclass(frozen=True)
class Heart:
    """How the heart answers work; beats per minute and seconds."""

    resting: float
    highest: float
    delay_s: float
    tau_on_s: float
    tau_off_s: float
    strength_share: float
    drift_share_an_hour: float
    noise_sd: float
    noise_tau_s: float
    sharpness: float


@dataclass(frozen=True)
class Habits:
    """How this person behaves around the bell.

    stop_s: when the work usually stops, after the bell; stop_spread: 1 where every bell is another
    draw of the whole range, less where the person is steady about it.
    """

    start_delay_s: float
    start_spread_s: float
    stop_s: float
    stop_spread: float
    stops_early: bool
    rows_in_rests: bool
    kick: float
    fade: float
    effort: float
    change_over_s: float
    breaks: float


@dataclass(frozen=True)
class Body:
    """One athlete's body. vo2max in ml/kg/min; efficiencies by machine; cost and tempo factors by
    movement; standing_met while waiting about; strength relative to an average person."""

    sex: str
    birth_year: int
    age: int
    mass_kg: float
    vo2max: float
    critical_share: float
    reserve_j_kg: float
    recovery_s: float
    efficiency: dict[str, float]
    cost_factor: dict[str, float]
    tempo_factor: dict[str, float]
    strength: float
    load_exponent: float
    standing_met: float
    stroke_rate: dict[str, float]
    heart: Heart
    habits: Habits

    @property
    def resting_kcal_min(self) -> float:
        """One MET is 1 kcal/kg/h."""
        return self.mass_kg / 60

    def power_at_vo2max(self, machine: str) -> float:
        """Watts on this machine that cost VO2max (20.9 kJ a litre)."""
        kcal_min = self.vo2max * self.mass_kg / 1000 * 20.9 / 4.184
        watts = (kcal_min - self.resting_kcal_min) / KCAL_MIN_PER_WATT
        return float(watts * self.efficiency[machine])

    def critical_power(self, machine: str) -> float:
        return self.critical_share * self.power_at_vo2max(machine)

    @property
    def reserve_j(self) -> float:
        return self.reserve_j_kg * self.mass_kg

    def task_kcal_min(self, movement: str) -> float:
        """Gross cost of a movement, never more than a body can spend for minutes."""
        met = MOVEMENTS[movement].met * self.cost_factor[movement]
        return min(met, 1.15 * self.vo2max / 3.5) * self.resting_kcal_min

    def seconds_per_repetition(self, movement: str, load_kg: float) -> float:
        """Time for one repetition, growing faster than the load near the limit."""
        known = MOVEMENTS[movement]
        base = known.seconds * self.tempo_factor[movement]
        if not known.loads_kg:
            return base
        share = self.share_of_limit(movement, load_kg)
        return base * (0.9 + 0.9 * math.pow(share, self.load_exponent))

    def share_of_limit(self, movement: str, load_kg: float) -> float:
        known = MOVEMENTS[movement]
        if not known.loads_kg:
            return 0.0
        scale = 1.0 if self.sex == "m" else 0.72
        return load_kg / (known.limit * scale * self.strength * self.mass_kg)


def spread(rng: Generator, sd: float) -> float:
    """A factor of mean 1 with this relative spread."""
    return math.exp(rng.normal(-0.5 * sd * sd, sd))


def draw_heart(rng: Generator, age: int) -> Heart:
    return Heart(
        resting=rng.uniform(48, 75),
        highest=208 - 0.7 * age + rng.normal(0, 8),
        delay_s=rng.uniform(3, 12),
        tau_on_s=rng.uniform(18, 40),
        tau_off_s=rng.uniform(35, 75),
        strength_share=rng.uniform(0.02, 0.08),
        drift_share_an_hour=rng.uniform(0.0, 0.12),
        noise_sd=rng.uniform(0.8, 2.5),
        noise_tau_s=rng.uniform(8, 30),
        sharpness=rng.uniform(4, 8),
    )


def draw_habits(rng: Generator) -> Habits:
    late = rng.random() < 0.10
    return Habits(
        start_delay_s=rng.uniform(5, 14) if late else rng.uniform(0.0, 3.0),
        start_spread_s=rng.uniform(0.2, 1.2),
        stop_s=rng.uniform(-2.0, 3.0),
        stop_spread=1.0 if rng.random() < 0.5 else rng.uniform(0.1, 0.4),
        stops_early=bool(rng.random() < 0.10),
        rows_in_rests=bool(rng.random() < 1 / 6),
        kick=rng.uniform(0.02, 0.14) if rng.random() < 0.75 else 0.0,
        fade=rng.uniform(0.0, 0.18),
        effort=rng.uniform(0.72, 0.98),
        change_over_s=rng.uniform(2.5, 9.0),
        breaks=0.08 if rng.random() < 0.7 else 0.25,
    )


def draw_body(rng: Generator, class_year: int) -> Body:
    sex = "m" if rng.random() < 0.5 else "f"
    age = int(rng.integers(19, 62))
    mass_kg = rng.normal(80, 11) if sex == "m" else rng.normal(65, 9)
    mass_kg = min(max(mass_kg, 48.0), 118.0)
    vo2max = (rng.normal(47, 6) if sex == "m" else rng.normal(40, 5.5)) - 0.18 * (age - 35)
    cost_sd, tempo_sd = rng.uniform(0.25, 0.35), rng.uniform(0.25, 0.35)
    # One part of a person's cost goes with all movements, the other with each of them.
    common = spread(rng, 0.66 * cost_sd)
    return Body(
        sex=sex,
        birth_year=class_year - age,
        age=age,
        mass_kg=round(mass_kg, 1),
        vo2max=min(max(vo2max, 27.0), 64.0),
        critical_share=rng.uniform(0.74, 0.86),
        reserve_j_kg=rng.uniform(140, 300),
        recovery_s=rng.uniform(250, 600),
        efficiency={
            kind: EFFICIENCY[kind] + rng.normal(0, EFFICIENCY_SD)
            for kind in MACHINE_KINDS
        },
        cost_factor={name: common * spread(rng, 0.75 * cost_sd) for name in MOVEMENTS},
        tempo_factor={name: spread(rng, 0.6 * tempo_sd) for name in MOVEMENTS},
        strength=spread(rng, tempo_sd * 0.7),
        load_exponent=rng.uniform(2.0, 4.0),
        standing_met=rng.uniform(1.7, 3.0),
        stroke_rate={
            "rower": rng.uniform(22, 32), "ski": rng.uniform(32, 46), "bike": rng.uniform(62, 90),
        },
        heart=draw_heart(rng, age),
        habits=draw_habits(rng),
    )  # fmt: skip
