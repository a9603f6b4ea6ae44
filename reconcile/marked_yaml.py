"""YAML 1.2 read into plain nodes that remember where they stand.

Every scalar is kept as the text that was written, so `2:00`, `off` and `22.50` stay what they are;
what a text means is for whoever reads the node. Anchors work; what could make a small text large
or deep is bounded; tags and second documents are refused.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NoReturn

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, StringMark, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    DocumentStartEvent,
    Event,
    MappingStartEvent,
    ScalarEvent,
    SequenceStartEvent,
)
from ruamel.yaml.reader import ReaderError

from reconcile.errors import InputError, Mistake
from reconcile.sentence import Sentence

MOST_CHARACTERS = 200_000
MOST_NODES = 20_000
DEEPEST = 16


@dataclass(frozen=True)
class Scalar:
    """One value as text; `plain` is "written without quotes". Places are counted from 1."""

    text: str
    plain: bool
    line: int
    column: int

    @property
    def empty(self) -> bool:
        """Whether nothing stands there (YAML 1.2's null, or an empty text)."""
        return not self.text.strip() or (self.plain and self.text in ("~", "null", "Null", "NULL"))


@dataclass(frozen=True)
class Listing:
    """A sequence."""

    items: tuple[Node, ...]
    line: int
    column: int


@dataclass(frozen=True)
class Mapping:
    """A mapping: keys and values in the order of the text; a key may stand there twice."""

    entries: tuple[tuple[Node, Node], ...]
    line: int
    column: int


Node = Scalar | Listing | Mapping


def read_yaml(text: str, *, file: str) -> Node:
    """The one document of a text.

    Raises InputError (codes `too_large`, `too_deep`, `yaml_syntax`, `yaml_tag`, `yaml_alias`,
    `several_documents`, `empty`) with the place of the mistake.
    """
    if len(text) > MOST_CHARACTERS:
        message = Sentence(
            "more than {most_characters} characters", most_characters=MOST_CHARACTERS
        )
        raise InputError([Mistake("too_large", message, file, remedy=Sentence("shorten it"))])
    composer = Composer(file, YAML(typ="safe", pure=True).parse(text))
    try:
        return composer.document()
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        message = Sentence("not YAML: {error}", error=str(error.problem or error.context))
        raise InputError([composer.mistake("yaml_syntax", message, mark)]) from error
    except ReaderError as error:
        before = text[: error.position]
        line, column = before.count("\n") + 1, error.position - before.rfind("\n")
        message = Sentence("not YAML: a character that no text may hold")
        raise InputError(
            [Mistake("yaml_syntax", message, file, line, column, text[error.position])]
        ) from error
    except (YAMLError, ValueError, OverflowError) as error:
        raise InputError(
            [composer.mistake("yaml_syntax", Sentence("not YAML: {error}", error=str(error)), None)]
        ) from error


class Composer:
    """Makes nodes from a parser's events."""

    def __init__(self, file: str, events: Iterator[Event]) -> None:
        self.file = file
        self.events = events
        self.anchors: dict[str, tuple[Node, int]] = {}
        self.nodes = 0

    def document(self) -> Node:
        """The only document; a second one, or none, is a mistake."""
        document: Node | None = None
        for event in self.events:
            if not isinstance(event, DocumentStartEvent):
                continue
            if document is not None:
                message = Sentence("a second document begins")
                self.refuse(
                    "several_documents", message, event, remedy=Sentence("keep one in a file")
                )
            document = self.node(next(self.events), depth=1)
        if document is None:
            raise InputError(
                [Mistake("empty", Sentence("nothing is written here"), self.file, 1, 1)]
            )
        return document

    def node(self, event: Event, depth: int) -> Node:
        """The node that begins with this event."""
        if depth > DEEPEST:
            self.refuse(
                "too_deep",
                Sentence("more than {deepest} levels inside each other", deepest=DEEPEST),
                event,
            )
        if isinstance(event, AliasEvent):
            return self.alias(event)
        first = self.nodes
        self.count(1, event)
        assert isinstance(event, ScalarEvent | SequenceStartEvent | MappingStartEvent)
        if event.tag not in (None, "!"):
            self.refuse(
                "yaml_tag",
                Sentence("a tag"),
                event,
                found=str(event.tag),
                remedy=Sentence("leave it out"),
            )
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        node: Node
        if isinstance(event, ScalarEvent):
            node = Scalar(event.value, event.style in (None, ""), line, column)
        elif isinstance(event, SequenceStartEvent):
            node = Listing(tuple(self.children(depth)), line, column)
        else:
            children = tuple(self.children(depth))
            pairs = zip(children[::2], children[1::2], strict=True)
            node = Mapping(tuple((key, placed(value, key)) for key, value in pairs), line, column)
        if event.anchor is not None:
            self.anchors[event.anchor] = (node, self.nodes - first)
        return node

    def children(self, depth: int) -> Iterator[Node]:
        """The nodes up to the end of the collection."""
        for event in self.events:
            if isinstance(event, CollectionEndEvent):
                return
            yield self.node(event, depth + 1)

    def alias(self, event: AliasEvent) -> Node:
        """The node that was given this name before."""
        if event.anchor not in self.anchors:
            self.refuse(
                "yaml_alias",
                Sentence("no finished part before this has the name"),
                event,
                found=f"*{event.anchor}",
                remedy=Sentence("write the part out"),
            )
        node, size = self.anchors[event.anchor]
        self.count(size, event)
        return node

    def count(self, nodes: int, event: Event) -> None:
        """Keep the document, with its aliases written out, within bounds."""
        self.nodes += nodes
        if self.nodes > MOST_NODES:
            self.refuse(
                "too_large",
                Sentence("more than {most_nodes} values", most_nodes=MOST_NODES),
                event,
                remedy=Sentence("shorten it"),
            )

    def mistake(
        self,
        code: str,
        message: str,
        mark: StringMark | None,
        found: str | None = None,
        remedy: str = "",
    ) -> Mistake:
        """A mistake at a parser's mark."""
        line, column = (mark.line + 1, mark.column + 1) if mark is not None else (None, None)
        return Mistake(code, message, self.file, line, column, found, remedy)

    def refuse(
        self, code: str, message: str, event: Event, found: str | None = None, remedy: str = ""
    ) -> NoReturn:
        """Stop at this event."""
        raise InputError([self.mistake(code, message, event.start_mark, found, remedy)])


def placed(value: Node, key: Node) -> Node:
    """The value, at its key where nothing is written (the parser sees it on a later line)."""
    if isinstance(value, Scalar) and value.plain and not value.text:
        return replace(value, line=key.line, column=key.column)
    return value
