"""What goes in and out about pins and decisions."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from api.classes.schemas import Label, tidy
from api.http import Answer, Strict
from api.people.schemas import Handle

Outcome = Literal["stands", "corrected", "set aside", "reopened"]

FURTHEST_S = 7 * 24 * 3600.0


class PinBody(Strict):
    """What is fixed by hand: a block's start on a file, its owner (a coach's to say), or both."""

    file: Annotated[
        str,
        Field(
            min_length=1,
            max_length=500,
            description="As in the result; of a zip, `<name>.zip/<member>`.",
            examples=["a03.watch.fit"],
        ),
    ]
    block: Label | None = None
    start_s: Annotated[float, Field(ge=-FURTHEST_S, le=FURTHEST_S), AfterValidator(tidy)] | None = (
        Field(default=None, description="Seconds from the file's first sample.")
    )
    owner: Handle | None = None


class PinAnswer(Answer):
    """A pin that stands."""

    id: str
    file: str
    block: str | None
    start_s: float | None
    owner: str | None = Field(description="Null too where it is somebody that you may not see.")
    by_coach: bool = Field(description="A coach made it; else the athlete themselves.")
    made_at: datetime


class PinList(Answer):
    """The class's pins that stand."""

    items: list[PinAnswer]


class QuestionAnswer(Answer):
    """A score to ask about, and how it was settled."""

    athlete: str
    block: str
    verdict: str
    logged: float | None
    recorded: float | None
    explanations: list[dict[str, Any]]
    decision: DecisionAnswer | None
    dispute: DecisionAnswer | None = Field(description="What the athlete says of the verdict.")


class DecisionAnswer(Answer):
    """A word on a score: how a coach settled it, or that its athlete disputes the verdict."""

    id: str
    athlete: str
    block: str
    outcome: Literal[Outcome, "disputed", "taken back"]
    reason: str
    made_at: datetime


class DecisionBody(Strict):
    """How a question is settled, and why; `reopened` undoes the decision before it."""

    athlete: Handle
    block: Label
    outcome: Outcome
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class DisputeBody(Strict):
    """What an athlete says of the verdict on their score."""

    block: Label | None = Field(default=None, description="Left out: the only scored block.")
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class QuestionList(Answer):
    """Scores to ask about, of those that the person may see."""

    items: list[QuestionAnswer]


class DecisionList(Answer):
    """Every decision, the latest first."""

    items: list[DecisionAnswer]


QuestionAnswer.model_rebuild()
