"""Reads roster.csv: who took part."""

from __future__ import annotations

from datetime import datetime
from typing import get_args

from api.folder.errors import ClassFolderError
from api.folder.sheets import Cells, Row, read_sheet
from api.folder.times import parse_time
from reconcile.classes import Athlete
from reconcile.durations import HOW_TO_WRITE, parse_duration
from reconcile.errors import Mistake, UnreadError
from reconcile.plan import Sex
from reconcile.sentence import Sentence

HEADINGS = (
    "athlete", "sex", "birth_year", "mass_kg", "resting_hr", "max_hr", "vo2max",
    "delay", "station", "start",
)  # fmt: skip
LONGEST_DELAY_S = 12 * 3600.0


def read_roster(
    text: str, *, file: str = "roster.csv"
) -> tuple[tuple[Athlete, ...], tuple[Mistake, ...]]:
    """The athletes in the order of the sheet, and what could not be taken as it stands.

    Raises ClassFolderError where the sheet names no athlete.
    """
    sheet = read_sheet(text, file=file, known=HEADINGS)
    if "athlete" not in sheet.headings:
        message = Sentence("no column `athlete`")
        found = ", ".join(sheet.headings) or None
        remedy = Sentence(
            "write the headings {headings} into the first line", headings=", ".join(HEADINGS)
        )
        raise ClassFolderError([Mistake("missing_heading", message, file, 1, 1, found, remedy)])
    cells = RosterCells(sheet)
    athletes: dict[str, Athlete] = {}
    for row in sheet.rows:
        athlete = cells.athlete(row)
        if athlete is not None and athlete.athlete in athletes:
            cells.twice(row, "athlete", athlete.athlete)
        elif athlete is not None:
            athletes[athlete.athlete] = athlete
    if not athletes:
        remedy = Sentence("write a row for each athlete")
        raise ClassFolderError(
            [
                *cells.mistakes,
                Mistake("no_athletes", Sentence("nobody is named"), file, 2, 1, remedy=remedy),
            ]
        )
    return tuple(athletes.values()), tuple(cells.mistakes)


class RosterCells(Cells):
    """The cells of roster.csv."""

    def athlete(self, row: Row) -> Athlete | None:
        """The athlete of a row."""
        name = self.identity(row, "athlete")
        if name is None:
            return None
        sexes: tuple[Sex, ...] = get_args(Sex)
        sex = self.choice(row, "sex", sexes)
        return Athlete(
            athlete=name,
            sex=sexes[sexes.index(sex)] if sex in sexes else None,
            birth_year=self.whole(row, "birth_year", 1900, 2100),
            mass_kg=self.number(row, "mass_kg", 20, 350),
            resting_hr=self.number(row, "resting_hr", 25, 130),
            max_hr=self.number(row, "max_hr", 90, 250),
            vo2max=self.number(row, "vo2max", 5, 100),
            delay_s=self.delay_s(row),
            station=self.whole(row, "station", 1, 200),
            start=self.start(row),
        )

    def delay_s(self, row: Row) -> float:
        """Seconds that a wave begins after the class; 0 where not said."""
        text = row.cells.get("delay", "")
        if text in ("", "0"):
            return 0.0
        try:
            delay_s = parse_duration(text)
        except UnreadError as error:
            self.unread("not_a_duration", row, "delay", error)
            return 0.0
        if delay_s > LONGEST_DELAY_S:
            self.mistake(
                "out_of_range", Sentence("`delay` is out of range"), row, "delay", HOW_TO_WRITE
            )
            return 0.0
        return delay_s

    def start(self, row: Row) -> datetime | None:
        """When the athlete did the plan alone; one without an offset is taken as UTC."""
        text = row.cells.get("start", "")
        if not text:
            return None
        try:
            start, has_offset = parse_time(text)
        except UnreadError as error:
            self.unread("not_a_time", row, "start", error)
            return None
        if not has_offset:
            message = Sentence("`start` has no offset and is taken as UTC")
            self.mistake("no_offset", message, row, "start", Sentence("write it with its offset"))
        return start
