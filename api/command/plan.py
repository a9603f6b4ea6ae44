"""`intervouch plan FILE`: a plan's timeline as tables and a drawn strip."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def plan(
    file: Annotated[Path, typer.Argument(help="The plan, such as plan.yaml.", show_default=False)],
) -> None:
    """Show a plan's timeline: each block as a table and as a strip drawn to scale.

    In the strip, work is plain, rest is hatched, and each bell is a thick line. The exit status is
    1 where the file cannot be read as a plan; every mistake in it is told with its line and column.
    """
    from rich.console import Console

    from api.folder import ClassFolderError
    from api.folder.files import read_text
    from api.timeline.terminal import print_timeline
    from reconcile.errors import PlanError
    from reconcile.plan_text import read_plan

    errors = Console(stderr=True, highlight=False, emoji=False, soft_wrap=True)
    if not file.is_file():
        errors.print(f"{file}: there is no such file; name a plan such as plan.yaml", markup=False)
        raise typer.Exit(1)
    try:
        text = read_text(file.parent, file.name, needed_for="it is the plan to show")
        session = read_plan(text, file=file.name)
    except (ClassFolderError, PlanError) as error:
        errors.print(str(error), markup=False)
        raise typer.Exit(1) from error
    print_timeline(Console(highlight=False, emoji=False), session)
