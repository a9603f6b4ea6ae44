"""Numbers as people and devices write them."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from ingest.recording import Floats

PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")
THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?")
GROUPS = re.compile(r"(?<=\d)[ \u00a0\u202f'](?=\d{3}(\D|$))")
"""What parts thousands where neither point nor comma does."""

MISSING = frozenset({
    "", "-", "--", "---", "--:--", "–", "—", "?",
    "na", "n/a", "#n/a", "nan", "null", "none", "nil",
})  # fmt: skip
"""What stands where there is no value, in small letters."""


def is_number(text: str) -> bool:
    """Whether a text is a plain number."""
    return PLAIN_NUMBER.fullmatch(text.strip()) is not None


def has_decimal_comma(text: str) -> bool:
    """Whether a text is a number with a comma before its fractions."""
    plain = GROUPS.sub("", text.strip()).replace(".", "")
    return "," in plain and DECIMAL_COMMA.fullmatch(plain) is not None


def number_of(text: str, *, comma: bool = False) -> float:
    """Give the number that a text holds; NaN where it says that there is none.

    comma: whether a comma stands before the fractions; where not, `"12,5"` is taken for one all
        the same, and `"1,234"` for a thousand.

    Raises:
        ValueError: it holds something else.
    """
    text = text.strip()
    if PLAIN_NUMBER.fullmatch(text) and not comma:
        return float(text)
    if text.casefold() in MISSING:
        return float("nan")
    text = GROUPS.sub("", text)
    if comma:
        text = text.replace(".", "").replace(",", ".") if "," in text else text
    elif THOUSANDS.fullmatch(text):
        text = text.replace(",", "")
    elif DECIMAL_COMMA.fullmatch(text):
        text = text.replace(",", ".")
    if not PLAIN_NUMBER.fullmatch(text):
        raise ValueError(text)
    return float(text)


def numbers_of(texts: Iterable[str | None], *, comma: bool = False) -> tuple[Floats, list[int]]:
    """Numbers of a column, NaN where there is none, and the positions of what is no number."""
    values: list[float] = []
    bad: list[int] = []
    for at, text in enumerate(texts):
        try:
            values.append(number_of(text or "", comma=comma))
        except ValueError:
            values.append(float("nan"))
            bad.append(at)
    return np.array(values, dtype=np.float64), bad
