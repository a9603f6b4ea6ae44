"""Sheets (CSV) as a spreadsheet saves them: cells by their heading, each with its place.

Comma, semicolon or tab; any line ends; decimal commas. In a sheet a place's `column` counts cells.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from unicodedata import normalize

from reconcile.durations import parse_duration
from reconcile.errors import Mistake, UnreadError, quote
from reconcile.fields import one_of
from reconcile.sentence import Sentence

MOST_ROWS = 10_000
LONGEST_LINE = 65_536
DELIMITERS = ",;\t"
# What a spreadsheet runs, and what is written so that it does not.
FORMULA = re.compile(r"'*[=+\-@\t\r]")
NUMBER = re.compile(r"[+-]?(\d{1,9}([.,]\d{0,9})?|[.,]\d{1,9})", re.ASCII)
CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2}(?:[.,]\d{1,3})?)", re.ASCII)


@dataclass(frozen=True)
class Row:
    """One row: its cells by heading (stripped; blank where the row is short), and its line."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True)
class Sheet:
    """The rows of a file, its headings in order, and what could not be taken as it stands."""

    file: str
    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    mistakes: tuple[Mistake, ...]


def read_sheet(text: str, *, file: str, known: Sequence[str], several: str = "") -> Sheet:
    """The rows of a sheet that are not blank.

    known: the headings that have a meaning; others are left alone. several: the heading whose
    values are joined by semicolons, which a sheet with semicolons may hold unquoted.
    """
    mistakes: list[Mistake] = []
    delimiter = delimiter_of(text)
    table = read_cells(text, delimiter, file, mistakes)
    if not table:
        remedy = Sentence(
            "write a first line with the headings {headings}", headings=", ".join(known)
        )
        nothing = Mistake("empty", Sentence("nothing is written here"), file, 1, 1, remedy=remedy)
        return Sheet(file, (), (), (*mistakes, nothing))
    heading_line, heading_cells = table[0]
    headings = tuple(re.sub(r"[\s-]+", "_", cell.strip().lower()) for cell in heading_cells)
    for number, heading in enumerate(headings, start=1):
        meant = get_close_matches(heading, [name for name in known if name not in headings], n=1)
        place = (file, heading_line, number, heading)
        if heading and heading not in known and meant:
            remedy = Sentence(
                "is `{first}` meant? The headings are {words}", first=meant[0], words=one_of(known)
            )
            mistakes.append(Mistake("unknown_heading", Sentence("no such heading"), *place, remedy))
        if heading and heading in headings[: number - 1]:
            message = Sentence("a heading stands there twice")
            mistakes.append(Mistake("heading_twice", message, *place, "the first one counts"))
    rows = []
    for line, written in table[1 : MOST_ROWS + 1]:
        cells = joined(written, headings, several) if delimiter == ";" else written
        if any(cell.strip() for cell in cells[len(headings) :]):
            message = Sentence(
                "a row with {cells} cells under {headings} headings",
                cells=len(cells),
                headings=len(headings),
            )
            place = (file, line, len(headings) + 1, cells[len(headings)])
            remedy = Sentence(
                "put a cell that holds the separator, such as a decimal comma, in quotes"
            )
            mistakes.append(Mistake("extra_cells", message, *place, remedy))
        padded = [*cells, *[""] * (len(headings) - len(cells))]
        pairs = list(zip(headings, padded, strict=False))
        rows.append(
            Row(line, {heading: unquoted(cell.strip()) for heading, cell in reversed(pairs)})
        )
    if len(table) - 1 > MOST_ROWS:
        message = Sentence("more than {most_rows} rows", most_rows=MOST_ROWS)
        line = table[MOST_ROWS + 1][0]
        mistakes.append(
            Mistake("too_large", message, file, line, 1, remedy=Sentence("the rest is left out"))
        )
    return Sheet(file, headings, tuple(rows), tuple(mistakes))


def quoted(text: str) -> str:
    """A cell as it is written: an apostrophe before what a spreadsheet would take for a formula.

    Numbers stay as they are (OWASP, CSV injection). `unquoted` undoes it.
    """
    return f"'{text}" if FORMULA.match(text) and read_number(text) is None else text


def unquoted(text: str) -> str:
    """A cell as it was meant: the apostrophe that `quoted` put there is taken off again."""
    return normalize("NFC", text[1:] if text.startswith("'") and FORMULA.match(text) else text)


