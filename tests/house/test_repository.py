"""What is in the repository, and what is never."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

BINARY = {".png", ".jpg", ".ico", ".woff2"}


@pytest.fixture(scope="module")
def files(repository: Path) -> list[Path]:
    git = shutil.which("git")
    if git is None or not (repository / ".git").exists():
        pytest.skip("this is no git checkout, so what belongs to the repository is not known")
    listed = subprocess.run(
        [
            git,
            "-C",
            str(repository),
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ],
        capture_output=True,
        check=True,
    )
    paths = [repository / name for name in listed.stdout.decode().split("\0") if name]
    return [path for path in paths if path.is_file()]


def lines(files: list[Path]) -> Iterator[tuple[str, str]]:
    for path in files:
        if path.suffix not in BINARY:
            for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
                yield f"{path.name}:{number}", line


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("a path of one machine", r"(?<![\w.])/(home|root|Users|work)/\w"),
        ("a registry's host", r"pypi\.org|python[h]osted|registry\.npm[j]s|debian\.org/"),
        ("unfinished work", r"\b(T[O]DO|F[I]XME|X[X]X)\b|raise Not[I]mplementedError"),
        ("a test that is meant to fail", r"mark\.x[f]ail"),
    ],
)
def test_no_file_holds(files: list[Path], what: str, pattern: str) -> None:
    found = [place for place, line in lines(files) if re.search(pattern, line)]
    assert not found, f"{what}: {found}"


def test_no_recording_is_in_the_repository(files: list[Path]) -> None:
    ending = re.compile(r"\.(fit|tcx|gpx)(\.gz)?$", re.IGNORECASE)
    assert [path.name for path in files if ending.search(path.name)] == []


def test_no_file_is_large(files: list[Path]) -> None:
    assert [path.name for path in files if path.stat().st_size > 2**20] == []


def test_the_house_has_its_parts(repository: Path) -> None:
    for name in (
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml",
        "requirements.lock", ".ci/run", "ingest", "reconcile", "api", "tests",
    ):  # fmt: skip
        assert (repository / name).exists(), name


def test_continuous_integration_runs_the_test_command_and_nothing_else(repository: Path) -> None:
    script = (repository / ".ci" / "run").read_text("utf-8")
    assert script.rstrip().splitlines()[-2:] == ["export INTERVOUCH_REQUIRE_ALL=1", "make test"]
    assert os.access(repository / ".ci" / "run", os.X_OK)


def test_the_command_line_starts_without_the_engine(repository: Path) -> None:
    heavy = {"numpy", "scipy", "pandas", "fitparse", "fastapi", "sqlalchemy", "jinja2"}
    script = "import sys, api.command.main; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=repository, capture_output=True, text=True, check=True
    )
    assert heavy & set(done.stdout.split()) == set()


def test_the_engine_loads_no_package_that_takes_longer_than_a_class(repository: Path) -> None:
    script = "import sys, api.folder, reconcile.engine; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=repository, capture_output=True, text=True, check=True
    )
    assert {"scipy.signal", "scipy.stats", "pandas"} & set(done.stdout.split()) == set()


TWO_TESTS = """
def test_one(rng): assert rng.random() < 0
def test_two(rng): assert rng.random() < 2
"""


def test_a_failing_test_tells_the_seed_that_repeats_it(repository: Path, tmp_path: Path) -> None:
    (tmp_path / "conftest.py").write_text((repository / "tests/conftest.py").read_text("utf-8"))
    (tmp_path / "test_seeds.py").write_text(TWO_TESTS)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", str(tmp_path)],
        cwd=tmp_path,
        env={**os.environ, "INTERVOUCH_TEST_SEED": "7"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "1 failed, 1 passed" in done.stdout
    assert done.stdout.count("from INTERVOUCH_TEST_SEED=7") == 1


@pytest.mark.parametrize("required", [True, False])
def test_a_missing_part_skips_or_fails_as_the_setting_says(
    repository: Path, tmp_path: Path, required: bool
) -> None:
    (tmp_path / "conftest.py").write_text((repository / "tests/conftest.py").read_text("utf-8"))
    (tmp_path / "test_part.py").write_text("def test_it(chromium): pass\n")
    environment = {"PATH": str(tmp_path)} | ({"INTERVOUCH_REQUIRE_ALL": "1"} if required else {})
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-rsE", "-p", "no:cacheprovider", str(tmp_path)],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ("1 error" if required else "1 skipped") in done.stdout
    assert "apt-get install chromium" in done.stdout
