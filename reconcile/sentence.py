"""Sentences that remember how they were made, so that they can be said in another language."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from string import Formatter
from typing import Any, TypeAlias

Value: TypeAlias = "str | int | float | Sentence"


def deferred(message: str) -> str:
    """Mark a sentence for the catalogue that is filled or translated elsewhere."""
    return message


class Sentence(str):
    """English text, made of a template and the values in its places.

    It is that text, for whoever reads or writes it; `template` and `values` let a catalogue say
    the same in another language. A value may be a sentence itself.
    """

    __slots__ = ("template", "values")

    template: str
    values: Mapping[str, Value]

    def __new__(cls, template: str, /, **values: Value) -> Sentence:
        """Fill the template's places, written as for `str.format`; values without a place go."""
        named = {name for _, name, _, _ in Formatter().parse(template) if name}
        self = super().__new__(cls, template.format(**values))
        self.template = template
        self.values = {name: value for name, value in values.items() if name in named}
        return self

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Value]]:
        """Survive the way to another process."""
        return (self.template,), dict(self.values)


def in_a_row(parts: Sequence[Value]) -> Value:
    """One value that names all the parts: "1 and 2 and 5"."""
    first, *others = parts
    for other in others:
        first = Sentence("{first} and {second}", first=first, second=other)
    return first


def sentence_document(sentence: Sentence) -> dict[str, Any]:
    """A sentence as JSON values."""
    return {
        "template": sentence.template,
        "values": {
            name: sentence_document(value) if isinstance(value, Sentence) else value
            for name, value in sentence.values.items()
        },
    }


def read_sentence(document: Mapping[str, Any]) -> Sentence:
    """Undo `sentence_document`."""
    values = {
        name: read_sentence(value) if isinstance(value, Mapping) else value
        for name, value in document["values"].items()
    }
    return Sentence(document["template"], **values)
