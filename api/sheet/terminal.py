"""The class sheet as text: a table where it fits, a few lines an athlete where not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from api.sheet import words
from api.sheet.done import done_rows
from api.sheet.rows import BlockTable, ClassSheet, Row, load_summary
from reconcile.result import Energy

FREE_TEXT = 12
# Efforts by round are folded, but not into less than this.
LEAST_EFFORT = 16
NUMBERS = {"recorded", "logged"}
ASCII = str.maketrans(
    {"−": "-", "–": "-", "’": "'", "“": '"', "”": '"'}
    | {meaning.sign: meaning.plain_sign for meaning in words.VERDICTS.values()}
)


def print_sheet(console: Console, sheet: ClassSheet) -> None:
    """Print the sheet: a table a block, files, advice, questions to ask last, one line of care.

    Signs stand beside words and styles only repeat what they say, so that nothing is lost without
    colour, in a pipe, or where only ASCII can be shown. No line ends in blanks.
    """
    print_parts(console, lambda printer: sheet_parts(printer, sheet))


def sheet_parts(printer: SheetPrinter, sheet: ClassSheet) -> None:
    """The parts of a sheet, in the order in which a coach reads them."""
    printer.line(sheet.title, "bold")
    for table in sheet.tables:
        printer.block(table)
    if any(table.done for table in sheet.tables):
        printer.line(words.DONE_KEY)
    printer.files(sheet)
    printer.advice(sheet)
    printer.questions(sheet)
    printer.gap()
    printer.line(words.CARE)


def print_parts(console: Console, parts: Callable[[SheetPrinter], None]) -> None:
    """Print what `parts` prints, without blanks at the ends of lines."""
    with console.capture() as capture:
        parts(SheetPrinter(console))
    console.file.writelines(f"{line.rstrip()}\n" for line in capture.get().splitlines())


class SheetPrinter:
    """Prints the parts of a sheet on one console, in what that console can show."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.ascii_only = not console.encoding.lower().startswith("utf")

    def text(self, content: str, style: str = "") -> Text:
        """Plain text, never read as markup, in the console's characters."""
        shown = words.printable(content)
        if self.ascii_only:
            shown = shown.translate(ASCII)
            shown = shown.encode("ascii", "replace").decode("ascii")
        return Text(shown, style=style)

    def line(self, content: str, style: str = "", indent: int = 0) -> None:
        """One paragraph, wrapped at words."""
        self.console.print(Padding(self.text(content, style), (0, 0, 0, indent)))

    def rows(self, rows: Iterable[str]) -> None:
        """Rows of a plot, each on one line."""
        for row in rows:
            self.console.print(self.text(row), no_wrap=True, overflow="crop")

    def gap(self) -> None:
        """An empty line."""
        self.console.print()

    def heading(self, content: str) -> None:
        """A heading after an empty line."""
        self.gap()
        self.line(content, "bold")

    def block(self, table: BlockTable) -> None:
        """The rows of one block: a table where it fits, a few lines an athlete where not."""
        self.heading(block_heading(table))
        wide = table_columns(table)
        compact = table_columns(table, compact=True)
        for columns, gap in ((wide, 2), (compact, 1), (compact[:-1], 1)):
            widths = [column_width(column) for column in columns]
            if sum(widths) + gap * (len(widths) - 1) <= self.console.width:
                self.grid(table, columns, widths, gap)
                break
        else:
            for row in table.rows:
                self.narrow_row(row)
        if summary := load_summary(table):
            self.line(summary)
        self.done(table)

    def done(self, table: BlockTable) -> None:
        """What was planned against what was done: a table, or a line an athlete where narrow."""
        rows = done_rows(table)
        if not rows:
            return
        self.heading(f"{table.block.name}: planned and done")
        columns = [
            ["athlete", *(row.who for row in rows)],
            ["begun", *(row.rounds for row in rows)],
            ["work %", *(row.work for row in rows)],
            ["late s", *(row.late for row in rows)],
            ["early s", *(row.early for row in rows)],
            ["rest %", *(row.rest for row in rows)],
            ["effort by round", *(row.effort for row in rows)],
        ]
        widths = [column_width(column) for column in columns[:-1]]
        room = self.console.width - sum(widths) - 2 * len(widths)
        if room >= LEAST_EFFORT:
            grid = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
            for column, width in zip(columns, (*widths, None), strict=True):
                grid.add_column(column[0], width=width, overflow="fold")
            for cells in zip(*(column[1:] for column in columns), strict=True):
                grid.add_row(*map(self.text, cells))
            self.console.print(grid)
            return
        headings = [column[0] for column in columns[1:]]
        for who, *told in zip(*(column[1:] for column in columns), strict=True):
            parts = [f"{name} {cell}" for name, cell in zip(headings, told, strict=True)]
            self.line(f"{who}: {', '.join(parts)}")

    def grid(
        self, table: BlockTable, columns: list[list[str]], widths: list[int], gap: int
    ) -> None:
        """Columns of text, the first cell of each its heading; rows with a flag in bold."""
        grid = Table(box=None, padding=(0, gap, 0, 0), pad_edge=False, header_style="bold")
        for (heading, *_), width in zip(columns, widths, strict=True):
            justify: Literal["left", "right"] = "right" if heading in NUMBERS else "left"
            grid.add_column(heading, width=width, overflow="fold", justify=justify)
        for row, cells in zip(table.rows, zip(*(c[1:] for c in columns), strict=True), strict=True):
            style = "bold" if row.score is not None and row.score.flag else ""
            grid.add_row(*(self.text(cell, style) for cell in cells))
        self.console.print(grid)

    def narrow_row(self, row: Row) -> None:
        """One athlete in a few short lines."""
        flagged = row.score is not None and row.score.flag
        first = f"{row.athlete}  {verdict_text(row)}  {asked(row)}".rstrip()
        self.line(first, "bold" if flagged else "")
        done = [part for part in (row.option, row.equipment) if part]
        done.append(f"rounds {rounds_text(row)}")
        self.line(", ".join(done), indent=2)
        self.line(f"recorded {recorded_text(row)}, logged {logged_text(row)}", indent=2)
        self.line(f"energy {energy_text(row)} kcal", indent=2)
        if row.machine_time_s is not None:
            self.line(f"machine {machine_text(row)}", indent=2)

    def files(self, sheet: ClassSheet) -> None:
        """What could not be taken at face value."""
        if not (sheet.problems or sheet.files):
            return
        self.heading("Files to know about")
        for problem in sheet.problems:
            self.line(sentence(problem, capital=False))
        for note in sheet.files:
            self.line(f"{note.file}: {note.status}. " + " ".join(map(sentence, note.sentences)))

    def advice(self, sheet: ClassSheet) -> None:
        """What to change next time, and for whom."""
        if not sheet.advice:
            return
        self.heading("For next time")
        for whom, text in sheet.advice:
            self.line(f"{whom}: {sentence(text)}")

    def questions(self, sheet: ClassSheet) -> None:
        """Questions to ask, numbered as in the table."""
        self.heading("Questions to ask")
        if not sheet.questions:
            self.line("None: nothing that was recorded speaks against a logged score.")
            return
        for question in sheet.questions:
            self.line(f"?{question.number} {question.seen}")
            if question.likeliest:
                self.line(question.likeliest, indent=3)
            self.line(f"Ask: {question.ask}", indent=3)


