"""What people write into a document's fields, checked and turned into values.

A `Fields` reads on after a mistake, with a stand-in for the value, so that all mistakes of a
document are told at once; whoever made it asks for `mistakes` before using any value.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from fractions import Fraction
from typing import TypeVar
from unicodedata import normalize

from reconcile.durations import (
    HOW_TO_WRITE,
    HOW_TO_WRITE_A_RANGE,
    parse_duration,
    parse_range,
)
from reconcile.errors import Mistake, quote
from reconcile.marked_yaml import Listing, Mapping, Node, Scalar

NUMBER = re.compile(r"[+-]?\d{1,9}(\.\d{1,9})?", re.ASCII)
LONGEST_NAME = 200
LONGEST_DURATION_S = 24 * 3600.0

T = TypeVar("T")


def one_of(names: Iterable[str]) -> str:
    """Names in a sentence: `a`, `b` or `c`."""
    quoted = [f"`{name}`" for name in names]
    return " or ".join(filter(None, (", ".join(quoted[:-1]), *quoted[-1:])))


def nearest(text: str, names: Sequence[str]) -> str:
    """A question after the name that may have been meant, or nothing."""
    close = get_close_matches(text.lower(), [name.lower() for name in names], n=1, cutoff=0.6)
    meant = [name for name in names if name.lower() in close]
    return f" (is `{meant[0]}` meant?)" if meant else ""


class Fields:
    """Reads the fields of one document and keeps its mistakes in the order in which it reads."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.mistakes: list[Mistake] = []

    def mistake(self, code: str, message: str, node: Node, remedy: str = "") -> None:
        """Note a mistake at a node."""
        found = node.text if isinstance(node, Scalar) else None
        place = (self.file, node.line, node.column)
        self.mistakes.append(Mistake(code, message, *place, found, remedy))

    def mapping(self, node: Node, what: str, keys: Sequence[str]) -> dict[str, Node]:
        """The fields of a mapping whose keys are among `keys`."""
        fields: dict[str, Node] = {}
        if not isinstance(node, Mapping):
            remedy = f"write it as `key: value` with {one_of(keys)}"
            self.mistake("not_a_mapping", f"{what} has no fields", node, remedy)
            return fields
        for key, value in node.entries:
            name = key.text if isinstance(key, Scalar) else ""
            if name not in keys:
                remedy = f"the fields are {one_of(keys)}{nearest(name, keys)}"
                self.mistake("unknown_field", f"{what} has no such field", key, remedy)
            elif name in fields:
                self.mistake("field_twice", f"{what} has this field twice", key, "keep one of them")
            else:
                fields[name] = value
        return fields

    def named(self, node: Node, what: str, remedy: str) -> list[tuple[str, Node, Node]]:
        """Name, key and value of a mapping whose keys are names of the writer's own."""
        if not isinstance(node, Mapping):
            self.mistake("not_a_mapping", f"{what} has no names in it", node, remedy)
            return []
        entries = [(self.name(key, f"a name in {what}"), key, value) for key, value in node.entries]
        self.unique(((name, key) for name, key, _ in entries), f"entries of {what}")
        return entries

    def required(self, fields: dict[str, Node], key: str, owner: Node, what: str) -> Node | None:
        """The field, or None with a mistake where it is not there."""
        if key not in fields and isinstance(owner, Mapping):
            place = (self.file, owner.line, owner.column)
            message = f"{what} has no `{key}`"
            self.mistakes.append(Mistake("missing_field", message, *place, remedy=f"add `{key}:`"))
        return fields.get(key)

    def items(self, node: Node, what: str) -> tuple[Node, ...]:
        """The items of a list."""
        if isinstance(node, Listing):
            return node.items
        self.mistake("not_a_list", f"{what} is not a list", node, "begin each item with `- `")
        return ()

    def text(self, node: Node, what: str, remedy: str = "write it on one line") -> str:
        """One value as text without what surrounds it."""
        if not isinstance(node, Scalar):
            self.mistake("not_a_value", f"{what} is not one value", node, remedy)
            return ""
        if node.empty:
            self.mistake("no_value", f"{what} has no value", node, f"leave it out, or {remedy}")
            return ""
        return node.text.strip()

    def name(self, node: Node, what: str) -> str:
        """A name or a title: one line of printable text, accents composed (Unicode NFC)."""
        text = normalize("NFC", self.text(node, what, "write a name"))
        if not text.isprintable():
            self.mistake(
                "not_printable",
                f"{what} holds a line break or a control",
                node,
                "write it on one line",
            )
        elif len(text) > LONGEST_NAME:
            self.mistake(
                "too_long", f"{what} has more than {LONGEST_NAME} letters", node, "shorten it"
            )
        return text

    def choice(self, node: Node, what: str, allowed: Sequence[T]) -> T:
        """One of the allowed words."""
        words = [str(word) for word in allowed]
        text = self.text(node, what, f"write {one_of(words)}")
        if text in words:
            return allowed[words.index(text)]
        if text:
            remedy = f"write {one_of(words)}{nearest(text, words)}"
            self.mistake("not_a_choice", f"{what} is not a word for this", node, remedy)
        return allowed[0]

    def flag(self, node: Node, what: str) -> bool:
        """`true` or `false`."""
        return self.choice(node, what, ("false", "true")) == "true"

    def number(
        self, node: Node, what: str, low: int, high: int, *, whole: bool = False
    ) -> Fraction:
        """A number from `low` to `high`, exact as written."""
        kind = "a whole number" if whole else "a number"
        remedy = f"write {kind} from {low} to {high}"
        text = self.text(node, what, remedy)
        if not text:
            return Fraction(low)
        if not NUMBER.fullmatch(text):
            comma = re.fullmatch(r"\d+,\d+", text, re.ASCII)
            hint = f" (is `{text.replace(',', '.')}` meant?)" if comma else ""
            self.mistake("not_a_number", f"{what} is not a number", node, remedy + hint)
            return Fraction(low)
        value = Fraction(text)
        if whole and value.denominator != 1:
            self.mistake("not_whole", f"{what} is not a whole number", node, remedy)
        elif not low <= value <= high:
            self.mistake("out_of_range", f"{what} is out of range", node, remedy)
        return value

    def duration(self, node: Node, what: str, *, least_s: float = 1.0) -> float:
        """Seconds of a duration from `least_s` to a day."""
        text = self.text(node, what, HOW_TO_WRITE)
        if not text:
            return least_s
        try:
            seconds = parse_duration(text)
        except ValueError as error:
            self.unread("not_a_duration", what, node, error)
            return least_s
        self.bounded((seconds,), what, node, least_s)
        return seconds

    def duration_range(self, node: Node, what: str) -> tuple[float, float]:
        """Seconds of both ends of a range of durations."""
        text = self.text(node, what, HOW_TO_WRITE_A_RANGE)
        if not text:
            return 0.0, 0.0
        try:
            ends = parse_range(text)
        except ValueError as error:
            self.unread("not_a_range", what, node, error)
            return 0.0, 0.0
        self.bounded(ends, what, node, 0.0)
        return ends

    def unread(self, code: str, what: str, node: Node, error: ValueError) -> None:
        """Note why a text could not be read, in the words of whoever tried."""
        wrong, _, remedy = str(error).partition("; ")
        self.mistake(code, f"{what} is {wrong}", node, remedy)

    def bounded(self, ends: tuple[float, ...], what: str, node: Node, least_s: float) -> None:
        """Note seconds that are below `least_s` or above a day."""
        if not all(least_s <= end <= LONGEST_DURATION_S for end in ends):
            remedy = f"write from {least_s:.0f}s to 24h"
            self.mistake("out_of_range", f"{what} is out of range", node, remedy)

    def unique(self, named: Iterable[tuple[str, Node]], what: str) -> None:
        """Note each name that stands there a second time."""
        seen: set[str] = set()
        for name, node in named:
            if name and name in seen:
                message = f"two {what} have the name {quote(name)}"
                self.mistake("name_twice", message, node, "give each a name of its own")
            seen.add(name)
