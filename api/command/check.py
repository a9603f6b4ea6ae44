"""`intervouch check FOLDER`: reconcile a class folder and say what came of it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:  # what a command needs is imported when it runs
    from rich.console import Console

    from reconcile.result import ClassResult

Report = Callable[[str, int, int], None]

# Where the width is nobody's (a pipe, a file), a sheet as wide as a page of text.
PIPE_COLUMNS = 100


def check(
    folder: Annotated[Path, typer.Argument(help="The class folder.", show_default=False)],
    json_file: Annotated[
        Path | None,
        typer.Option("--json", metavar="FILE", help="Write the result document here."),
    ] = None,
    html_file: Annotated[
        Path | None,
        typer.Option(
            "--html", metavar="FILE", help="Write the class page here, or that of --explain."
        ),
    ] = None,
    history_file: Annotated[
        Path | None,
        typer.Option(
            "--history",
            metavar="FILE",
            help="Write what is known after this class here, for the next class's folder.",
        ),
    ] = None,
    explain: Annotated[
        str | None,
        typer.Option("--explain", metavar="FILE", help="Tell what one recording's place rests on."),
    ] = None,
    explain_energy: Annotated[
        str | None,
        typer.Option(
            "--explain-energy", metavar="ATHLETE", help="Tell how each step's energy came about."
        ),
    ] = None,
    oxygen_timed: Annotated[
        bool,
        typer.Option(
            "--oxygen-timed",
            help="Show what a mask would read beside energy, here and in the class page.",
        ),
    ] = False,
) -> None:
    """Check a class: what was planned and logged against what the devices recorded.

    What --explain and --explain-energy tell is printed in place of the class sheet.

    The exit status is 0 also when some recordings could not be read (the sheet lists them), and 1
    when nothing could be checked.
    """
    from api.folder import ClassFolderError, read_class_folder
    from api.sheet.rows import class_sheet
    from api.sheet.terminal import print_sheet
    from reconcile.engine import workings

    for path in (json_file, html_file, history_file):
        if path is not None and not path.parent.is_dir():
            stop(f"{path} cannot be written: there is no folder {path.parent}. Make it first.")
    try:
        with progress_bar() as report:
            record = read_class_folder(folder, report)
            worked = workings(record, report)
    except ClassFolderError as error:
        stop(str(error))
    result = worked.result
    recording = energy = masks = None
    if explain is not None or explain_energy is not None:
        from api.command.explaining import told_energy, told_recording

        recording = None if explain is None else told_recording(record, worked, explain)
        energy = None if explain_energy is None else told_energy(worked, explain_energy)
    if oxygen_timed:
        masks = {name: answer.oxygen_timed for name, answer in worked.energy.items()}
    if json_file is not None:
        from reconcile.document import document_text

        write(json_file, document_text(result))
    if html_file is not None and recording is not None:
        from api.sheet.explained_page import explained_page

        write(html_file, explained_page(recording, result.title))
    elif html_file is not None:
        from api.sheet.page import class_page

        write(html_file, class_page(record, result, masks))
    if history_file is not None:
        from reconcile.history import History
        from reconcile.learning import learn

        known, _ = History.read(record.history)
        write(history_file, learn(known, record, result).as_json())
    if recording is not None:
        from api.sheet.explained_terminal import print_explained

        print_explained(sheet_console(), recording)
    if energy is not None:
        from api.sheet.energy_terminal import print_energy

        print_energy(sheet_console(), *energy, oxygen_timed=oxygen_timed)
    if recording is None and energy is None:
        print_sheet(sheet_console(), class_sheet(record, result))
        if nothing_checked(result):
            stop(
                f"Nothing in {folder} could be checked: none of its recordings could be read, and "
                "no score can be judged without one. See the files listed above."
            )


def write(path: Path, text: str) -> None:
    """Write what was asked for; ends with 1 where the place cannot be written."""
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        stop(f"{path} cannot be written: {error.strerror}. Name a place that can be.")


def nothing_checked(result: ClassResult) -> bool:
    """Whether no recording could be read and no score got a verdict."""
    from api.sheet.rows import all_recordings

    readable = any(recording.status != "unreadable" for recording in all_recordings(result))
    judged = any(
        score.verdict != "unverifiable" for athlete in result.athletes for score in athlete.scores
    )
    return not readable and not judged


def sheet_console() -> Console:
    """Standard output; as wide as the terminal, or as COLUMNS says, or as a page of text."""
    from rich.console import Console

    if sys.stdout.isatty() or "COLUMNS" in os.environ:
        return Console(highlight=False, emoji=False)
    return Console(highlight=False, emoji=False, width=PIPE_COLUMNS)


@contextmanager
def progress_bar() -> Iterator[Report | None]:
    """A bar on standard error that goes away when done; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from api.sheet.words import printable

    console = Console(stderr=True, highlight=False, emoji=False)
    if not console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)

        def report(stage: str, done: int, total: int) -> None:
            bar.update(task, description=printable(stage), completed=done, total=total)

        yield report


def stop(message: str) -> NoReturn:
    """Say what is wrong on standard error and end with status 1."""
    from rich.console import Console

    from api.sheet.words import printable

    # Paths stay whole: only a terminal may break a line, not a name.
    console = Console(stderr=True, highlight=False, emoji=False)
    console.print(printable(message), markup=False, soft_wrap=True)
    raise typer.Exit(1)