def table_columns(table: BlockTable, *, compact: bool = False) -> list[list[str]]:
    """The table of a block, column by column, each with its heading first.

    The last column is the one that a narrow terminal can do without.
    """
    energy = ["kcal" if compact else "kcal (range)"]
    energy.extend(energy_range_text(row) if compact else energy_text(row) for row in table.rows)
    columns = [
        ["athlete", *(row.athlete for row in table.rows)],
        ["option", *(row.option or "" for row in table.rows)],
        ["on", *(row.equipment or "" for row in table.rows)],
        ["done" if compact else "rounds", *map(rounds_text, table.rows)],
        ["recorded", *(recorded_text(row, unit=False) for row in table.rows)],
        ["logged", *map(logged_text, table.rows)],
        ["verdict", *(f"{verdict_text(row)} {asked(row)}".strip() for row in table.rows)],
        energy,
    ]
    if table.intended is not None:
        unit = "" if compact else " s"
        columns.append(["machine", *(machine_text(row, unit) for row in table.rows)])
    return columns


def column_width(column: list[str]) -> int:
    """The width of a column; free text is folded beyond some width, the rest never is."""
    widest = max(cell_len(cell) for cell in column)
    return min(widest, FREE_TEXT) if column[0] in {"athlete", "option"} else widest


