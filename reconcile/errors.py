"""What may be wrong with what people wrote, told with its place and its remedy.

InputError
├── PlanError          a plan (`reconcile.plan_text`)
└── ClassFolderError   a class folder (`api.folder.errors`)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reconcile.sentence import Sentence

LONGEST_QUOTE = 60


class UnreadError(ValueError):
    """A text that is not written as it has to be: what is wrong with it, and how to write it."""

    def __init__(self, wrong: str, remedy: str) -> None:
        self.wrong = wrong
        self.remedy = remedy
        super().__init__(Sentence("{wrong}; {remedy}", wrong=wrong, remedy=remedy))


@dataclass(frozen=True)
class Mistake:
    """One thing that cannot be taken as it stands.

    code: stable, for programs. message: what is wrong. found: what stands there, as written.
    remedy: what may stand there. line, column: counted from 1; None where there is no such place.
    """

    code: str
    message: str
    file: str
    line: int | None = None
    column: int | None = None
    found: str | None = None
    remedy: str = ""

    @property
    def place(self) -> str:
        """File, line and column as far as they are known, joined by colons."""
        parts = (self.file, self.line, self.column)
        return ":".join(str(part) for part in parts if part is not None)

    @property
    def sentence(self) -> Sentence:
        """Place, message, what stands there and what may, as one line."""
        found = "" if self.found is None else Sentence(" (found {text})", text=quote(self.found))
        remedy = Sentence("; {remedy}", remedy=self.remedy) if self.remedy else ""
        return Sentence(
            "{place}: {message}{found}{remedy}",
            place=self.place,
            message=self.message,
            found=found,
            remedy=remedy,
        )

    def __str__(self) -> str:
        return str(self.sentence)


class InputError(Exception):
    """Something that people wrote cannot be used; it has at least one mistake.

    `code`, `message`, `file`, `line`, `column`, `found` and `remedy` are those of the first.
    """

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Mistake, ...]]]:
        """Survive the way back from another process."""
        return type(self), (self.mistakes,)

    @property
    def first(self) -> Mistake:
        """The first mistake in the order of the text."""
        return self.mistakes[0]

    @property
    def code(self) -> str:
        """The stable code of the first mistake."""
        return self.first.code

    @property
    def message(self) -> str:
        """What is wrong, of the first mistake."""
        return self.first.message

    @property
    def file(self) -> str:
        """The file of the first mistake."""
        return self.first.file

    @property
    def line(self) -> int | None:
        """The line of the first mistake, counted from 1."""
        return self.first.line

    @property
    def column(self) -> int | None:
        """The column of the first mistake, counted from 1."""
        return self.first.column

    @property
    def found(self) -> str | None:
        """What stands at the first mistake."""
        return self.first.found

    @property
    def remedy(self) -> str:
        """What may stand at the first mistake."""
        return self.first.remedy


class PlanError(InputError):
    """A plan cannot be used as it is written."""


def quote(text: str) -> str:
    """The text between backticks, on one line, cut where it is long, safe for a terminal."""
    shown = text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 1] + "…"
    return (
        "`"
        + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in shown)
        + "`"
    )
