"""Alembic's entry: which database, which tables."""

from __future__ import annotations

from typing import Any

from alembic import context
from sqlalchemy import create_engine, event, pool

from api.storage.database import begin_sqlite, prepare_sqlite
from api.storage.model import Base


def ours(_object: Any, name: str | None, kind: str, reflected: bool, _compared: Any) -> bool:
    """Leave the job queue's own tables alone."""
    return not (kind == "table" and reflected and str(name).startswith("procrastinate_"))


def render(kind: str, value: Any, _autogen: Any) -> Any:
    """Write our column type as what it is in the database."""
    if kind == "type" and type(value).__name__ == "Moment":
        return "sa.DateTime(timezone=True)"
    return False


def run() -> None:
    """Run the migrations in one transaction."""
    engine = create_engine(context.config.attributes["url"], poolclass=pool.NullPool)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", prepare_sqlite)
        event.listen(engine, "begin", begin_sqlite)
    with engine.connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            include_object=ours,
            render_item=render,
            compare_type=True,
            render_as_batch=engine.dialect.name == "sqlite",
            transactional_ddl=True,
        )
        with context.begin_transaction():
            context.run_migrations()
    engine.dispose()


run()
