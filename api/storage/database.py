"""The database, SQLite or PostgreSQL: transactions that are whole or nothing."""

from __future__ import annotations

import importlib.resources
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import alembic.command
from alembic.config import Config
from sqlalchemy import Engine, create_engine, event, inspect, text
from sqlalchemy.orm import Session, sessionmaker

from api.settings import Settings

BUSY_MS = 30_000
TRIES = 5  # at a checkpoint while somebody reads


@dataclass(frozen=True)
class Database:
    """Opens transactions. Whoever opens one owns it: no error means commit, any error rollback."""

    engine: Engine
    sessions: sessionmaker[Session]

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A transaction that changes nothing."""
        with self.sessions() as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A transaction that may change something; on SQLite it is the only one that does."""
        with self.sessions() as session:
            if self.engine.dialect.name == "sqlite":
                session.connection().exec_driver_sql("ROLLBACK")
                session.connection().exec_driver_sql("BEGIN IMMEDIATE")
            yield session
            session.commit()

    @contextmanager
    def snapshot(self) -> Iterator[Session]:
        """A transaction that reads everything as of one moment, whatever is written meanwhile."""
        with self.sessions() as session:
            if self.engine.dialect.name == "postgresql":
                session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
            yield session

    def answers(self) -> bool:
        """Whether the database is there and has its tables."""
        with self.reading() as session:
            return session.execute(text("SELECT count(*) FROM alembic_version")).scalar() == 1

    def forget_freed_pages(self) -> None:
        """Let what was deleted leave the files too: SQLite's log, PostgreSQL's dead rows."""
        with self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            if self.engine.dialect.name == "sqlite":
                for _ in range(TRIES):
                    busy = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").first()
                    if busy is not None and not busy[0]:
                        return
            else:
                connection.exec_driver_sql("VACUUM")

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def open_database(settings: Settings) -> Database:
    """The settings' database; its tables are `migrate`'s to make."""
    if settings.on_postgresql:
        engine = create_engine(
            settings.database_url, pool_size=20, max_overflow=20, pool_pre_ping=True
        )
    else:
        settings.data.mkdir(parents=True, exist_ok=True)
        engine = create_engine(settings.database_url, pool_size=20, max_overflow=20)
        event.listen(engine, "connect", prepare_sqlite)
        event.listen(engine, "begin", begin_sqlite)
    return Database(engine, sessionmaker(engine, expire_on_commit=False))


def prepare_sqlite(connection: Any, _record: Any) -> None:
    """Set up a connection: foreign keys, write-ahead log, durable commits, deleted data zeroed."""
    connection.isolation_level = (
        None  # transactions begin where we say, not where the driver guesses
    )
    for pragma in (
        f"busy_timeout = {BUSY_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "secure_delete = ON",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def begin_sqlite(connection: Any) -> None:
    """Open the transaction that the driver was told not to open."""
    connection.exec_driver_sql("BEGIN")


def migration_settings(settings: Settings) -> Config:
    """Build what Alembic needs to know."""
    config = Config()
    config.set_main_option(
        "script_location", str(importlib.resources.files("api.storage") / "migrations")
    )
    config.attributes["url"] = settings.database_url
    return config


def migrate(settings: Settings) -> None:
    """Bring the tables to the newest form, those of the job queue included."""
    settings.data.mkdir(parents=True, exist_ok=True)
    alembic.command.upgrade(migration_settings(settings), "head")
    if settings.on_postgresql:
        from api.work.queue import lay_queue

        lay_queue(settings)


def has_tables(database: Database) -> bool:
    """Whether the tables were ever made."""
    return inspect(database.engine).has_table("gym")
