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
from reconcile.errors import Mistake, UnreadError, quote
from reconcile.marked_yaml import Listing, Mapping, Node, Scalar
from reconcile.sentence import Sentence

NUMBER = re.compile(r"[+-]?\d{1,9}(\.\d{1,9})?", re.ASCII)
LONGEST_NAME = 200
LONGEST_DURATION_S = 24 * 3600.0

T = TypeVar("T")


def one_of(names: Iterable[str]) -> str:
    """Names in a sentence: `a`, `b` or `c`."""
    *others, last = [f"`{name}`" for name in names] or [""]
    return Sentence("{others} or {last}", others=", ".join(others), last=last) if others else last


def nearest(text: str, names: Sequence[str]) -> str:
    """A question after the name that may have been meant, or nothing."""
    close = get_close_matches(text.lower(), [name.lower() for name in names], n=1, cutoff=0.6)
    meant = [name for name in names if name.lower() in close]
    return Sentence(" (is `{name}` meant?)", name=meant[0]) if meant else ""


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
            remedy = Sentence("write it as `key: value` with {words}", words=one_of(keys))
            self.mistake("not_a_mapping", Sentence("{what} has no fields", what=what), node, remedy)
            return fields
        for key, value in node.entries:
            name = key.text if isinstance(key, Scalar) else ""
            if name not in keys:
                remedy = Sentence(
                    "the fields are {words}{hint}", words=one_of(keys), hint=nearest(name, keys)
                )
                self.mistake(
                    "unknown_field", Sentence("{what} has no such field", what=what), key, remedy
                )
            elif name in fields:
                self.mistake(
                    "field_twice",
                    Sentence("{what} has this field twice", what=what),
                    key,
                    Sentence("keep one of them"),
                )
            else:
                fields[name] = value
        return fields

    def named(self, node: Node, what: str, remedy: str) -> list[tuple[str, Node, Node]]:
        """Name, key and value of a mapping whose keys are names of the writer's own."""
        if not isinstance(node, Mapping):
            self.mistake(
                "not_a_mapping", Sentence("{what} has no names in it", what=what), node, remedy
            )
            return []
        entries = [
            (self.name(key, Sentence("a name in {what}", what=what)), key, value)
            for key, value in node.entries
        ]
        self.unique(
            ((name, key) for name, key, _ in entries), Sentence("entries of {what}", what=what)
        )
        return entries

    def required(self, fields: dict[str, Node], key: str, owner: Node, what: str) -> Node | None:
        """The field, or None with a mistake where it is not there."""
        if key not in fields and isinstance(owner, Mapping):
            place = (self.file, owner.line, owner.column)
            message = Sentence("{what} has no `{key}`", what=what, key=key)
            self.mistakes.append(
                Mistake("missing_field", message, *place, remedy=Sentence("add `{key}:`", key=key))
            )
        return fields.get(key)

    def items(self, node: Node, what: str) -> tuple[Node, ...]:
        """The items of a list."""
        if isinstance(node, Listing):
            return node.items
        self.mistake(
            "not_a_list",
            Sentence("{what} is not a list", what=what),
            node,
            Sentence("begin each item with `- `"),
        )
        return ()

    def text(self, node: Node, what: str, remedy: str = "write it on one line") -> str:
        """One value as text without what surrounds it."""
        if not isinstance(node, Scalar):
            self.mistake(
                "not_a_value", Sentence("{what} is not one value", what=what), node, remedy
            )
            return ""
        if node.empty:
            self.mistake(
                "no_value",
                Sentence("{what} has no value", what=what),
                node,
                Sentence("leave it out, or {remedy}", remedy=remedy),
            )
            return ""
        return node.text.strip()

    def name(self, node: Node, what: str) -> str:
        """A name or a title: one line of printable text, accents composed (Unicode NFC)."""
        text = normalize("NFC", self.text(node, what, Sentence("write a name")))
        if not text.isprintable():
            self.mistake(
                "not_printable",
                Sentence("{what} holds a line break or a control", what=what),
                node,
                Sentence("write it on one line"),
            )
        elif len(text) > LONGEST_NAME:
            self.mistake(
                "too_long",
                Sentence(
                    "{what} has more than {longest_name} letters",
                    what=what,
                    longest_name=LONGEST_NAME,
                ),
                node,
                Sentence("shorten it"),
            )
        return text

    def choice(self, node: Node, what: str, allowed: Sequence[T]) -> T:
        """One of the allowed words."""
        words = [str(word) for word in allowed]
        text = self.text(node, what, Sentence("write {words}", words=one_of(words)))
        if text in words:
            return allowed[words.index(text)]
        if text:
            remedy = Sentence("write {words}{hint}", words=one_of(words), hint=nearest(text, words))
            self.mistake(
                "not_a_choice", Sentence("{what} is not a word for this", what=what), node, remedy
            )
        return allowed[0]

    def flag(self, node: Node, what: str) -> bool:
        """`true` or `false`."""
        return self.choice(node, what, ("false", "true")) == "true"

    def number(
        self, node: Node, what: str, low: int, high: int, *, whole: bool = False
    ) -> Fraction:
        """A number from `low` to `high`, exact as written."""
        kind = Sentence("a whole number") if whole else Sentence("a number")
        remedy = Sentence("write {kind} from {low} to {high}", kind=kind, low=low, high=high)
        text = self.text(node, what, remedy)
        if not text:
            return Fraction(low)
        if not NUMBER.fullmatch(text):
            comma = re.fullmatch(r"\d+,\d+", text, re.ASCII)
            hint = Sentence(" (is `{name}` meant?)", name=text.replace(",", ".")) if comma else ""
            self.mistake(
                "not_a_number",
                Sentence("{what} is not a number", what=what),
                node,
                Sentence("{remedy}{hint}", remedy=remedy, hint=hint),
            )
            return Fraction(low)
        value = Fraction(text)
        if whole and value.denominator != 1:
            self.mistake(
                "not_whole", Sentence("{what} is not a whole number", what=what), node, remedy
            )
        elif not low <= value <= high:
            self.mistake(
                "out_of_range", Sentence("{what} is out of range", what=what), node, remedy
            )
        return value

    def duration(self, node: Node, what: str, *, least_s: float = 1.0) -> float:
        """Seconds of a duration from `least_s` to a day."""
        text = self.text(node, what, HOW_TO_WRITE)
        if not text:
            return least_s
        try:
            seconds = parse_duration(text)
        except UnreadError as error:
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
        except UnreadError as error:
            self.unread("not_a_range", what, node, error)
            return 0.0, 0.0
        self.bounded(ends, what, node, 0.0)
        return ends

    def unread(self, code: str, what: str, node: Node, error: UnreadError) -> None:
        """Note why a text could not be read, in the words of whoever tried."""
        message = Sentence("{what} is {wrong}", what=what, wrong=error.wrong)
        self.mistake(code, message, node, error.remedy)

    def bounded(self, ends: tuple[float, ...], what: str, node: Node, least_s: float) -> None:
        """Note seconds that are below `least_s` or above a day."""
        if not all(least_s <= end <= LONGEST_DURATION_S for end in ends):
            remedy = Sentence("write from {least_s:.0f}s to 24h", least_s=least_s)
            self.mistake(
                "out_of_range", Sentence("{what} is out of range", what=what), node, remedy
            )

    def unique(self, named: Iterable[tuple[str, Node]], what: str) -> None:
        """Note each name that stands there a second time."""
        seen: set[str] = set()
        for name, node in named:
            if name and name in seen:
                message = Sentence("two {what} have the name {name}", what=what, name=quote(name))
                self.mistake("name_twice", message, node, Sentence("give each a name of its own"))
            seen.add(name)
