"""What every test may ask for: real recordings, a browser, random numbers that can be repeated."""

from __future__ import annotations

import os
import shutil
import zlib
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import NoReturn

import hypothesis
import numpy as np
import pytest
from playwright.sync_api import Browser, sync_playwright

REPOSITORY = Path(__file__).resolve().parent.parent
SEED = int(os.environ.get("INTERVOUCH_TEST_SEED", "1"))
REQUIRE_ALL = bool(os.environ.get("INTERVOUCH_REQUIRE_ALL"))

hypothesis.settings.register_profile(
    "house",
    deadline=None,  # no test asserts wall-clock time
    print_blob=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("house")

seed_key = pytest.StashKey[int]()


def miss(part: str, remedy: str) -> NoReturn:
    """Skip for a missing part, or fail where INTERVOUCH_REQUIRE_ALL says that none may be."""
    message = f"{part} is missing: {remedy}"
    if REQUIRE_ALL:
        pytest.fail(f"{message} (INTERVOUCH_REQUIRE_ALL is set)")
    pytest.skip(message)


@pytest.fixture(scope="session")
def repository() -> Path:
    """The top folder of the project."""
    return REPOSITORY


@pytest.fixture(scope="session")
def recordings() -> Path:
    """Real recordings beside the repository; they are nobody's to install, so a skip stays one."""
    folder = REPOSITORY.parent / "shared" / "recordings"
    if not (folder / "manifest.yaml").is_file():
        pytest.skip("the real recordings are not here: ../shared/recordings has no manifest.yaml")
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """The path of the system's Chromium."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    miss("Chromium", "install the system's package, for instance `apt-get install chromium`")


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    """One browser for all tests: two that drive it from one thread cannot stand side by side."""
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def rng(request: pytest.FixtureRequest) -> np.random.Generator:
    """Random numbers of the test's own; INTERVOUCH_TEST_SEED=<number> makes other ones."""
    seed = zlib.crc32(request.node.nodeid.encode()) + SEED
    request.node.stash[seed_key] = seed
    return np.random.default_rng(seed)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Name the seed of a failing test, and how to run it again with another."""
    report = yield
    if report.failed and seed_key in item.stash:
        seed = item.stash[seed_key]
        report.sections.append(("seed", f"rng seed {seed}, from INTERVOUCH_TEST_SEED={SEED}"))
    return report
