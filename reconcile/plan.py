"""The session as the coach wrote it: plain values, units kept as written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

Sex = Literal["m", "f"]
Measure = Literal["calories", "metres", "reps", "seconds"]
Effort = Literal["easy", "steady", "hard"]
Take = Literal["total", "lowest", "highest", "mean"]
MACHINES = ("rower", "ski", "bike")

# The international pound and inch, exact since 1959 (NIST Handbook 44, Appendix C).
KG_PER_LB = Fraction(45359237, 100000000)
CM_PER_INCH = Fraction(254, 100)


@dataclass(frozen=True)
class Quantity:
    """A load or a height as written: one value for men, one for women, in the unit of the plan."""

    men: Fraction
    women: Fraction
    unit: Literal["kg", "lb", "cm", "in"]

    def in_metric(self, sex: Sex | None) -> float:
        """Kilograms or centimetres for this sex; the mean of the two where sex is not said."""
        value = {"m": self.men, "f": self.women}.get(sex or "", (self.men + self.women) / 2)
        factor = {"lb": KG_PER_LB, "in": CM_PER_INCH}.get(self.unit, Fraction(1))
        return float(value * factor)


@dataclass(frozen=True)
class DurationRange:
    """From `low_s` to `high_s` seconds, both included."""

    low_s: float
    high_s: float


@dataclass(frozen=True)
class Task:
    """One thing to do inside a work step.

    `measure` with `amount` is a fixed amount; `measure` with `most` is as many as possible in the
    time that remains; neither is a task without a count. `instead` maps an option's name to the
    task that it does in place of this one.
    """

    movement: str
    measure: Measure | None = None
    amount: float | None = None
    most: bool = False
    load: Quantity | None = None
    height: Quantity | None = None
    effort: Effort | None = None
    intended: DurationRange | None = None
    instead: Mapping[str, Task] = field(default_factory=dict)

    @property
    def on_machine(self) -> bool:
        """Whether the task is done on a cardio machine."""
        return self.movement == "machine" or self.movement in MACHINES


@dataclass(frozen=True)
class Step:
    """A stretch of work or rest of fixed length on a timed block's clock."""

    kind: Literal["work", "rest"]
    duration_s: float
    tasks: tuple[Task, ...] = ()


@dataclass(frozen=True)
class ScoreRule:
    """What a block is scored by, and how its rounds make one number."""

    measure: Measure
    take: Take


@dataclass(frozen=True)
class TimedBlock:
    """A block whose clock, once started, runs to the end without a pause."""

    name: str
    rounds: int
    steps: tuple[Step, ...]
    score: ScoreRule | None = None
    rotate: bool = False

    @property
    def round_s(self) -> float:
        """Seconds in one round."""
        return sum(step.duration_s for step in self.steps)

    @property
    def duration_s(self) -> float:
        """Seconds from the block's first bell to its last."""
        return self.rounds * self.round_s


@dataclass(frozen=True)
class FreeBlock:
    """A block off the clock, usually between `low_s` and `high_s` long."""

    name: str
    low_s: float
    high_s: float


@dataclass(frozen=True)
class Plan:
    """A session: blocks in order, and the options that athletes may choose between."""

    title: str
    blocks: tuple[TimedBlock | FreeBlock, ...]
    options: tuple[str, ...] = ()

    @property
    def timed_blocks(self) -> tuple[TimedBlock, ...]:
        """The blocks with a clock, in order."""
        return tuple(block for block in self.blocks if isinstance(block, TimedBlock))
