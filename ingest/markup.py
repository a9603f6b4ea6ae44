"""XML as far as it is sound, only what a recording needs of it, and nothing that could do harm.

Document types, entities and references to the outside are refused (defusedxml); depth, number of
elements and text are bounded here, which defusedxml does not do. Names lose their namespace, for
devices give the same element in many.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element
from xml.parsers.expat import errors as expat_errors

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

from ingest.errors import Place, TooLargeError, UnsafeMarkupError
from ingest.limits import MAX_XML_DEPTH, MAX_XML_ELEMENTS, MAX_XML_POINTS, MAX_XML_TEXT
from ingest.recording import Problem

CHUNK_BYTES = 65_536
OPENING = re.compile(r"<(?:[\w.-]+:)?([A-Za-z][\w.-]*)[\s/>]")
ENDINGS = frozenset(
    expat_errors.codes[text]
    for text in (
        expat_errors.XML_ERROR_NO_ELEMENTS,
        expat_errors.XML_ERROR_UNCLOSED_TOKEN,
        expat_errors.XML_ERROR_PARTIAL_CHAR,
        expat_errors.XML_ERROR_UNCLOSED_CDATA_SECTION,
    )
)
"""What expat says of a document that ends too early."""


@dataclass(frozen=True)
class Vocabulary:
    """What to keep of a document, by local names.

    containers: elements that hold others. point: the one that is a sample; one that is cut off is
    left out. leaves: elements of which the text is kept. attributes: kept ones, by element.
    """

    containers: Collection[str]
    point: str
    leaves: Collection[str]
    attributes: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, eq=False)
class Document:
    """The tree that is left, and what was wrong with the document."""

    root: Element | None
    problems: tuple[Problem, ...]
    broken_at: Place | None


class LimitReachedError(Exception):
    """The document is larger than a recording may be."""


class Sieve:
    """A parser's target that builds the tree of what a vocabulary keeps."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.vocabulary = vocabulary
        self.root: Element | None = None
        self.open: list[Element | None] = []
        self.kept: list[Element] = []
        self.elements = 0
        self.points = 0
        self.text: list[str] | None = None

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Open an element."""
        self.elements += 1
        if self.elements > MAX_XML_ELEMENTS:
            raise LimitReachedError(f"more than {MAX_XML_ELEMENTS} elements")
        if len(self.open) >= MAX_XML_DEPTH:
            raise LimitReachedError(f"elements more than {MAX_XML_DEPTH} deep in one another")
        name = tag.rpartition("}")[2]
        words = self.vocabulary
        self.text = None
        if name not in words.containers and name != words.point and name not in words.leaves:
            self.open.append(None)
            return
        element = Element(name)
        for attribute in words.attributes.get(name, ()):
            if attribute in attributes:
                element.set(attribute, attributes[attribute][:MAX_XML_TEXT])
        if name in words.containers:
            if self.kept:
                self.kept[-1].append(element)
            elif self.root is None:
                self.root = element
        elif name == words.point:
            self.points += 1
            if self.points > MAX_XML_POINTS:
                raise LimitReachedError(f"more than {MAX_XML_POINTS} points")
        else:
            self.text = []
        self.open.append(element)
        self.kept.append(element)

    def data(self, text: str) -> None:
        """Keep a leaf's text, as much of it as a value can have."""
        if self.text is not None and len(self.text) < MAX_XML_TEXT:
            self.text.append(text[:MAX_XML_TEXT])

    def end(self, tag: str) -> None:
        """Close an element; only now does a point or a leaf join the tree."""
        del tag
        element = self.open.pop()
        if element is None:
            self.text = None
            return
        self.kept.pop()
        if element.tag in self.vocabulary.leaves and element.tag not in self.vocabulary.containers:
            element.text = "".join(self.text or ())[:MAX_XML_TEXT].strip()
        if element.tag not in self.vocabulary.containers and self.kept:
            self.kept[-1].append(element)
        self.text = None

    def close(self) -> None:
        """Nothing is left to do at the end."""


def root_name(head_text: str) -> str | None:
    """Local name of the first element, None where the text is no XML."""
    text = re.sub(
        r"<!--.*?-->|<\?.*?\?>|<!DOCTYPE[^<>\[]*(\[.*?\]\s*)?>", " ", head_text, flags=re.DOTALL
    )
    if not text.lstrip().startswith("<"):
        return None
    found = OPENING.search(text)
    return found[1] if found else None


def parse(data: bytes, vocabulary: Vocabulary, *, file: str, format: str) -> Document:  # noqa: A002
    """Read a document up to its end or to where it breaks.

    Raises:
        UnsafeMarkupError: it declares a document type or entities, or refers to the outside.
        TooLargeError: it is deeper or larger than a recording may be.
    """
    sieve = Sieve(vocabulary)
    parser = DefusedXMLParser(target=sieve, forbid_dtd=True)
    try:
        for at in range(0, len(data), CHUNK_BYTES):
            parser.feed(data[at : at + CHUNK_BYTES])
        parser.close()
    except DefusedXmlException as error:
        line = parser.parser.CurrentLineNumber
        raise UnsafeMarkupError(
            "it declares a document type or entities, which no recording needs",
            file=file,
            format=format,
            place=Place(line=line),
        ) from error
    except LimitReachedError as error:
        line = parser.parser.CurrentLineNumber
        raise TooLargeError(
            f"it has {error}", file=file, format=format, place=Place(line=line)
        ) from error
    except ParseError as error:
        line, column = error.position
        place = Place(offset=parser.parser.ErrorByteIndex, line=line, column=column + 1)
        cut = error.code in ENDINGS
        what = "the file ends" if cut else f"the file breaks ({expat_errors.messages[error.code]})"
        problem = Problem("truncated" if cut else "damaged", f"{what} at {place}; read up to there")
        return Document(sieve.root, (problem,), place)
    except (ValueError, LookupError) as error:
        # an encoding that is unknown or is not what the document says
        problem = Problem("damaged", f"its text cannot be decoded: {error}")
        return Document(sieve.root, (problem,), Place(line=1))
    return Document(sieve.root, (), None)


def bad_values(bad: Sequence[int], name: str) -> list[Problem]:
    """Tell of an element's texts that are no numbers."""
    return [Problem("bad_value", f"{len(bad)} values of {name} are no numbers")] if bad else []