def sentence(content: str, *, capital: bool = True) -> str:
    """The text with a full stop, and a capital letter where it does not begin with a name."""
    stripped = content.strip()
    closed = stripped if stripped.endswith((".", "?", "!")) else f"{stripped}."
    return closed[:1].upper() + closed[1:] if capital else closed


def block_heading(table: BlockTable) -> str:
    """The block's name, its rounds and how it is scored."""
    block = table.block
    rounds = "1 round" if block.rounds == 1 else f"{block.rounds} rounds"
    parts = [f"{rounds} of {words.clock(block.round_s)}"]
    if block.score is not None:
        parts.append(f"{block.score.measure}, {block.score.take} over the rounds")
    if table.intended is not None:
        low, high = table.intended.low_s, table.intended.high_s
        parts.append(f"machine meant to last {low:.0f} to {high:.0f} s")
    return f"{block.name}: {'; '.join(parts)}"


def asked(row: Row) -> str:
    """The numbers of the row's questions."""
    return " ".join(f"?{number}" for number in row.questions)


def rounds_text(row: Row) -> str:
    """Rounds done of rounds planned."""
    if row.rounds_done is None:
        return f"?/{row.rounds_planned}"
    least, most = row.rounds_done
    done = f"{least}" if least == most else f"{least}–{most}"
    return f"{done}/{row.rounds_planned}"


def recorded_text(row: Row, *, unit: bool = True) -> str:
    """What the evidence says the score was."""
    if row.score is None or row.score.recorded is None:
        return "–"
    shown = words.amount if unit or row.own_measure else words.count
    return shown(row.score.recorded, row.score.measure)


def logged_text(row: Row) -> str:
    """The score as logged, with its unit where that is not the block's."""
    if row.score is None or row.score.logged is None:
        return "–"
    shown = words.amount if row.own_measure else words.count
    return shown(row.score.logged, row.score.measure)


def verdict_text(row: Row) -> str:
    """The verdict's sign and word."""
    if row.score is None:
        return "not scored"
    return f"{words.VERDICTS[row.score.verdict].sign} {row.score.verdict}"


def energy_text(row: Row) -> str:
    """Kilocalories of the block, work and rests, with the range."""
    if row.energy is None:
        return "–"
    return f"{row.energy.kcal:.0f} ({row.energy.low:.0f}–{row.energy.high:.0f})"


def step_energy_text(energy: Energy | None) -> str:
    """Kilocalories of a step with the range, or a dash."""
    if energy is None:
        return "–"
    return f"{energy.kcal:.1f} ({energy.low:.1f}–{energy.high:.1f})"


def energy_range_text(row: Row) -> str:
    """Only the range of the kilocalories."""
    return "–" if row.energy is None else f"{row.energy.low:.0f}–{row.energy.high:.0f}"


def machine_text(row: Row, unit: str = " s") -> str:
    """Seconds left for the machine in a round, and what that says of the load."""
    if row.machine_time_s is None:
        return "–"
    load = f" {words.LOADS[row.load]}" if row.load else ""
    return f"{row.machine_time_s:.0f}{unit}{load}"
