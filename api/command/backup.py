"""`intervouch backup` and `intervouch restore`, while the service runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.command.serve import DataFolder, read_settings


def backup(
    file: Annotated[Path, typer.Argument(help="The zip to write.", show_default=False)],
    key: Annotated[
        bool, typer.Option(help="Put the key in too; without it the files cannot be read.")
    ] = True,
    data: DataFolder = None,
) -> None:
    """Write everything that the service keeps into one file, as of one moment.

    Whoever has the file with its key can read everything: keep it as you keep the service.
    """
    from api.app import open_service
    from api.storage.database import migrate
    from api.transfer.backup import back_up

    settings = read_settings(data)
    migrate(settings)
    service = open_service(settings)
    try:
        counted = back_up(service, file, with_key=key)
    except OSError as error:
        typer.echo(f"{file} could not be written: {error.strerror}.", err=True)
        raise typer.Exit(1) from error
    finally:
        service.database.close()
    typer.echo(f"{file}: {counted.rows} rows and {counted.files} files.")


def restore(
    file: Annotated[Path, typer.Argument(help="A zip that backup wrote.", show_default=False)],
    data: DataFolder = None,
) -> None:
    """Put a backup in place of what the service keeps. Everybody signs in again afterwards.

    A backup of SQLite can be laid back into PostgreSQL, and the other way round.
    """
    from api.app import open_service
    from api.storage.database import migrate
    from api.transfer.backup import UnusableBackupError, lay_back, lay_key

    settings = read_settings(data)
    try:
        lay_key(settings, file)
        migrate(settings)
        service = open_service(settings)
        try:
            counted = lay_back(service, file)
        finally:
            service.database.close()
    except UnusableBackupError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(1) from error
    typer.echo(f"{file}: {counted.rows} rows and {counted.files} files are back.")
