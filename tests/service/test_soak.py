"""Many uploads at once, and kill -9 at any moment: small here, at full size by `make soak`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.service.soak import Running, kill_again_and_again, upload_at_once


@pytest.fixture(params=["sqlite", "postgresql"])
def running(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Running]:
    """A service in its own processes, on each database in turn."""
    address = request.getfixturevalue("postgres") if request.param == "postgresql" else ""
    found = Running(tmp_path / "data", address)
    yield found
    found.stop()


def test_uploads_at_once_all_count_and_the_result_is_the_sequential_one(running: Running) -> None:
    upload_at_once(running, clients=16, files=2)


def test_nothing_acknowledged_is_lost_when_the_processes_are_killed(running: Running) -> None:
    kill_again_and_again(running, kills=2, seed=4)
