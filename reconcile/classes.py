"""One class as plain values: who took part, what they logged, what was uploaded, what is pinned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from ingest.recording import Problem, Recording
from reconcile.plan import Plan, Sex

Source = Literal["watch", "rower", "ski", "bike", "unknown"]
Equipment = Literal["rower", "ski", "bike", "none"]


@dataclass(frozen=True)
class Athlete:
    """A row of the roster; None is "not said".

    resting_hr, max_hr: beats per minute. vo2max: ml/kg/min. delay_s: this athlete's timed blocks
    begin so much later (a wave). station: the work step, counted from 1, at which the athlete
    begins a rotating block. start: when the athlete did the plan alone.
    """

    athlete: str
    sex: Sex | None = None
    birth_year: int | None = None
    mass_kg: float | None = None
    resting_hr: float | None = None
    max_hr: float | None = None
    vo2max: float | None = None
    delay_s: float = 0.0
    station: int | None = None
    start: datetime | None = None


@dataclass(frozen=True)
class LoggedScore:
    """A row of the score sheet; None is "not said". `rounds` are per-round values as written."""

    athlete: str
    block: str | None = None
    option: str | None = None
    equipment: Equipment | None = None
    score: float | None = None
    rounds: tuple[float, ...] | None = None
    load_kg: float | None = None
    notes: str = ""


@dataclass(frozen=True)
class Pin:
    """What a coach has fixed by hand: a block's start on one file, or a file's owner."""

    file: str
    block: str | None = None
    start_s: float | None = None
    owner: str | None = None


@dataclass(frozen=True)
class Upload:
    """One file: who uploaded it (several for a machine used in turns, none for an unassigned one).

    `recording` is None where the file could not be read; `problems` then says where and why.
    """

    file: str
    athletes: tuple[str, ...]
    source: Source
    recording: Recording | None
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class ClassRecord:
    """Everything that is known of one class before it is reconciled.

    start: when the coach says that the first block began; true within `start_tolerance_s`.
    starts: block name to start, where a clock page recorded it (true to 2 s).
    history: what earlier classes taught about the athletes and devices.
    problems: what stood in the folder's lists and could not be taken at face value.
    """

    plan: Plan
    start: datetime
    start_tolerance_s: float
    athletes: tuple[Athlete, ...]
    scores: tuple[LoggedScore, ...]
    uploads: tuple[Upload, ...]
    starts: Mapping[str, datetime] = field(default_factory=dict)
    pins: tuple[Pin, ...] = ()
    history: Mapping[str, Any] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
