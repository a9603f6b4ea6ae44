"""`intervouch serve` and `intervouch work`: the service, and a worker on its own."""

from __future__ import annotations

import signal
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:  # what a command needs is imported when it runs
    from api.settings import Settings

DataFolder = Annotated[
    Path | None,
    typer.Option(
        "--data",
        metavar="FOLDER",
        help="Where the database, the uploads and the key lie (INTERVOUCH_DATA).",
        show_default="intervouch-data",
    ),
]


def serve(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="The port to listen on.")] = 8000,
    data: DataFolder = None,
) -> None:
    """Run the service: pages and API, and the reconciling worker with it.

    No setting is needed. Every setting is an environment variable that begins with INTERVOUCH_;
    `INTERVOUCH_DATABASE=postgresql://...` moves it to PostgreSQL.
    """
    import uvicorn

    from api.app import create_app
    from api.logs import set_up

    settings = read_settings(data)
    set_up(settings.log_level)
    if settings.address_warning:
        typer.echo(f"Warning: {settings.address_warning}", err=True)
    typer.echo(f"intervouch listens on http://{host}:{port}", err=True)
    uvicorn.run(
        create_app(settings),
        host=host,
        port=port,
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=10,
    )


def work(data: DataFolder = None) -> None:
    """Run a reconciling worker without pages: more of them beside a service on PostgreSQL."""
    from api.app import open_service, worker_of
    from api.logs import set_up
    from api.storage.database import migrate

    settings = read_settings(data)
    set_up(settings.log_level)
    migrate(settings)
    service = open_service(settings)
    worker = worker_of(service, max(1, settings.workers))
    assert worker is not None
    done = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: done.set())
    worker.start()
    typer.echo("intervouch works", err=True)
    done.wait()
    worker.stop()
    service.database.close()


def read_settings(data: Path | None) -> Settings:
    """The settings from the environment, the data folder as the command line says."""
    from api.settings import Settings

    settings = Settings()
    return settings if data is None else settings.over(data=data)
