"""The lines printed in docs/service.md do what they say, against a real server."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from api.demo.folder import write_demo_folder
from tests.service.soak import Running


def printed_lines(repository: Path) -> str:
    """The block of curl lines."""
    text = (repository / "docs" / "service.md").read_text("utf-8")
    blocks = re.findall(r"^```sh\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    (found,) = [block for block in blocks if "result.csv" in block]
    assert isinstance(found, str)
    return found


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_the_printed_lines_lead_from_the_demo_to_its_result(
    repository: Path, tmp_path: Path, request: pytest.FixtureRequest, database: str
) -> None:
    address = request.getfixturevalue("postgres") if database == "postgresql" else ""
    running = Running(tmp_path / "data", address)
    write_demo_folder(tmp_path / "demo-class" / "class")
    command = [sys.executable, "-m", "api.command.main", "gym", "create", "Quay Hall"]
    command += ["--owner", "Mara Lind", "--mail", "mara@quay.example", "--password-from-input"]
    subprocess.run(
        [*command, "--data", str(running.data)], check=True, input="a long password here\n",
        text=True, env=running.environment, cwd=repository,
    )  # fmt: skip
    try:
        running.start()
        lines = printed_lines(repository).replace("http://127.0.0.1:8000", running.address)
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", lines],
            check=False, capture_output=True, text=True, cwd=tmp_path,
        )  # fmt: skip
    finally:
        running.stop()
    assert done.returncode == 0, done.stderr
    assert "Your file is in." in done.stdout
    assert '"state": "done"' in done.stdout
    document = json.loads((tmp_path / "result.json").read_text("utf-8"))
    assert document["title"] == "Orchard sixes"
    assert len(document["athletes"]) == 10
