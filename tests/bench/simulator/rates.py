"""How often things go wrong, by difficulty; "medium" is what a real class does, by judgement."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

from numpy.random import Generator

Difficulty = Literal["easy", "medium", "hard"]
DIFFICULTIES: tuple[Difficulty, ...] = ("easy", "medium", "hard")
# An easy class has so much of everything that goes wrong, a hard one so much more; over the three,
# drawn with these odds, the mean is above one: never kinder than the description.
FACTORS: dict[Difficulty, float] = {"easy": 0.55, "medium": 1.0, "hard": 1.6}
ODDS = (0.27, 0.40, 0.33)


@dataclass(frozen=True)
class Rates:
    """Probabilities: of an optical watch (the first two and grip_noise; four watches in five are),
    of any watch, of a machine recording, of a file, of a score."""

    lagging: float = 0.15
    cadence_lock: float = 0.125
    drop_out: float = 0.18
    grip_noise: float = 0.225
    smart_sampling: float = 0.34
    clock_minutes: float = 0.10
    clock_hours: float = 0.05
    late_start: float = 0.10
    early_stop: float = 0.08
    watch_pauses: float = 0.06
    held_power: float = 0.34
    no_count: float = 0.18
    no_power: float = 0.06
    from_first_pull: float = 0.25
    auto_pause: float = 0.15
    machine_clock: float = 0.40
    counter_resets: float = 0.05
    coarse_sampling: float = 0.05
    gzipped: float = 0.12
    unknown_source: float = 0.08
    no_owner: float = 0.06
    wrong_name: float = 0.05
    other_day: float = 0.05
    stranger: float = 0.125
    broken: float = 0.04
    wrong_score: float = 0.37
    missing_score: float = 0.05
    split: float = 0.03
    second_recorder: float = 0.03


def rates_for(difficulty: Difficulty) -> Rates:
    """The medium rates, scaled; wrong scores stay as they are (four in ten are not honest)."""
    factor = FACTORS[difficulty]
    kept = {"wrong_score", "missing_score"}
    values = {
        item.name: min(0.75, float(item.default) * (1.0 if item.name in kept else factor))  # type: ignore[arg-type]
        for item in fields(Rates)
    }
    return Rates(**values)


def draw_difficulty(rng: Generator) -> Difficulty:
    return DIFFICULTIES[int(rng.choice(3, p=ODDS))]
