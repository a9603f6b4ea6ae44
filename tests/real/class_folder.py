"""A class folder made of real recordings, and what comes of it."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from api.folder import read_class_folder
from reconcile.document import class_document
from reconcile.engine import reconcile_class

COMMAND = "import sys; from api.command.main import main; sys.exit(main())"


def write_class(
    folder: Path, *, plan: str, start: datetime, recordings: Mapping[str, bytes]
) -> Path:
    """A class folder with these recordings; the athletes are those of the files' names."""
    inside = folder / "recordings"
    inside.mkdir(parents=True)
    for name, data in recordings.items():
        (inside / name).write_bytes(data)
    athletes = sorted({name.split(".")[0] for name in recordings} - {"unassigned"})
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    (folder / "class.yaml").write_text(
        f"plan: plan.yaml\nstart: {start.isoformat()}\n", encoding="utf-8"
    )
    (folder / "roster.csv").write_text("athlete\n" + "\n".join(athletes) + "\n", encoding="utf-8")
    (folder / "scores.csv").write_text("athlete,block,score\n", encoding="utf-8")
    return folder


def checked(folder: Path) -> dict[str, Any]:
    """The document that `intervouch check FOLDER --json FILE` writes, run as a command."""
    document = folder / "result.json"
    ran = subprocess.run(
        [sys.executable, "-c", COMMAND, "check", str(folder), "--json", str(document)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    loaded: dict[str, Any] = json.loads(document.read_text(encoding="utf-8"))
    return loaded


def reconciled(folder: Path) -> dict[str, Any]:
    """The same document without a process of its own."""
    return class_document(reconcile_class(read_class_folder(folder)))


def entry(document: Mapping[str, Any], file: str) -> dict[str, Any]:
    """One file's entry in the document."""
    (one,) = (
        recording
        for athlete in document["athletes"]
        for recording in athlete["recordings"]
        if recording["file"] == file
    )
    return dict(one)


def starts_of(document: Mapping[str, Any], file: str, block: str) -> list[dict[str, Any]]:
    """Where a block lies on a file, likeliest first."""
    return [placed for placed in entry(document, file)["blocks"] if placed["block"] == block]


def intervals(document: Mapping[str, Any], athlete: str, block: str) -> list[dict[str, Any]]:
    """An athlete's intervals of one block."""
    (own,) = (a for a in document["athletes"] if a["athlete"] == athlete)
    return [interval for interval in own["intervals"] if interval["block"] == block]
