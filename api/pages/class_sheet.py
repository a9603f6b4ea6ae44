"""What a coach's class sheet says, as values: tables, what stands out, what may change next time.

Numbers and codes only; the templates put words to them in the reader's language.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from api.pages.round_strip import PlanBands, RoundStrip, plan_bands, round_strips
from api.sheet import words
from api.sheet.rows import BlockTable, Row, block_table, shown_blocks
from reconcile.classes import ClassRecord
from reconcile.plan import DurationRange
from reconcile.result import ClassResult, Verdict

LOAD_CODES = tuple(words.LOADS)


@dataclass(frozen=True)
class SheetRow:
    """One athlete in one block: the figures, what was logged, and a strip a round.

    name: as shown. rounds, load_kg, notes: as logged. recorded_anything: whether any recording
    tells of this block.
    """

    name: str
    row: Row
    load_kg: float | None
    logged_rounds: tuple[float, ...]
    notes: str
    strips: tuple[RoundStrip, ...]

    @property
    def recorded_anything(self) -> bool:
        """Whether any recording tells of this block."""
        return self.row.rounds_done is not None

    @property
    def asked(self) -> bool:
        """Whether there is something to ask about the score."""
        return self.row.score is not None and self.row.score.flag


@dataclass(frozen=True)
class LoadLine:
    """The time left for the machine in one option, against the time intended; seconds.

    times: each athlete's mean. counts: for how many it was right, short, long.
    """

    option: str | None
    times: tuple[float, ...]
    counts: Mapping[str, int]

    @property
    def mean_s(self) -> float:
        """The option's mean."""
        return math.fsum(self.times) / len(self.times)


@dataclass(frozen=True)
class SheetTable:
    """One block's table, numbered from 1; `table` holds what was planned against done."""

    number: int
    table: BlockTable
    bands: PlanBands
    rows: tuple[SheetRow, ...]
    loads: tuple[LoadLine, ...]

    @property
    def intended(self) -> DurationRange | None:
        """How long the coach means the machine task to last."""
        return self.table.intended

    def begun(self, kind: Literal["whole", "part", "unknown"]) -> tuple[SheetRow, ...]:
        """Rows by what is known of their rounds: all begun, some left out, nothing known."""
        return tuple(row for row in self.rows if how_begun(row.row) == kind)


@dataclass(frozen=True)
class Sheet:
    """The class: a table a block; advice is what to change next time, with whom it is for."""

    tables: tuple[SheetTable, ...]
    verdicts: Mapping[Verdict, int]
    advice: Mapping[str, tuple[str, ...]]

    @property
    def asked(self) -> tuple[SheetRow, ...]:
        """Rows with something to ask."""
        return tuple(row for table in self.tables for row in table.rows if row.asked)


def sheet_of(record: ClassRecord, result: ClassResult, labels: Mapping[str, str]) -> Sheet:
    """Gather the sheet of a reconciled class; labels: what each athlete is called."""
    tables = tuple(
        sheet_table(number, record, block_table(record, result, block, ()), labels)
        for number, block in enumerate(shown_blocks(record.plan), start=1)
    )
    advice: dict[str, list[str]] = {}
    for athlete in result.athletes:
        for said in athlete.advice:
            if said.code not in LOAD_CODES:
                advice.setdefault(said.code, []).append(labels[athlete.athlete])
    return Sheet(
        tables,
        Counter(row.row.score.verdict for table in tables for row in table.rows if row.row.score),
        {code: tuple(dict.fromkeys(names)) for code, names in advice.items()},
    )


def sheet_table(
    number: int, record: ClassRecord, table: BlockTable, labels: Mapping[str, str]
) -> SheetTable:
    """One block's rows, in the roster's order."""
    rows = []
    for row in table.rows:
        logged = next(
            (
                said
                for said in record.scores
                if said.athlete == row.athlete and said.block in (table.block.name, None)
            ),
            None,
        )
        rows.append(
            SheetRow(
                name=labels[row.athlete],
                row=row,
                load_kg=logged.load_kg if logged else None,
                logged_rounds=(logged.rounds or ()) if logged else (),
                notes=logged.notes if logged else "",
                strips=round_strips(table.block, row.intervals),
            )
        )
    return SheetTable(number, table, plan_bands(table.block), tuple(rows), load_lines(table))


def load_lines(table: BlockTable) -> tuple[LoadLine, ...]:
    """Each option's time left for the machine, of those for whom a machine tells."""
    options = dict.fromkeys(row.option for row in table.rows)
    found = (
        load_line([row for row in table.rows if row.option == option], option) for option in options
    )
    return tuple(line for line in found if line is not None)


def load_line(rows: Sequence[Row], option: str | None) -> LoadLine | None:
    """The time left for the machine in some rows; None where no machine tells of it."""
    told = [row for row in rows if row.load is not None and row.machine_time_s is not None]
    if not told:
        return None
    return LoadLine(
        option,
        tuple(row.machine_time_s for row in told if row.machine_time_s is not None),
        Counter(row.load for row in told if row.load is not None),
    )


def how_begun(row: Row) -> Literal["whole", "part", "unknown"]:
    """Whether every round was begun, some were left out, or too little is known."""
    if row.rounds_done is None:
        return "unknown"
    least, most = row.rounds_done
    if least == row.rounds_planned:
        return "whole"
    return "part" if most < row.rounds_planned else "unknown"


# ---- order

SORTS: dict[str, Callable[[SheetRow], float | str | None]] = {
    "name": lambda row: row.name.casefold(),
    "recorded": lambda row: row.row.score.recorded if row.row.score else None,
    "logged": lambda row: row.row.score.logged if row.row.score else None,
    "verdict": lambda row: (
        -list(words.VERDICTS).index(row.row.score.verdict) if row.row.score else None
    ),
    "energy": lambda row: row.row.energy.kcal if row.row.energy else None,
    "machine": lambda row: row.row.machine_time_s,
}


def sort_key(name: str) -> Callable[[SheetRow], float | str | None] | None:
    """What a column is sorted by: one of SORTS, or a round's count; None for no such column."""
    if name in SORTS:
        return SORTS[name]
    number = name.removeprefix("round-")
    if number == name or not number.isdecimal():
        return None

    def amount(row: SheetRow) -> float | None:
        found = [strip.amount for strip in row.strips if strip.round == int(number)]
        return found[0] if found else None

    return amount


def in_order(rows: Sequence[SheetRow], name: str, *, falling: bool) -> tuple[SheetRow, ...]:
    """Rows sorted by a column, those without a value last; as they are for no such column."""
    key = sort_key(name)
    if key is None:
        return tuple(rows)
    known = [(value, row) for row in rows if (value := key(row)) is not None]
    known.sort(key=lambda pair: pair[0], reverse=falling)
    sorted_rows = [row for _, row in known]
    return (*sorted_rows, *(row for row in rows if key(row) is None))
