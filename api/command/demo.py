"""`intervouch demo`: a fictional class, written and checked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.command.check import check, stop


def demo(
    folder: Annotated[
        Path,
        typer.Option("--folder", metavar="DIR", help="Where to write the class."),
    ] = Path("demo-class"),
) -> None:
    """Make a fictional class of ten and check it.

    The folder is written anew each time, always the same. Nobody in it is real.
    """
    from api.demo.folder import write_demo_folder

    class_folder = folder / "class"
    document, page = folder / "class.json", folder / "class.html"
    try:
        write_demo_folder(class_folder)
    except OSError as error:
        stop(
            f"The demo could not be written to {folder}: {error.strerror}. "
            "Name another place with --folder."
        )
    check(class_folder, document, page)
    typer.echo(
        f"\nThis class is fiction.\n"
        f"The class folder:     {class_folder}\n"
        f"The result document:  {document}\n"
        f"The class page:       {page}  (open it in a browser)"
    )
