"""Services to test: on SQLite and on a real PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from api.people import passwords
from api.settings import Settings
from api.storage.database import migrate
from tests.conftest import miss
from tests.service.database_server import (
    REMEDY,
    NoServerError,
    drop_database,
    new_database,
    running_server,
)
from tests.service.gym import GymUnderTest, open_gym


@pytest.fixture(scope="session", autouse=True)
def quick_passwords() -> Iterator[None]:
    """Passwords hashed at the least cost; the real cost is what a test of its own looks at."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "HASHER", quick)
        patch.setattr(passwords, "NOBODY_HASH", quick.hash("nobody's password"))
        yield


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a server's own database."""
    try:
        with running_server() as address:
            yield address
    except NoServerError as error:
        miss(f"PostgreSQL ({error})", REMEDY)


@pytest.fixture(scope="session")
def postgres_template(postgres_server: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A database with all tables, to be copied."""
    address = new_database(postgres_server)
    migrate(Settings(data=tmp_path_factory.mktemp("template"), database=address))
    return address.rsplit("/", 1)[1]


@pytest.fixture
def postgres(postgres_server: str, postgres_template: str) -> Iterator[str]:
    """The address of a database with all tables and no row."""
    address = new_database(postgres_server, postgres_template)
    yield address
    drop_database(postgres_server, address)


@pytest.fixture(params=["sqlite", "postgresql"])
def settings(request: pytest.FixtureRequest, tmp_path: Path) -> Settings:
    """Settings of a fresh service, on each database in turn; the worker is the test's to run."""
    database = ""
    if request.param == "postgresql":
        database = request.getfixturevalue("postgres")
    return Settings(data=tmp_path / "data", database=database, workers=0)


@pytest.fixture
def gym(settings: Settings) -> Iterator[GymUnderTest]:
    """A gym with an owner, a coach and two athletes, on each database in turn."""
    with open_gym(settings) as found:
        yield found


@pytest.fixture
def sqlite_gym(tmp_path: Path) -> Iterator[GymUnderTest]:
    """The same on SQLite only, for what does not depend on the database."""
    with open_gym(Settings(data=tmp_path / "data", workers=0)) as found:
        yield found
