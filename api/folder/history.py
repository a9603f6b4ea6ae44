"""Reads history.json: what earlier classes taught, written by the project itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, NoReturn

from reconcile.errors import Mistake


def read_history(
    text: str, *, file: str = "history.json"
) -> tuple[Mapping[str, Any], tuple[Mistake, ...]]:
    """The object that the text holds; an empty one, with the mistake, where it holds none."""
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
    return history, ()


def refuse_constant(name: str) -> NoReturn:
    """Refuse NaN and the infinities, which JSON does not have."""
    raise ValueError(f"{name} is not a JSON number")
