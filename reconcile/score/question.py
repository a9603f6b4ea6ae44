"""What has to be known to judge one logged score: plain values, one question a scored block."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from ingest.recording import Floats
from reconcile.classes import Athlete, Equipment, LoggedScore
from reconcile.plan import TimedBlock
from reconcile.result import Interval
from reconcile.timeline import PlannedStep

Machine = Literal["rower", "ski", "bike"]


class MachineCount(Protocol):
    """One machine's own count, on this athlete's block clock.

    Every time is in seconds from the block's first bell for this athlete, at the best placement.
    Counts are continuous (fractions between two displayed values), grow from the file's start and
    stand still before the first sample and after the last.
    """

    @property
    def machine(self) -> Machine:
        """The kind of machine."""

    @property
    def pulls(self) -> tuple[tuple[float, float], ...]:
        """Unbroken runs of strokes or pedalling, (start_s, end_s), in order."""

    @property
    def calories_scale_sd(self) -> float:
        """One standard deviation of a factor common to the whole count of calories.

        0.002 or so where the file has a count, more where it is computed from power or speed.
        """

    @property
    def metres_scale_sd(self) -> float:
        """The same for metres."""

    def calories_at(self, time_s: Floats) -> Floats:
        """Displayed calories since the file's start, as a fraction, at each time."""

    def metres_at(self, time_s: Floats) -> Floats:
        """Metres since the file's start at each time."""

    def calories_sd(self, start_s: float, end_s: float) -> float:
        """One standard deviation of the calories counted between two times, in calories.

        The step's own doubt (interpolation, sparse samples, short gaps), beside the common factor.
        """

    def metres_sd(self, start_s: float, end_s: float) -> float:
        """The same for metres."""

    def covered(self, start_s: float, end_s: float) -> float:
        """Share (0 to 1) of the time between two times for which the count is known.

        Known is what was recorded, and time in which the count must have stood still (before a
        file that begins at rest or at the first pull, a machine's own pause).
        """

    def idle_outside(self, start_s: float, end_s: float) -> float:
        """Probability that nothing was done on the machine in the time that `covered` lacks."""


@dataclass(frozen=True)
class OtherPlacement:
    """Another credible place of the block on the machine's recording.

    Its bells lie `offset_s` seconds later on the recording than those of the best placement.
    """

    offset_s: float
    probability: float


@dataclass(frozen=True, eq=False)
class ScoreQuestion:
    """Everything that bears on one athlete's score in one block.

    block: the block as planned (its `score` says what is counted).
    steps: its steps for this athlete, option and station applied.
    logged: the row of the score sheet; None where there is none.
    equipment: the machine, from the sheet or from the recording; None where neither tells.
    intervals: this block's intervals, as measured.
    counts: machine recordings that belong to the athlete and cover the block in part or whole,
        the most trustworthy first; work recorded twice counts once.
    placement_sd_s: one standard deviation of where the bells lie on the machine's recording
        (one shift for all rounds).
    placement_probability: that the placement is not out by a round or more; what is missing to 1
        goes to `other_placements`, or without any to one round earlier and later.
    ownership_probability: that these machine recordings are this athlete's. owner_stated: whoever
        uploaded them said so.
    watch_calories: numbers that stand for "the watch's own estimate": its total for the file,
        its running count over the block.
    has_heart_rate: a heart rate of this athlete is placed on the block.
    others: athlete name to the values at the bells of each scored round that a machine recorded
        for them on this block (see `recorded_rounds`).
    others_logged: athlete name to the row that they wrote for this block.
    earlier_power_w: mean power of this athlete's work steps on this machine in earlier classes.
    """

    block: TimedBlock
    steps: tuple[PlannedStep, ...]
    athlete: Athlete
    logged: LoggedScore | None
    equipment: Equipment | None = None
    intervals: tuple[Interval, ...] = ()
    counts: tuple[MachineCount, ...] = ()
    placement_sd_s: float = 0.5
    placement_probability: float = 1.0
    other_placements: tuple[OtherPlacement, ...] = ()
    ownership_probability: float = 1.0
    owner_stated: bool = True
    watch_calories: tuple[float, ...] = ()
    has_heart_rate: bool = False
    others: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    others_logged: Mapping[str, LoggedScore] = field(default_factory=dict)
    earlier_power_w: tuple[float, ...] = ()
