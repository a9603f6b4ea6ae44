"""The scores of a whole class as one grid a block: what its cells hold, and reading them back.

Cells are text as somebody types it. A row whose text is what the form was drawn with says nothing
new, so that a form left open overwrites nothing that was logged meanwhile.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from api.folder.scores import HIGHEST_SCORE
from api.folder.sheets import read_number, read_seconds
from api.language import Language, deferred
from api.storage.model import Score
from api.transfer.sheets import number_text
from reconcile.classes import LoggedScore
from reconcile.plan import Plan, TimedBlock

EQUIPMENT = ("rower", "ski", "bike", "none")
HEAVIEST_KG = 1000.0
LONGEST_NOTES = 2000

NO_NUMBER = deferred("Write a number, such as 57 or 12.5.")
NO_TIME = deferred("Write seconds, or minutes and seconds as in 12:30.")
NO_OPTION = deferred("The plan has no such option.")
NO_MACHINE = deferred("Write rower, ski, bike or none.")


@dataclass(frozen=True)
class BoardRow:
    """An athlete's row: the text of each cell by its column, and what is wrong with it.

    was: the row of the score that the form was drawn with, blank where none was.
    """

    handle: str
    name: str
    was: str
    cells: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class BoardBlock:
    """A scored block's grid, numbered from 1."""

    number: int
    block: TimedBlock
    rows: tuple[BoardRow, ...]

    @property
    def rounds(self) -> tuple[str, ...]:
        """The columns of the rounds."""
        return tuple(f"r{number}" for number in range(1, self.block.rounds + 1))

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column that is typed into, from left to right."""
        return ("option", "equipment", *self.rounds, "score", "load", "notes")


def scored_blocks(plan: Plan) -> tuple[TimedBlock, ...]:
    """The blocks that a board has scores for."""
    return tuple(block for block in plan.timed_blocks if block.score is not None)


def field_name(number: int, column: str, handle: str) -> str:
    """The name of a cell's field; a handle may hold anything, so it stands last."""
    return f"{number}.{column}.{handle}"


def drawn_board(
    plan: Plan, people: Sequence[tuple[str, str]], scores: Sequence[tuple[Score, str]],
    language: Language,
) -> tuple[BoardBlock, ...]:  # fmt: skip
    """The grids with what is logged; people: handle and name, in the roster's order."""
    logged = {(handle, row.block): row for row, handle in scores}
    return tuple(
        BoardBlock(
            number,
            block,
            tuple(
                board_row(handle, name, logged.get((handle, block.name)), block, language)
                for handle, name in people
            ),
        )
        for number, block in enumerate(scored_blocks(plan), start=1)
    )


def board_row(
    handle: str, name: str, row: Score | None, block: TimedBlock, language: Language
) -> BoardRow:
    """One athlete's cells as logged."""
    rounds = list(row.rounds or ()) if row else []
    cells = {
        "option": (row.option if row else None) or "",
        "equipment": (row.equipment if row else None) or "",
        "score": number_text(row.score) if row else "",
        "load": number_text(language.mass_number(row.load_kg)) if row else "",
        "notes": row.notes if row else "",
    }
    cells |= {
        f"r{number}": number_text(rounds[number - 1]) if number <= len(rounds) else ""
        for number in range(1, block.rounds + 1)
    }
    return BoardRow(handle, name, row.id if row else "", cells)


def typed_board(drawn: Sequence[BoardBlock], form: Mapping[str, object]) -> tuple[BoardBlock, ...]:
    """The same grids with the text of a form in their cells."""
    return tuple(
        BoardBlock(
            each.number,
            each.block,
            tuple(
                BoardRow(
                    row.handle,
                    row.name,
                    str(form.get(field_name(each.number, "was", row.handle)) or ""),
                    {
                        column: str(
                            form.get(field_name(each.number, column, row.handle), "")
                        ).strip()
                        for column in each.columns
                    },
                )
                for row in each.rows
            ),
        )
        for each in drawn
    )


class CellReader:
    """Reads the cells of one row; what cannot be read is kept in `faults` by its column."""

    def __init__(self, row: BoardRow) -> None:
        self.row = row
        self.faults: dict[str, str] = {}

    def choice(self, column: str, allowed: Sequence[str], fault: str) -> str | None:
        """One of some words, or the beginning of just one of them, in any case of letters."""
        text = self.row.cells[column].casefold()
        if not text:
            return None
        exact = [word for word in allowed if word.casefold() == text]
        found = exact or [word for word in allowed if word.casefold().startswith(text)]
        if len(found) != 1:
            self.faults[column] = fault
            return None
        return found[0]

    def number(self, column: str, most: float, *, in_seconds: bool = False) -> float | None:
        """A number from 0, or a time taken."""
        text = self.row.cells[column]
        if not text:
            return None
        value = read_seconds(text) if in_seconds else read_number(text)
        if value is None or not 0 <= value <= most:
            self.faults[column] = NO_TIME if in_seconds else NO_NUMBER
            return None
        return round(value, 6)


def read_row(
    row: BoardRow, block: BoardBlock, plan: Plan, language: Language
) -> tuple[LoggedScore, Mapping[str, str]]:
    """What a row says, and what is wrong with its cells."""
    cells = CellReader(row)
    assert block.block.score is not None
    in_seconds = block.block.score.measure == "seconds"
    rounds = [
        value
        for column in block.rounds
        if (value := cells.number(column, HIGHEST_SCORE, in_seconds=in_seconds)) is not None
    ]
    logged = LoggedScore(
        athlete=row.handle,
        block=block.block.name,
        option=cells.choice("option", plan.options, NO_OPTION),
        equipment=cells.choice("equipment", EQUIPMENT, NO_MACHINE),  # type: ignore[arg-type]
        score=cells.number("score", HIGHEST_SCORE, in_seconds=in_seconds),
        rounds=tuple(rounds) or None,
        load_kg=language.mass_kg(cells.number("load", HEAVIEST_KG)),
        notes=row.cells["notes"][:LONGEST_NOTES],
    )
    return logged, cells.faults
