"""What goes out about results."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import ConfigDict, Field

from api.classes.schemas import StateName
from api.http import Answer


class StateAnswer(Answer):
    """Whether the class's result rests on what is there now."""

    state: StateName
    stage: str = Field(description="What is being done.")
    done: int
    total: int
    problem: str | None
    finished_at: datetime | None


class ResultAnswer(Answer):
    """The result document of a class, in the terms of the class-folder contract."""

    model_config = ConfigDict(frozen=True, populate_by_name=True)

    schema_number: int = Field(alias="schema", examples=[1])
    title: str
    athletes: list[dict[str, Any]]
    unassigned: list[dict[str, Any]]
