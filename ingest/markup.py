"""XML as far as it is sound, only what a recording needs of it, and nothing that could do harm.

Document types, entities and references to the outside are refused (defusedxml); depth, number of
elements and text are bounded here, which defusedxml does not do. Names lose their namespace, for
devices give the same element in many.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree.ElementTree import Element
from xml.parsers.expat import errors as expat_errors

import numpy as np
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

from ingest.errors import Place, TooLargeError, UnsafeMarkupError
from ingest.limits import MAX_XML_DEPTH, MAX_XML_ELEMENTS, MAX_XML_POINTS, MAX_XML_TEXT
from ingest.numerals import numbers_of
from ingest.recording import Floats, Problem

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
    left out. leaves: elements of which the text is kept. attributes: those kept, by container.
    """

    containers: frozenset[str]
    point: str
    leaves: frozenset[str]
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
        self.names: dict[str, str] = {}
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
        self.text = None
        name = self.names.get(tag) or self.local_name(tag)
        if name is None:
            self.open.append(None)
            return
        element = Element(name)
        words = self.vocabulary
        if name in words.leaves:
            self.text = []
        elif name == words.point:
            self.points += 1
            if self.points > MAX_XML_POINTS:
                raise LimitReachedError(f"more than {MAX_XML_POINTS} points")
        else:
            for attribute in words.attributes.get(name, ()):
                if attribute in attributes:
                    element.set(attribute, attributes[attribute][:MAX_XML_TEXT])
            if self.kept:
                self.kept[-1].append(element)
            elif self.root is None:
                self.root = element
        self.open.append(element)
        self.kept.append(element)

    def local_name(self, tag: str) -> str | None:
        """Local name of an element that is kept; None of others."""
        name = tag.rpartition("}")[2]
        words = self.vocabulary
        if name == words.point or name in words.leaves or name in words.containers:
            self.names[tag] = name
            return name
        return None

    def data(self, text: str) -> None:
        """Keep a leaf's text, as much of it as a value can have."""
        if self.text is not None and len(self.text) < MAX_XML_TEXT:
            self.text.append(text[:MAX_XML_TEXT])

    def end(self, _tag: str) -> None:
        """Close an element; only now does a point or a leaf join the tree."""
        element = self.open.pop()
        if element is not None:
            self.kept.pop()
            if self.text is not None:
                element.text = "".join(self.text)[:MAX_XML_TEXT].strip()
            if self.kept and element.tag not in self.vocabulary.containers:
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


def channels_of(
    points: Sequence[Element], names: Mapping[str, Sequence[str]]
) -> tuple[dict[str, Floats], list[Problem]]:
    """Values of the points by channel; of an element's several names the first that is used.

    A channel that no point has is left out. A value that is no number is NaN, counted in a problem.
    """
    found = [{leaf.tag: leaf.text for leaf in point} for point in points]
    used = set().union(*found)
    channels: dict[str, Floats] = {}
    problems: list[Problem] = []
    for channel, tags in names.items():
        tag = next((tag for tag in tags if tag in used), None)
        if tag is None:
            continue
        values, bad = numbers_of([one.get(tag) for one in found])
        if bad:
            problems.append(Problem("bad_value", f"{len(bad)} values of {tag} are no numbers"))
        if not np.isnan(values).all():
            channels[channel] = values
    return channels, problems


def gaps(stretches: Iterable[Floats]) -> list[tuple[float, float]]:
    """From the last time of each stretch to the first of the next, where that is later."""
    ends = [
        (float(known[0]), float(known[-1]))
        for times in stretches
        if len(known := times[np.isfinite(times)])
    ]
    return [(end, start) for (_, end), (start, _) in pairwise(ends) if start > end]
