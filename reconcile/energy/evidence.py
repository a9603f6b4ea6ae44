"""What energy is worked out from, and what comes out: plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from ingest.recording import Floats, Problem
from reconcile.plan import Measure
from reconcile.result import Energy
from reconcile.timeline import PlannedStep

Machine = Literal["rower", "ski", "bike"]
HeartSource = Literal["strap", "optical", "unknown"]


@dataclass(frozen=True)
class LoggedStep:
    """What an athlete logged of one step: displayed calories, metres, repetitions or seconds."""

    measure: Measure
    amount: float


@dataclass(frozen=True, eq=False)
class StepEvidence:
    """What is known of one planned step of one athlete, before its energy is worked out.

    planned: the step, its tasks already those of the athlete's option and station.
    block_start_s: this athlete's start of the step's block on the class clock.
    attempted: whether the work was begun; None where nothing tells, and on rests.
    effort_start_s, effort_end_s: when the athlete really worked, seconds from the step's planned
        start; None where nothing tells.
    machine: the machine that `pulls` were done on, or that the athlete is known to use.
    pulls: (start_s, end_s, mean_power_w) of each unbroken run of strokes that belongs to the step,
        from its planned start: whole, so that it may begin before the step or end after it; easy
        pulling in a rest included. Power is NaN where the file has none.
    machine_recorded: whether a machine recording covers this step, so that no pull means no pull.
    load_kg: the logged load of the step's first loaded task.
    logged: what the athlete logged of this step; used only where no machine recorded it.
    """

    planned: PlannedStep
    block_start_s: float
    attempted: bool | None = None
    effort_start_s: float | None = None
    effort_end_s: float | None = None
    machine: Machine | None = None
    pulls: tuple[tuple[float, float, float], ...] = ()
    machine_recorded: bool = False
    load_kg: float | None = None
    logged: LoggedStep | None = None

    @property
    def start_s(self) -> float:
        """The step's planned start on the class clock."""
        return self.block_start_s + self.planned.start_s

    @property
    def end_s(self) -> float:
        """The step's planned end on the class clock."""
        return self.block_start_s + self.planned.end_s


@dataclass(frozen=True, eq=False)
class HeartRate:
    """One athlete's heart rate over the whole class, on a 1 Hz grid of the class clock.

    time_s: seconds, one apart. bpm: beats per minute, NaN where missing. trust: 0 (worthless) to
    1 (nothing speaks against it) for each sample, see `reconcile.energy.sensor.doubt`.
    """

    time_s: Floats
    bpm: Floats
    trust: Floats
    source: HeartSource = "unknown"


@dataclass(frozen=True)
class ModelRow:
    """One model's estimate of one step, for showing how a figure came about.

    kcal: the model's estimate for the whole step. sd: its relative spread (log kcal), one standard
    deviation. weight: its share in the fused result, 0 where it was not used. note: why.
    """

    block: str
    round: int
    step: int
    model: str
    kcal: float
    sd: float
    weight: float
    note: str = ""


@dataclass(frozen=True)
class BlockEnergy:
    """A timed block's total, work and rest; its range carries the errors common to all steps."""

    block: str
    total: Energy
    work: Energy | None
    rest: Energy | None


@dataclass(frozen=True)
class EnergyAnswer:
    """The energy of every step, in the order given; None means "don't know".

    oxygen_timed: what a mask would read in each step's window, kcal, None where there is no
        heart rate; never added to or mixed with `steps`.
    own_line: the athlete's own line as learnt here, to be kept for later classes (see
        `reconcile.energy.own_line`); empty where none could be fitted.
    """

    steps: tuple[Energy | None, ...]
    problems: tuple[Problem, ...]
    rows: tuple[ModelRow, ...]
    blocks: tuple[BlockEnergy, ...]
    oxygen_timed: tuple[Energy | None, ...]
    own_line: Mapping[str, Any] = field(default_factory=dict)
