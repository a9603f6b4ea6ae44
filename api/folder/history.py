"""Reads history.json: what earlier classes taught, written by the project itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, NoReturn

from reconcile.errors import Mistake
from reconcile.history import History


def read_history(
    text: str, *, file: str = "history.json"
) -> tuple[Mapping[str, Any], tuple[Mistake, ...]]:
    """The object that the text holds, with what in it cannot be used; an empty one for no object.

    It is kept as it stands: whoever uses it (`reconcile.history`) leaves out the same again.
    """
    remedy = "the class is checked without it; delete the file, or write it anew from the service"
    try:
        history = json.loads(text, parse_constant=refuse_constant)
    except json.JSONDecodeError as error:
        message = f"not JSON: {error.msg}"
        place = (file, error.lineno, error.colno)
        return {}, (Mistake("bad_history", message, *place, remedy=remedy),)
    except (ValueError, RecursionError) as error:
        return {}, (Mistake("bad_history", f"not JSON: {error}", file, remedy=remedy),)
    if not isinstance(history, dict):
        return {}, (Mistake("bad_history", "not a JSON object", file, 1, 1, remedy=remedy),)
    _, problems = History.read(history)
    return history, tuple(Mistake(problem.code, problem.message, file) for problem in problems)


def refuse_constant(name: str) -> NoReturn:
    """Refuse NaN and the infinities, which JSON does not have."""
    raise ValueError(f"{name} is not a JSON number")
