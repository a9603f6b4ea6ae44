"""Reads scores.csv: what athletes logged. A row that cannot be used is told and left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from api.folder.sheets import Cells, Row, Sheet, read_number, read_seconds, read_sheet
from reconcile.classes import Equipment, LoggedScore
from reconcile.errors import Mistake, quote
from reconcile.fields import one_of
from reconcile.plan import Plan, TimedBlock
from reconcile.sentence import Sentence

HEADINGS = ("athlete", "block", "option", "equipment", "score", "rounds", "load_kg", "notes")
HIGHEST_SCORE = 1_000_000


def read_scores(
    text: str, plan: Plan, athletes: Sequence[str], *, file: str = "scores.csv"
) -> tuple[tuple[LoggedScore, ...], tuple[Mistake, ...]]:
    """The logged scores in the order of the sheet, and what could not be taken as it stands."""
    sheet = read_sheet(text, file=file, known=HEADINGS, several="rounds")
    cells = ScoreCells(sheet, plan, athletes)
    if "athlete" not in sheet.headings and sheet.headings:
        message = Sentence("no column `athlete`, so no score is read")
        remedy = Sentence(
            "write the headings {headings} into the first line", headings=", ".join(HEADINGS)
        )
        found = ", ".join(sheet.headings)
        missing = Mistake("missing_heading", message, file, 1, 1, found, remedy)
        return (), (*cells.mistakes, missing)
    scores: dict[tuple[str, str | None], LoggedScore] = {}
    for row in sheet.rows:
        score = cells.score(row)
        if score is not None and (score.athlete, score.block) in scores:
            cells.twice(row, "athlete", score.athlete)
        elif score is not None:
            scores[score.athlete, score.block] = score
    return tuple(scores.values()), tuple(cells.mistakes)


class ScoreCells(Cells):
    """The cells of scores.csv, read with the plan in hand."""

    def __init__(self, sheet: Sheet, plan: Plan, athletes: Sequence[str]) -> None:
        super().__init__(sheet)
        self.plan = plan
        self.athletes = tuple(athletes)
        self.scored = tuple(block for block in plan.timed_blocks if block.score is not None)

    def score(self, row: Row) -> LoggedScore | None:
        """The logged score of a row; None where it says of nobody or of no scored block."""
        written = self.identity(row, "athlete")
        if written is None:
            return None
        same = [name for name in self.athletes if name.lower() == written.lower()]
        athlete = written if written in self.athletes or len(same) != 1 else same[0]
        if athlete not in self.athletes:
            remedy = Sentence("the score is kept; add the athlete to roster.csv")
            self.mistake("not_on_roster", Sentence("nobody of this name"), row, "athlete", remedy)
        try:
            block = self.block(row)
        except ValueError:
            return None
        in_seconds = (
            block is not None and block.score is not None and (block.score.measure == "seconds")
        )
        equipment: tuple[Equipment, ...] = get_args(Equipment)
        machine = self.choice(row, "equipment", equipment)
        return LoggedScore(
            athlete=athlete,
            block=block.name if block is not None else None,
            option=self.choice(row, "option", self.plan.options),
            equipment=equipment[equipment.index(machine)] if machine in equipment else None,
            score=self.value(row, in_seconds=in_seconds),
            rounds=self.rounds(row, in_seconds=in_seconds),
            load_kg=self.number(row, "load_kg", 0, 1000),
            notes="".join(c if c.isprintable() else " " for c in row.cells.get("notes", "")),
        )

    def block(self, row: Row) -> TimedBlock | None:
        """The scored block that a row is about; None where the plan scores none.

        Raises ValueError, the mistake noted, where the row does not say which.
        """
        text = row.cells.get("block", "")
        names = [block.name for block in self.scored]
        exact = [block for block in self.scored if block.name == text]
        alike = [block for block in self.scored if block.name.lower() == text.lower()]
        for found in (exact, alike):
            if len(found) == 1:
                return found[0]
        if not text and len(self.scored) <= 1:
            return self.scored[0] if self.scored else None
        if not self.scored:
            self.mistake(
                "not_scored",
                Sentence("the plan scores no block"),
                row,
                "block",
                Sentence("leave it blank"),
            )
            return None
        if len(self.scored) == 1 and text not in [block.name for block in self.plan.blocks]:
            remedy = Sentence("it is taken for {name}, the only scored block", name=quote(names[0]))
            self.mistake(
                "unknown_block", Sentence("the plan has no such block"), row, "block", remedy
            )
            return self.scored[0]
        message = (
            Sentence("not a scored block of the plan")
            if text
            else Sentence("which of the scored blocks is meant?")
        )
        remedy = Sentence("the row is left out; write {words}", words=one_of(names))
        self.mistake("unknown_block", message, row, "block", remedy)
        raise ValueError(text)

    def value(self, row: Row, *, in_seconds: bool) -> float | None:
        """The score; one in seconds may be written as `12:30`."""
        if not in_seconds:
            return self.number(row, "score", 0, HIGHEST_SCORE)
        text = row.cells.get("score", "")
        seconds = read_seconds(text)
        if text and (seconds is None or not 0 <= seconds <= HIGHEST_SCORE):
            remedy = Sentence(
                "write seconds, or minutes and seconds as in 12:30, or leave it blank"
            )
            self.mistake(
                "not_a_number", Sentence("`score` is not a time taken"), row, "score", remedy
            )
            return None
        return seconds

    def rounds(self, row: Row, *, in_seconds: bool) -> tuple[float, ...] | None:
        """The values of the rounds as written down."""
        text = row.cells.get("rounds", "").strip("; ")
        if not text:
            return None
        read = read_seconds if in_seconds else read_number
        values = [read(part.strip()) for part in text.split(";")]
        known = tuple(v for v in values if v is not None and 0 <= v <= HIGHEST_SCORE)
        if len(known) != len(values):
            remedy = Sentence(
                "write one number a round, joined by semicolons; all of them are left out now"
            )
            self.mistake(
                "not_a_number", Sentence("`rounds` holds no number"), row, "rounds", remedy
            )
            return None
        return known
