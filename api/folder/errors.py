"""What makes a class folder unusable as a whole; anything less is a problem of the record."""

from __future__ import annotations

from collections.abc import Iterable

from ingest.recording import Problem
from reconcile.errors import InputError, Mistake


class ClassFolderError(InputError):
    """`class.yaml`, the plan or the roster is missing or cannot be used."""


def as_problems(mistakes: Iterable[Mistake]) -> tuple[Problem, ...]:
    """Mistakes that a class can do without, as problems with their place."""
    return tuple(Problem(mistake.code, str(mistake)) for mistake in mistakes)
