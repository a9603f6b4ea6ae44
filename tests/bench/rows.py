"""All rows of many classes, and what a figure is: cases with a value each, and a summary."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tests.bench.outcomes import (
    BlockRow,
    ClassRow,
    FileRow,
    Outcome,
    RoundRow,
    ScoreRow,
    StartRow,
    StepRow,
)

AnyRow = ClassRow | FileRow | StartRow | StepRow | ScoreRow | BlockRow | RoundRow


@dataclass
class Rows:
    """The rows of many classes, kind by kind."""

    classes: list[ClassRow] = field(default_factory=list)
    files: list[FileRow] = field(default_factory=list)
    starts: list[StartRow] = field(default_factory=list)
    steps: list[StepRow] = field(default_factory=list)
    scores: list[ScoreRow] = field(default_factory=list)
    blocks: list[BlockRow] = field(default_factory=list)
    rounds: list[RoundRow] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        self.classes.append(outcome.of)
        self.files += outcome.files
        self.starts += outcome.starts
        self.steps += outcome.steps
        self.scores += outcome.scores
        self.blocks += outcome.blocks
        self.rounds += outcome.rounds


@dataclass(frozen=True)
class Case:
    """One case of a figure: an error, or 1 and 0 for yes and no."""

    value: float
    row: AnyRow


Cases = Callable[[Rows], list[Case]]
Summary = Callable[[Sequence[float]], float | None]


def median(values: Sequence[float]) -> float | None:
    return float(np.median(values)) if len(values) else None


def ninetieth(values: Sequence[float]) -> float | None:
    return float(np.quantile(values, 0.9)) if len(values) else None


def mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if len(values) else None


def share(values: Sequence[float]) -> float | None:
    """Per cent of the cases that are 1."""
    return float(np.mean(values) * 100) if len(values) else None


@dataclass(frozen=True)
class Line:
    """A line of a table: a figure, how its cases are summed up, and the floor it has to meet.

    at_least, at_most: the floor in the figure's unit, None where there is none.
    """

    name: str
    cases: Cases
    summary: Summary
    unit: str = ""
    at_least: float | None = None
    at_most: float | None = None

    @property
    def floor(self) -> str:
        parts = []
        if self.at_least is not None:
            parts.append(f"≥ {self.at_least:g}")
        if self.at_most is not None:
            parts.append(f"≤ {self.at_most:g}")
        return ", ".join(parts)

    def meets(self, value: float | None) -> bool | None:
        """Whether the value meets the floor; None without a floor or a value."""
        if value is None or not self.floor:
            return None
        low = self.at_least is None or value >= self.at_least
        return low and (self.at_most is None or value <= self.at_most)


def where(row: AnyRow) -> str:
    """Seed and place of a case, to look it up."""
    of = row if isinstance(row, ClassRow) else row.of
    text = f"seed {of.seed} {of.difficulty} [{of.family}; {of.grouping}]"
    if isinstance(row, StartRow):
        tags = ", ".join(row.file.tags)
        said = None if row.said is None else row.said["start_s"]
        return f"{text} {row.file.file} {row.block}: said {said} true {row.true_s:.1f} ({tags})"
    if isinstance(row, FileRow):
        said = None if row.said is None else (row.said["status"], row.said["belongs_to"])
        truth = (row.truth.status, row.truth.owners, row.truth.damage)
        return f"{text} {row.truth.file}: said {said} true {truth} ({', '.join(row.truth.tags)})"
    if isinstance(row, StepRow):
        said = None if row.said is None else {k: row.said[k] for k in STEP_KEYS}
        true = {k: getattr(row.truth, k) for k in STEP_KEYS if k != "energy"}
        step = f"{row.truth.block}/{row.truth.round}/{row.truth.step}"
        return f"{text} {row.athlete} {step}: said {said} true {true} {row.truth.energy_kcal:.1f}"
    if isinstance(row, ScoreRow):
        said = None
        if row.said is not None:
            said = {k: row.said[k] for k in ("recorded", "low", "high", "verdict", "flag")}
            said["explanations"] = [
                (e["code"], e["predicts"], e["probability"]) for e in row.said["explanations"][:3]
            ]
        return f"{text} {row.athlete} {row.truth}: said {said}"
    if isinstance(row, BlockRow):
        return (
            f"{text} {row.athlete} {row.block}: said {row.said_kcal} true {row.true_kcal:.1f}, "
            f"advice said {row.said_advice} true {row.true_advice}"
        )
    return f"{text} {row}"


STEP_KEYS = ("attempted", "machine_start_s", "machine_end_s", "machine_calories", "energy")
