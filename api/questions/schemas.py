"""What goes in and out about pins and decisions."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from api.classes.schemas import Label, tidy
from api.http import Answer, Strict
from api.people.schemas import Handle

FURTHEST_S = 7 * 24 * 3600.0


class PinBody(Strict):
    """What a coach fixes by hand: a block's start on a file, its owner, or both."""

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
    owner: str | None
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


class DecisionAnswer(Answer):
    """How a question was settled."""

    id: str
    athlete: str
    block: str
    outcome: Literal["stands", "corrected", "set aside"]
    reason: str
    made_at: datetime


class DecisionBody(Strict):
    """How a question is settled, and why."""

    athlete: Handle
    block: Label
    outcome: Literal["stands", "corrected", "set aside"]
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class QuestionList(Answer):
    """Scores to ask about, of those that the person may see."""

    items: list[QuestionAnswer]


class DecisionList(Answer):
    """Every decision, the latest first."""

    items: list[DecisionAnswer]


QuestionAnswer.model_rebuild()
