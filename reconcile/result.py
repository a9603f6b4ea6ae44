"""What the engine says of a class, in the terms of the result document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from ingest.recording import Floats, Format, Problem
from reconcile.plan import Measure

Status = Literal["aligned", "ambiguous", "unmatched", "unreadable"]
Verdict = Literal["confirmed", "plausible", "doubtful", "impossible", "unverifiable"]


@dataclass(frozen=True)
class BlockPlacement:
    """Where one timed block begins on a recording; seconds from its first sample, device clock."""

    block: str
    start_s: float
    low_s: float
    high_s: float
    probability: float


@dataclass(frozen=True)
class RecordingResult:
    """One file: what it is, where the blocks lie on it, whose it is."""

    file: str
    source: str
    format: Format | None
    status: Status
    first_sample: datetime | None
    samples: int
    belongs_to: str | tuple[str, ...] | None
    probability: float
    blocks: tuple[BlockPlacement, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class Energy:
    """Gross energy of a step, kcal, with a 95 % range and the evidence used, joined by `+`."""

    kcal: float
    low: float
    high: float
    method: str


@dataclass(frozen=True)
class Interval:
    """One step of one round; times in seconds from the step's planned start, class clock."""

    block: str
    round: int
    step: int
    kind: Literal["work", "rest"]
    planned_s: float
    attempted: bool | None = None
    effort_start_s: float | None = None
    effort_end_s: float | None = None
    machine_start_s: float | None = None
    machine_end_s: float | None = None
    machine_active_s: float | None = None
    machine_calories: float | None = None
    machine_metres: float | None = None
    mean_power_w: float | None = None
    energy: Energy | None = None
    mean_hr: float | None = None
    peak_hr: float | None = None
    hr_drop_60s: float | None = None


@dataclass(frozen=True)
class Explanation:
    """One way in which the logged score could have come about."""

    code: str
    predicts: float | None
    probability: float
    text: str


@dataclass(frozen=True)
class ScoreResult:
    """A scored block of one athlete: what was logged, what the evidence says, and the verdict."""

    block: str
    measure: Measure
    logged: float | None
    recorded: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    flag: bool
    explanations: tuple[Explanation, ...] = ()


@dataclass(frozen=True)
class Advice:
    """One thing worth saying to the athlete or the coach."""

    code: str
    text: str
    block: str | None = None
    movement: str | None = None


@dataclass(frozen=True, eq=False)
class Track:
    """An athlete's signals on the class's own clock, for drawing.

    time_s: seconds from the class's first block (class clock). The columns are as long, NaN where
    missing, None where nothing recorded them. `pulls` are (start_s, end_s) of machine work.
    """

    time_s: Floats
    heart_rate_bpm: Floats | None
    power_w: Floats | None
    pulls: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class AthleteResult:
    """Everything about one athlete.

    block_start_s: a timed block's name to its start for this athlete on the class clock (seconds
        from the first timed block's start for the class).
    own_line: the athlete's own line as learnt here, for later classes (`EnergyAnswer.own_line`).
    """

    athlete: str
    recordings: tuple[RecordingResult, ...]
    intervals: tuple[Interval, ...]
    scores: tuple[ScoreResult, ...]
    advice: tuple[Advice, ...]
    block_start_s: dict[str, float] = field(default_factory=dict)
    tracks: tuple[Track, ...] = ()
    own_line: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class ClassResult:
    """The reconciled class."""

    title: str
    athletes: tuple[AthleteResult, ...]
    unassigned: tuple[RecordingResult, ...]
