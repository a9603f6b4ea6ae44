"""What is declared is what is used, and the lock pins all of it without naming a registry."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Mapping
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import Any

import pytest

PACKAGES = ("api", "ingest", "reconcile")
OURS = {*PACKAGES, "tests", "conftest"}
# Declared and never imported: by whom they are used.
USED_BY_OTHERS = {
    "argon2-cffi": "imported as argon2",
    "python-multipart": "FastAPI reads forms and files with it",
    "psycopg": "SQLAlchemy's driver for PostgreSQL",
    "uvicorn": "serves the application",
}
PARTS = {"anyio", "pydantic", "starlette", "click"}  # what FastAPI and Typer are made of
TOOLS = {"hatchling", "import-linter", "mypy", "pytest-timeout", "ruff"}


def normal(name: str) -> str:
    """A project's name in its normal form (PyPA specification, name normalization)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def project_name(requirement: str) -> str:
    match = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert match is not None
    return normal(match.group())


@pytest.fixture(scope="module")
def declared(repository: Path) -> Mapping[str, set[str]]:
    data: dict[str, Any] = tomllib.loads((repository / "pyproject.toml").read_text("utf-8"))
    return {
        "runtime": {project_name(each) for each in data["project"]["dependencies"]},
        "dev": {project_name(each) for each in data["dependency-groups"]["dev"]},
    }


def imported_projects(folder: Path) -> set[str]:
    tops: set[str] = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                tops |= {name.name.split(".")[0] for name in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                tops.add((node.module or "").split(".")[0])
    projects = packages_distributions()
    others = tops - OURS - set(sys.stdlib_module_names)
    return {normal(name) for top in others for name in projects.get(top, [f"({top})"])}


def entries(lock: str) -> dict[str, list[str]]:
    """Requirement line to its hashes."""
    found: dict[str, list[str]] = {}
    for part in re.split(r"\n(?=\S)", lock.replace("\\\n", " ")):
        if part.strip():
            requirement, *hashes = part.split("--hash=")
            found[requirement.strip()] = [each.strip() for each in hashes]
    return found


@pytest.mark.parametrize("name", ["requirements.lock", "setup.lock"])
def test_every_pin_has_its_hashes_and_no_address(repository: Path, name: str) -> None:
    lock = (repository / name).read_text("utf-8")
    assert not re.search(r"https?://|index-url|find-links|file:|@ ", lock)
    pins = entries(lock)
    assert pins
    for requirement, hashes in pins.items():
        assert re.fullmatch(r"[a-z0-9-]+(\[[a-z,]+\])?==\S+( ;.*)?", requirement), requirement
        assert hashes, requirement
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", each) for each in hashes), requirement


def test_everything_declared_is_locked(repository: Path, declared: Mapping[str, set[str]]) -> None:
    lock = (repository / "requirements.lock").read_text("utf-8")
    locked = {project_name(requirement) for requirement in entries(lock)}
    assert declared["runtime"] | declared["dev"] <= locked


def test_what_the_packages_import_is_declared(
    repository: Path, declared: Mapping[str, set[str]]
) -> None:
    used = set.union(*(imported_projects(repository / each) for each in PACKAGES))
    assert used - declared["runtime"] - PARTS == set()


def test_what_the_tests_import_is_declared(
    repository: Path, declared: Mapping[str, set[str]]
) -> None:
    used = imported_projects(repository / "tests")
    assert used - declared["runtime"] - declared["dev"] - PARTS == set()


def test_what_is_declared_is_used(repository: Path, declared: Mapping[str, set[str]]) -> None:
    packages = set.union(*(imported_projects(repository / each) for each in PACKAGES))
    assert declared["runtime"] - packages - USED_BY_OTHERS.keys() == set()
    stubs = {
        name for name in declared["dev"] if name.startswith("types-") or name.endswith("-stubs")
    }
    assert declared["dev"] - imported_projects(repository / "tests") - TOOLS - stubs == set()