def delimiter_of(text: str) -> str:
    """The separator that the first line with anything in it has most of; a comma where none."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(DELIMITERS, key=first.count)


def read_cells(
    text: str, delimiter: str, file: str, mistakes: list[Mistake]
) -> list[tuple[int, list[str]]]:
    """Line and cells of each row that is not blank.

    Where quotation marks do not match, each line is read by itself, so that one of them cannot
    swallow the rows after it.
    """
    table: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    try:
        for cells in reader:
            table.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        remedy = Sentence("close each quoted cell, and double a quotation mark inside it")
        message = Sentence("not a sound sheet: {error}", error=str(error))
        mistakes.append(Mistake("bad_quotes", message, file, line, 1, remedy=remedy))
        table = [
            (number, next(csv.reader([one_line[:LONGEST_LINE]], delimiter=delimiter), []))
            for number, one_line in enumerate(io.StringIO(text, newline=None), start=1)
        ]
    return [(line, cells) for line, cells in table if any(cell.strip() for cell in cells)]


def joined(cells: list[str], headings: tuple[str, ...], several: str) -> list[str]:
    """The cells with the unquoted values of the heading `several` put together again."""
    extra = len(cells) - len(headings)
    while extra > 0 and not cells[-1].strip() and len(cells) > len(headings):
        cells, extra = cells[:-1], extra - 1
    if extra <= 0 or several not in headings:
        return cells
    first = headings.index(several)
    values = cells[first : first + extra + 1]
    if not all(read_number(value.strip()) is not None for value in values):
        return cells
    return [*cells[:first], ";".join(values), *cells[first + extra + 1 :]]


def read_number(text: str) -> float | None:
    """A number with a decimal point or comma, or None."""
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else None


def read_seconds(text: str) -> float | None:
    """Seconds written as a number, as `m:ss` or `h:mm:ss`, or as a duration; or None."""
    clock = CLOCK.fullmatch(text)
    if clock:
        hours, minutes, seconds = clock.groups()
        return 3600 * int(hours or 0) + 60 * int(minutes) + float(seconds.replace(",", "."))
    number = read_number(text)
    if number is not None:
        return number
    try:
        return parse_duration(text)
    except ValueError:
        return None


class Cells:
    """Reads the cells of a sheet's rows; a cell that cannot be taken is noted and counts as blank.

    mistakes: those of the sheet itself first.
    """

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.mistakes = list(sheet.mistakes)

    def mistake(self, code: str, message: str, row: Row, heading: str, remedy: str) -> None:
        """Note a mistake in a cell."""
        column = self.sheet.headings.index(heading) + 1 if heading in row.cells else None
        found = row.cells.get(heading)
        self.mistakes.append(
            Mistake(code, message, self.sheet.file, row.line, column, found, remedy)
        )

    def unread(self, code: str, row: Row, heading: str, error: UnreadError) -> None:
        """Note why a cell could not be read, in the words of whoever tried."""
        message = Sentence("`{heading}` is {wrong}", heading=heading, wrong=error.wrong)
        self.mistake(code, message, row, heading, error.remedy)

    def number(self, row: Row, heading: str, low: float, high: float) -> float | None:
        """A number from `low` to `high`."""
        text = row.cells.get(heading, "")
        value = read_number(text)
        remedy = Sentence(
            "write a number from {low:.10g} to {high:.10g}, or leave it blank", low=low, high=high
        )
        if text and value is None:
            self.mistake(
                "not_a_number",
                Sentence("`{heading}` is not a number", heading=heading),
                row,
                heading,
                remedy,
            )
        elif value is not None and not low <= value <= high:
            self.mistake(
                "out_of_range",
                Sentence("`{heading}` is out of range", heading=heading),
                row,
                heading,
                remedy,
            )
            value = None
        return value

    def whole(self, row: Row, heading: str, low: int, high: int) -> int | None:
        """A whole number from `low` to `high`."""
        value = self.number(row, heading, low, high)
        if value is not None and value != int(value):
            remedy = Sentence("write a whole number from {low} to {high}", low=low, high=high)
            self.mistake(
                "not_whole",
                Sentence("`{heading}` is not whole", heading=heading),
                row,
                heading,
                remedy,
            )
            return None
        return None if value is None else int(value)

    def choice(self, row: Row, heading: str, allowed: Sequence[str]) -> str | None:
        """One of the allowed words in any case of letters, spelt as in `allowed`."""
        text = row.cells.get(heading, "")
        for word in allowed:
            if text and word.lower() == text.lower():
                return word
        if text:
            remedy = (
                Sentence("write {words}, or leave it blank", words=one_of(allowed))
                if allowed
                else Sentence("leave it blank")
            )
            message = Sentence("`{heading}` is not a word for this", heading=heading)
            self.mistake("not_a_choice", message, row, heading, remedy)
        return None

    def identity(self, row: Row, heading: str) -> str | None:
        """A name; None, with a mistake, where it is blank or not printable."""
        text = row.cells.get(heading, "")
        if not text or not text.isprintable():
            message = Sentence("a row without a usable `{heading}`", heading=heading)
            self.mistake(
                "no_name", message, row, heading, Sentence("the row is left out; write the name")
            )
            return None
        return text

    def twice(self, row: Row, heading: str, name: str) -> None:
        """Note a row that says again what an earlier one said."""
        message = Sentence("a second row for {name}", name=quote(name))
        self.mistake(
            "row_twice", message, row, heading, Sentence("the first one counts; keep one of them")
        )
