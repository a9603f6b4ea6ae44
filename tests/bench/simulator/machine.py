"""An air-braked machine ten times a second: pulled power, the flywheel, distance and the count.

The flywheel holds energy E = m·v²/2 and loses k·v³; its k is the law of the display, so that at a
steady pace pulled power is k·v³. The count is the contract's: kcal/h = 4 · 0.8604 · W + 300 while
the machine moves (v above 0.6 m/s), W the pulled power and, while coasting, k·v³.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

STEP_S = 0.1
TICKS_A_SECOND = 10
DRAG = {"rower": 2.80, "ski": 2.80, "bike": 0.35}
TYPICAL_SPEED = {"rower": 4.0, "ski": 3.7, "bike": 8.0}
MOVING_M_S = 0.6


@dataclass(frozen=True)
class Pull:
    """An unbroken run of strokes, by tick of the machine's clock (end excluded)."""

    athlete: str
    start: int
    end: int
    easy: bool


@dataclass
class Machine:
    """One machine from tick 0 to `ticks`; pulls must come in the order of time.

    effective_mass: of the flywheel, kg as felt at the handle.
    """

    kind: str
    ticks: int
    effective_mass: float
    power_w: NDArray[np.float64] = field(init=False)
    speed_m_s: NDArray[np.float64] = field(init=False)
    cadence_per_min: NDArray[np.float64] = field(init=False)
    pulls: list[Pull] = field(default_factory=list)
    now: int = 0
    energy_j: float = 0.0

    def __post_init__(self) -> None:
        self.power_w = np.zeros(self.ticks)
        self.speed_m_s = np.zeros(self.ticks)
        self.cadence_per_min = np.zeros(self.ticks)

    def run_to(self, tick: int) -> None:
        """Turn the flywheel up to `tick` under the power already written."""
        drag, mass, energy = DRAG[self.kind], self.effective_mass, self.energy_j
        power, speed = self.power_w, self.speed_m_s
        end = min(tick, self.ticks)
        index = self.now
        while index < end:
            watts = power[index]
            if energy < 0.05 and watts == 0.0:
                later = np.flatnonzero(power[index:end])
                if later.size == 0:
                    break
                index += int(later[0])
                continue
            v = (2 * energy / mass) ** 0.5
            energy = max(0.0, energy + STEP_S * (float(watts) - drag * v**3))
            speed[index] = ((2 * energy / mass) ** 0.5 + v) / 2
            index += 1
        self.now, self.energy_j = max(self.now, end), energy

    def pull(
        self,
        athlete: str,
        start: int,
        power_w: NDArray[np.float64],
        cadence_per_min: float,
        *,
        easy: bool = False,
    ) -> Pull:
        """Pull from `start` with this power, a value a tick."""
        start = max(start, self.now)
        end = min(start + power_w.size, self.ticks)
        self.power_w[start:end] = power_w[: end - start]
        self.cadence_per_min[start:end] = cadence_per_min
        self.run_to(end)
        done = Pull(athlete, start, end, easy)
        self.pulls.append(done)
        return done

    def cut(self, end: int) -> None:
        """End the last pull at `end`, before the machine's present."""
        last = self.pulls[-1]
        self.power_w[end:] = 0.0
        self.cadence_per_min[end:] = 0.0
        self.speed_m_s[end:] = 0.0
        self.pulls[-1] = Pull(last.athlete, last.start, end, last.easy)
        v = self.speed_m_s[end - 1]
        self.energy_j, self.now = float(0.5 * self.effective_mass * v * v), end

    def rate(self, start: int = 0, end: int | None = None) -> NDArray[np.float64]:
        """Counts a second in each tick from `start` to `end`."""
        power, speed = self.power_w[start:end], self.speed_m_s[start:end]
        watts = np.where(power > 0, power, DRAG[self.kind] * speed**3)
        return np.where(speed > MOVING_M_S, (4 * 0.8604 * watts + 300) / 3600, 0.0)

    def count(self) -> NDArray[np.float64]:
        """The unrounded count at the start of each tick, shape (ticks + 1,)."""
        return np.concatenate(([0.0], np.cumsum(self.rate()) * STEP_S))

    def metres(self) -> NDArray[np.float64]:
        """Distance at the start of each tick, shape (ticks + 1,)."""
        return np.concatenate(([0.0], np.cumsum(self.speed_m_s) * STEP_S))


def draw_machine(rng: Generator, kind: str, ticks: int) -> Machine:
    """Draw a machine whose flywheel takes 3 to 11 s from a usual pace to standing still."""
    coasting_s = rng.uniform(3, 11)
    v = TYPICAL_SPEED[kind]
    mass = DRAG[kind] * v * coasting_s / (v / MOVING_M_S - 1)
    return Machine(kind, ticks, mass)


def power_profile(
    rng: Generator, ticks: int, mean_w: float, stroke_s: float, *, fast_start: float, finish: float
) -> NDArray[np.float64]:
    """Pulled power over one pull: a ramp of 2 to 4 s, a fast start that wears off, stroke noise.

    The mean over the pull is about `mean_w`; `fast_start` and `finish` are relative.
    """
    time_s = np.arange(ticks) * STEP_S
    shape = 1 + fast_start * np.exp(-time_s / 14) + finish * np.exp(-(time_s[::-1]) / 9)
    stroke = (time_s / stroke_s).astype(int)
    noise = rng.normal(0, rng.uniform(0.03, 0.08), stroke[-1] + 1)
    shape *= 1 + noise[stroke] + 0.02 * np.sin(2 * np.pi * time_s / rng.uniform(20, 60))
    shape /= shape.mean()
    ramp = np.clip((time_s + 0.3) / rng.uniform(2, 4), 0.0, 1.0)
    return np.asarray(np.maximum(mean_w * shape * ramp, 8.0))
