"""What goes in and out about plans."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import Field

from api.http import Answer, Strict

EXAMPLE = """\
title: Harbour steps
blocks:
  - name: main
    rounds: 4
    steps:
      - work: 90s
        tasks:
          - {movement: kettlebell deadlift, reps: 10, load_kg: {men: 24, women: 16}}
          - {movement: machine, most: metres}
      - rest: 90s
    score: {measure: metres, take: total}
"""


class PlanBody(Strict):
    """A plan as text (YAML 1.2)."""

    text: Annotated[str, Field(min_length=1, max_length=100_000, examples=[EXAMPLE])]


class VersionAnswer(Answer):
    """One version of a plan."""

    number: int
    title: str
    text: str
    made_at: datetime


class VersionList(Answer):
    """Versions of a plan, newest first."""

    items: list[VersionAnswer]


class PlanAnswer(Answer):
    """A plan: its newest version that the person may see, and how many there are."""

    id: str
    title: str
    text: str
    version: int
    versions: int
    made_at: datetime


class PlanPage(Answer):
    """A page of plans."""

    items: list[PlanAnswer]
    next: str | None


class StepAnswer(Answer):
    """One step on the clock of its block, in seconds."""

    block: str
    round: int
    step: int
    kind: str
    start_s: float
    end_s: float
    tasks: list[str]


class TimelineAnswer(Answer):
    """A plan unfolded, and how long the class will be (seconds, from least to most)."""

    title: str
    options: list[str]
    least_s: float
    most_s: float
    steps: list[StepAnswer]
