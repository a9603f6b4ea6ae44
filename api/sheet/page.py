"""The class as one page that stands alone: no script, no file beside it, nothing fetched."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from api.sheet import terminal, words
from api.sheet.done import DoneRow, class_sentence, done_rows
from api.sheet.picture import COLUMNS, HEIGHT, Picture, Strip, athlete_picture, round_strips
from api.sheet.rows import BlockTable, Row, class_sheet, energy_notes, load_summary
from reconcile.classes import ClassRecord
from reconcile.result import Advice, AthleteResult, ClassResult, Energy, Interval

OxygenTimed = Mapping[str, tuple[Energy | None, ...]]


@dataclass(frozen=True)
class PageRow:
    """A row of a class table with its strips; `place` is the athlete's place in the class."""

    place: int
    row: Row
    strips: tuple[Strip, ...]


@dataclass(frozen=True)
class PageTable:
    """A class table; summaries: whether the load was right, and what was planned and done."""

    heading: str
    summaries: tuple[str, ...]
    done: tuple[DoneRow, ...]
    table: BlockTable
    rows: tuple[PageRow, ...]


@dataclass(frozen=True)
class PageAthlete:
    """An athlete's part of the page.

    notes: the athlete's own words. energy: what there is to say of the energy. masks: what a mask
    would read in each step, None where that is not shown.
    """

    place: int
    result: AthleteResult
    rows: tuple[tuple[str, Row], ...]
    picture: Picture | None
    notes: tuple[str, ...]
    energy: tuple[str, ...]
    advice: tuple[Advice, ...]
    masks: tuple[Energy | None, ...] | None


def class_page(
    record: ClassRecord, result: ClassResult, oxygen_timed: OxygenTimed | None = None
) -> str:
    """Return the page as HTML text; the same class gives the same text.

    oxygen_timed: by athlete, what a mask would read in each step, to be shown beside the demand.
    """
    sheet = class_sheet(record, result)
    places = {athlete.athlete: place for place, athlete in enumerate(result.athletes, start=1)}
    tables = tuple(
        PageTable(
            heading=terminal.block_heading(table),
            summaries=tuple(filter(None, (load_summary(table), class_sentence(table)))),
            done=done_rows(table),
            table=table,
            rows=tuple(
                PageRow(
                    places[row.athlete],
                    row,
                    round_strips(table.block, row.intervals, row.athlete),
                )
                for row in table.rows
            ),
        )
        for table in sheet.tables
    )
    athletes = tuple(
        PageAthlete(
            place=place,
            result=athlete,
            rows=tuple(
                (table.block.name, row)
                for table in sheet.tables
                for row in table.rows
                if row.athlete == athlete.athlete
            ),
            picture=athlete_picture(record.plan, athlete),
            notes=tuple(
                row.notes for row in record.scores if row.athlete == athlete.athlete and row.notes
            ),
            energy=energy_notes(result, athlete.athlete),
            advice=athlete.advice,
            masks=None if oxygen_timed is None else oxygen_timed.get(athlete.athlete),
        )
        for place, athlete in enumerate(result.athletes, start=1)
    )
    return (
        environment()
        .get_template("class.html.jinja")
        .render(
            sheet=sheet,
            tables=tables,
            athletes=athletes,
            when=f"{record.start.day} {record.start:%B %Y, %H:%M}",
            words=words,
            cells=terminal,
            columns=COLUMNS,
            height=HEIGHT,
        )
    )


def environment() -> Environment:
    """The page's templates; every value is escaped, a name that is not there is an error."""
    templates = Environment(
        loader=PackageLoader("api.sheet"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters.update(FILTERS)
    return templates


def shown(value: object) -> object:
    """A value as it goes into the page: text loses its control characters, markup stays."""
    return words.printable(value) if type(value) is str else value


def offset_text(seconds: float | None) -> str:
    """Seconds from a step's start, or a dash."""
    return "–" if seconds is None else f"{seconds:.1f}"


def number_text(value: float | None) -> str:
    """A number, or a dash."""
    return "–" if value is None else words.number(value)


def attempted_text(step: Interval) -> str:
    """Whether a work step was begun, in a word."""
    if step.kind == "rest":
        return "rest"
    return {True: "work", False: "work, left out", None: "work, unknown"}[step.attempted]


FILTERS: Mapping[str, object] = {
    "offset": offset_text,
    "number": number_text,
    "kilocalories": terminal.step_energy_text,
    "attempted": attempted_text,
    "sentence": terminal.sentence,
}
