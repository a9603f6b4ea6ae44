"""The command line: `intervouch COMMAND`. What a command needs is imported when it runs."""

from __future__ import annotations

import typer

from api.command.backup import backup, restore
from api.command.check import check
from api.command.demo import demo
from api.command.gym import gym
from api.command.plan import plan
from api.command.serve import serve, work

app = typer.Typer(
    name="intervouch",
    help="Reconcile what a class's devices recorded with its plan and its logged scores.",
    no_args_is_help=True,
    add_completion=False,
)


@app.callback()
def root() -> None:
    """Reconcile what a class's devices recorded with its plan and its logged scores."""


app.command()(check)
app.command()(demo)
app.command()(plan)
app.command()(serve)
app.command()(work)
app.command()(backup)
app.command()(restore)
app.add_typer(gym, name="gym")


def main() -> None:
    """Run the command line."""
    app()


if __name__ == "__main__":
    main()
