"""Arrows run api → reconcile → ingest's recording type and never back; reconcile only computes."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

# The standard library as far as computation needs it: nothing of files, clocks, networks,
# processes or chance. `datetime` is a type here; asking it for the time is looked for by name.
COMPUTATION = {
    "__future__", "abc", "bisect", "collections", "contextlib", "copy", "dataclasses", "datetime",
    "decimal", "difflib", "enum", "fractions", "functools", "heapq", "itertools", "json", "math",
    "numbers", "operator", "re", "statistics", "string", "textwrap", "types", "typing",
    "typing_extensions", "unicodedata", "warnings", "zoneinfo",
}  # fmt: skip
ALLOWED = COMPUTATION | {"numpy", "scipy", "ruamel", "ingest", "reconcile"}
NAMES_OF_THE_OUTSIDE = {
    "open", "input", "print", "now", "utcnow", "today", "load", "loadtxt", "genfromtxt", "fromfile",
    "tofile", "save", "savez", "savetxt", "memmap", "read_csv", "read_parquet", "to_csv",
    "to_parquet", "eval", "exec", "__import__",
}  # fmt: skip


def modules(repository: Path, package: str) -> Iterator[tuple[str, ast.Module]]:
    for path in sorted((repository / package).rglob("*.py")):
        yield str(path.relative_to(repository)), ast.parse(path.read_text("utf-8"))


def imported(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and full name of each module that is imported, anywhere in a file."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name
        elif isinstance(node, ast.ImportFrom):
            yield node.lineno, "." * node.level + (node.module or "")
            for name in node.names:
                yield node.lineno, f"{'.' * node.level}{node.module or ''}.{name.name}"


def called(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and last name of each call by name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            match node.func:
                case ast.Name(id=name) | ast.Attribute(attr=name):
                    yield node.lineno, name


def faults_of_reconcile(tree: ast.Module) -> list[str]:
    faults = []
    for line, name in imported(tree):
        top = name.split(".")[0]
        if top == "ingest" and not name.startswith("ingest.recording"):
            faults.append(f"{line}: imports {name}, not ingest.recording")
        elif top not in ALLOWED or name.startswith("numpy.random"):
            faults.append(f"{line}: imports {name}")
    names = [(line, name) for line, name in called(tree) if name in NAMES_OF_THE_OUTSIDE]
    return faults + [f"{line}: calls {name}" for line, name in names]


def faults_of_ingest(tree: ast.Module) -> list[str]:
    tops = {name.split(".")[0] for _, name in imported(tree)}
    return sorted(tops & {"api", "reconcile", "tests", "sqlalchemy", "fastapi", "rich", "typer"})


def faults_of_the_simulator(tree: ast.Module) -> list[str]:
    return [name for _, name in imported(tree) if name.split(".")[0] in ("reconcile", "api")]


def everything_in(repository: Path, package: str) -> list[tuple[str, ast.Module]]:
    found = list(modules(repository, package))
    assert found, f"{package}/ has no module"
    return found


def test_reconcile_reaches_nothing_outside_itself(repository: Path) -> None:
    faults = {
        path: faults
        for path, tree in everything_in(repository, "reconcile")
        if (faults := faults_of_reconcile(tree))
    }
    assert not faults


def test_ingest_knows_nothing_of_classes(repository: Path) -> None:
    faults = {
        path: faults
        for path, tree in everything_in(repository, "ingest")
        if (faults := faults_of_ingest(tree))
    }
    assert not faults


def test_the_simulator_shares_nothing_with_the_engine(repository: Path) -> None:
    faults = {
        path: faults
        for path, tree in everything_in(repository, "tests/bench/simulator")
        if (faults := faults_of_the_simulator(tree))
    }
    assert not faults


def test_no_package_imports_the_tests(repository: Path) -> None:
    for package in ("api", "reconcile", "ingest"):
        for path, tree in everything_in(repository, package):
            assert "tests" not in {name.split(".")[0] for _, name in imported(tree)}, path


@pytest.mark.parametrize(
    "source",
    [
        "import os",
        "from pathlib import Path",
        "def late():\n    import socket",
        "from ingest import read_file",
        "from ingest.readers.fit import read",
        "import api.folder",
        "from api import folder",
        "from .. import api",
        "import time",
        "import random",
        "from numpy.random import default_rng",
        "import sqlalchemy",
        "from datetime import datetime\ndatetime.now()",
        "open('x')",
        "import numpy as np\nnp.load('x')",
        "print('x')",
    ],
)
def test_what_reaches_outside_would_be_found(source: str) -> None:
    assert faults_of_reconcile(ast.parse(source))


@pytest.mark.parametrize(
    "source",
    ["import numpy as np", "from ingest.recording import Recording", "from reconcile import plan",
     "import json\njson.dumps({})", "from datetime import datetime\ndatetime.fromisoformat('')"],
)  # fmt: skip
def test_what_computes_is_let_through(source: str) -> None:
    assert not faults_of_reconcile(ast.parse(source))
