"""`intervouch gym create`: open a gym."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from api.command.serve import DataFolder, read_settings

gym = typer.Typer(help="Gyms of the service.", no_args_is_help=True)


@gym.callback()
def root() -> None:
    """Gyms of the service."""


@gym.command()
def create(
    name: Annotated[str, typer.Argument(help="The gym's name.", show_default=False)],
    owner: Annotated[str, typer.Option(help="The owner's name.", show_default=False)],
    mail: Annotated[str, typer.Option(help="The owner's mail address, to sign in with.")],
    coaches: Annotated[
        bool, typer.Option(help="The owner coaches too, and so sees results.")
    ] = True,
    password_from_input: Annotated[
        bool,
        typer.Option(
            "--password-from-input", help="Read the owner's password from standard input."
        ),
    ] = False,
    data: DataFolder = None,
) -> None:
    """Open a gym with its owner; prints the link by which the owner signs in and sets a password.

    Works while the service runs, and before it ever ran.
    """
    from sqlalchemy import select

    from api.addresses import link_address
    from api.app import open_service
    from api.people.passwords import password_hash
    from api.people.service import new_gym
    from api.problems import ServiceError
    from api.storage.database import migrate
    from api.storage.model import Person

    settings = read_settings(data)
    migrate(settings)
    service = open_service(settings)
    try:
        password = sys.stdin.readline().rstrip("\n") if password_from_input else None
        with service.database.writing() as session:
            found, secret = new_gym(
                session, service, gym_name=name, owner_name=owner, mail=mail, coaches=coaches
            )
            if password is not None:
                person = session.scalars(select(Person).where(Person.gym_id == found.id)).one()
                person.password_hash = password_hash(password)
    except ServiceError as error:
        typer.echo(error.detail, err=True)
        raise typer.Exit(1) from error
    finally:
        service.database.close()
    typer.echo(f"{name} is open.")
    if password is None:
        base = settings.address.rstrip("/") or "http://127.0.0.1:8000"
        typer.echo(f"{owner} signs in here, once, within two days: {link_address(base, secret)}")
    else:
        typer.echo(f"{owner} signs in as {mail}.")
