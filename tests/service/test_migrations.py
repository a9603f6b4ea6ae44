"""The migrations make just what the model says, on both databases, and can be taken back."""

from __future__ import annotations

import alembic.command
from sqlalchemy import inspect

from api.settings import Settings
from api.storage.database import migrate, migration_settings, open_database


def test_the_migrations_match_the_model(settings: Settings) -> None:
    migrate(settings)
    alembic.command.check(migration_settings(settings))


def test_the_migrations_can_be_taken_back_and_done_again(settings: Settings) -> None:
    migrate(settings)
    alembic.command.downgrade(migration_settings(settings), "base")
    database = open_database(settings)
    tables = set(inspect(database.engine).get_table_names())
    assert {name for name in tables if not name.startswith("procrastinate")} == {"alembic_version"}
    migrate(settings)
    assert "gym" in inspect(database.engine).get_table_names()
    database.close()
