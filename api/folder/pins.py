"""Reads pins.csv: what a coach has fixed by hand."""

from __future__ import annotations

from collections.abc import Sequence

from api.folder.sheets import Cells, read_sheet
from reconcile.classes import Pin
from reconcile.errors import Mistake
from reconcile.plan import Plan
from reconcile.sentence import Sentence

HEADINGS = ("file", "block", "start_s", "owner")
FURTHEST_S = 7 * 24 * 3600.0


def read_pins(
    text: str,
    plan: Plan,
    athletes: Sequence[str],
    files: Sequence[str],
    *,
    file: str = "pins.csv",
) -> tuple[tuple[Pin, ...], tuple[Mistake, ...]]:
    """The pins that can be followed, and what could not be taken as it stands."""
    sheet = read_sheet(text, file=file, known=HEADINGS)
    cells = Cells(sheet)
    pins = []
    for row in sheet.rows:
        name = cells.identity(row, "file")
        if name is None:
            continue
        if name not in files:
            remedy = Sentence("the pin is left out; write the file's name as in recordings/")
            cells.mistake(
                "unknown_file", Sentence("the class has no such file"), row, "file", remedy
            )
            continue
        block = cells.choice(row, "block", [block.name for block in plan.timed_blocks])
        start_s = cells.number(row, "start_s", -FURTHEST_S, FURTHEST_S)
        owner = cells.choice(row, "owner", athletes)
        if (block is None) != (start_s is None):
            remedy = Sentence("write both `block` and `start_s`; only the owner is pinned now")
            cells.mistake("half_a_pin", Sentence("a start needs its block"), row, "block", remedy)
            block = start_s = None
        if block is not None or owner is not None:
            pins.append(Pin(name, block, start_s, owner))
    return tuple(pins), tuple(cells.mistakes)
