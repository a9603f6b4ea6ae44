"""The documents name what there is: commands, targets and settings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer.main

from api.command.main import app
from api.settings import Settings

COMMANDS = typer.main.get_command(app)


def command_names() -> list[str]:
    return sorted(getattr(COMMANDS, "commands"))  # noqa: B009  a group's own, unknown to its type


def text_of(repository: Path, *names: str) -> str:
    return "\n".join((repository / name).read_text("utf-8") for name in names)


@pytest.mark.parametrize("name", command_names())
def test_every_command_is_in_the_readme(repository: Path, name: str) -> None:
    readme = text_of(repository, "README.md")
    runs_it = f"intervouch {name}" in text_of(repository, "Makefile") and f"make {name}" in readme
    assert runs_it or f"intervouch {name}" in readme


def test_every_target_of_make_is_documented(repository: Path) -> None:
    makefile = text_of(repository, "Makefile")
    targets = re.findall(r"^([a-z-]+):.*?## ", makefile, re.MULTILINE)
    documents = text_of(repository, "README.md", "DEVELOPERS.md")
    assert targets
    assert [name for name in targets if f"make {name}" not in documents] == []
    for target in ("demo", "test"):
        assert f"make {target}" in text_of(repository, "README.md")


def test_every_setting_is_documented(repository: Path) -> None:
    sources = [*(repository / "tests").rglob("*.py"), *(repository / "api").rglob("*.py")]
    code = "\n".join(path.read_text("utf-8") for path in sources)
    settings = set(re.findall(r"INTERVOUCH_[A-Z_]*[A-Z]", code))
    settings |= {f"INTERVOUCH_{name.upper()}" for name in Settings.model_fields}
    documents = text_of(repository, "README.md", "DEVELOPERS.md", "docs/service.md")
    assert settings
    assert sorted(name for name in settings if name not in documents) == []


def test_every_file_that_a_document_points_at_is_there(repository: Path) -> None:
    for document in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#\s]+)", text_of(repository, document)):
            if "://" not in target and not target.startswith("mailto:"):
                assert (repository / target).exists(), f"{document} points at {target}"
