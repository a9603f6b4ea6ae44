"""Backups while serving: every table as of one moment and the sealed bytes, in one zip.

A backup of SQLite can be laid back into PostgreSQL, and the other way round.
"""

from __future__ import annotations

import base64
import json
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary, Table, delete, insert, select, text
from sqlalchemy.orm import Session

from api.people.erasure import erase_rows
from api.recordings.columns import KIND
from api.recordings.service import BYTES, drop_bytes
from api.service import Service
from api.settings import Settings
from api.storage.audit import write_line
from api.storage.keys import key_path
from api.storage.model import Audit, Base, Gym, Person, Reconciliation
from api.storage.moments import Moment, now
from api.storage.store import BytesMissing
from api.work.stale import stale_classes

FORM = 1
ROWS_AT_ONCE = 500
# What a backup is not for: sign-ins and links come and go, answers are for repeated requests.
LEFT_OUT = ("sign_in", "sign_in_link", "attempt", "done")


class UnusableBackupError(Exception):
    """The file is no backup, or one that cannot be laid back here."""


@dataclass(frozen=True)
class Counted:
    """How much a backup holds."""

    rows: int
    files: int


def back_up(service: Service, path: Path, *, with_key: bool) -> Counted:
    """Write a backup. It appears whole or not at all.

    with_key: whether the key goes along, without which the bytes in it cannot be read.
    """
    part = path.with_name(f"{path.name}.part")
    rows = files = 0
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
        with service.database.snapshot() as session:
            revision = session.scalar(text("SELECT version_num FROM alembic_version"))
            for table in Base.metadata.sorted_tables:
                if table.name in LEFT_OUT:
                    continue
                lines = [json.dumps(row) for row in table_rows(session, table)]
                archive.writestr(f"tables/{table.name}.jsonl", "\n".join(lines))
                rows += len(lines)
        for place in list(service.store.raw_names(BYTES)):
            try:
                archive.writestr(f"store/{place}", service.store.raw_get(place))
            except BytesMissing:
                continue  # deleted meanwhile
            files += 1
        found = key_path(service.settings)
        if with_key and found is not None:
            archive.writestr("key", found.read_text(encoding="ascii"))
        facts = {"form": FORM, "revision": revision, "made_at": now().isoformat()}
        archive.writestr("backup.json", json.dumps(facts))
    part.chmod(0o600)
    part.replace(path)
    return Counted(rows, files)


def table_rows(session: Session, table: Table) -> Iterator[dict[str, Any]]:
    """Every row as JSON values."""
    statement = select(table).execution_options(yield_per=ROWS_AT_ONCE)
    for row in session.execute(statement):
        yield {
            column.name: json_value(value) for column, value in zip(table.columns, row, strict=True)
        }


def json_value(value: Any) -> Any:
    """A column's value as JSON."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return value


def database_value(table: Table, name: str, value: Any) -> Any:
    """A JSON value as a column's."""
    kind = table.columns[name].type
    if value is not None and isinstance(kind, Moment):
        return datetime.fromisoformat(value)
    if value is not None and isinstance(kind, LargeBinary):
        return base64.b64decode(value)
    return value


def lay_back(service: Service, path: Path) -> Counted:
    """Put a backup in place of what is there, in one transaction; the service may be running.

    The audit log keeps its lines and gets those that it lacks. Whom the log says to be erased
    since stays erased. Results are worked out again where they are not of this engine.

    Raises UnusableBackupError where the file is no backup or is of another form.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            facts = json.loads(archive.read("backup.json"))
            tables = {
                name.removeprefix("tables/").removesuffix(".jsonl"): archive.read(name)
                for name in archive.namelist()
                if name.startswith("tables/")
            }
            check_key(service, archive)
            places = [
                n.removeprefix("store/") for n in archive.namelist() if n.startswith("store/")
            ]
            with service.database.reading() as session:
                revision = session.scalar(text("SELECT version_num FROM alembic_version"))
            if facts.get("form") != FORM or facts["revision"] != revision:
                raise UnusableBackupError(
                    f"{path} is of another version: its tables are {facts.get('revision')}, "
                    f"here they are {revision}."
                )
            for place in places:
                service.store.raw_put(place, archive.read(f"store/{place}"))
    except (zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise UnusableBackupError(f"{path} is no backup of intervouch: {error}") from error
    with service.database.writing() as session:
        rows = replace_rows(session, tables)
        gone = erase_again(session, service)
        for gym_id in session.scalars(select(Gym.id)):
            write_line(session, gym_id=gym_id, actor=None, action="backup.restore",
                       made_at=facts["made_at"])  # fmt: skip
        for class_id in session.scalars(stale_classes()):
            service.work.ask(session, class_id)
    for gym_id, sha256, recording_id in gone:
        drop_bytes(service, gym_id, sha256, recording_id)
    for place in list(service.store.raw_names(KIND)):
        kind, gym_id, _, name = place.split("/")
        service.store.drop(gym_id, kind, name)
    if gone:
        service.database.forget_freed_pages()
    service.work.wake()
    return Counted(rows, len(places))


def lay_key(settings: Settings, path: Path) -> None:
    """Take the key of a backup where there is none yet, as on a new machine."""
    place = key_path(settings)
    if place is None or place.exists():
        return
    try:
        with zipfile.ZipFile(path) as archive:
            if "key" not in archive.namelist():
                return
            text_of_key = archive.read("key").decode("ascii")
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise UnusableBackupError(f"{path} is no backup of intervouch: {error}") from error
    settings.data.mkdir(parents=True, exist_ok=True)
    place.touch(0o600, exist_ok=False)
    place.write_text(text_of_key, encoding="ascii")


def check_key(service: Service, archive: zipfile.ZipFile) -> None:
    """Refuse a backup that was made with another key than ours."""
    if "key" not in archive.namelist():
        return
    theirs = archive.read("key").decode("ascii").strip()
    if bytes.fromhex(theirs) != service.keys.secret:
        raise UnusableBackupError(
            "The backup was made with another key. Put the file `key` out of it into the data "
            "folder (of a service that keeps nothing yet), or set INTERVOUCH_KEY, and try again."
        )


def replace_rows(session: Session, tables: dict[str, bytes]) -> int:
    """Take every row out and put the backup's in; of the audit log, add what is missing."""
    ordered = Base.metadata.sorted_tables
    for table in reversed(ordered):
        if table.name != "audit":
            session.execute(delete(table))
    count = 0
    for table in ordered:
        lines = tables.get(table.name, b"").decode().splitlines()
        rows = [
            {name: database_value(table, name, value) for name, value in json.loads(line).items()}
            for line in lines
        ]
        if table.name == "audit":
            there = set(session.scalars(select(Audit.id)))
            rows = [row for row in rows if row["id"] not in there]
        if table.name == "recording":
            rows = [row | {"sign_in_id": None} for row in rows]  # sign-ins are not in a backup
        for first in range(0, len(rows), ROWS_AT_ONCE):
            session.execute(insert(table), rows[first : first + ROWS_AT_ONCE])
        count += len(rows)
    session.execute(delete(Reconciliation).where(Reconciliation.state == "working"))
    return count


def erase_again(session: Session, service: Service) -> list[tuple[str, str, str]]:
    """Erase whom the log says to have been erased: a backup brings nobody back."""
    marks = session.scalars(select(Audit.about).where(Audit.action == "person.erase"))
    people = session.scalars(select(Person).where(Person.audit_mark.in_(list(marks)))).all()
    return [
        place for person in people for place in erase_rows(session, service, person, actor=None)
    ]
