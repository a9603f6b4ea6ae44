"""The service's answer for a class is the command line's for the same class as a folder."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from api.demo.folder import write_demo_folder
from api.folder import read_class_folder
from api.results.record import class_record, read_inputs
from api.settings import Settings
from reconcile.document import document_text
from reconcile.engine import reconcile_class
from reconcile.history import History
from reconcile.learning import learn
from tests.bench.simulator import simulate
from tests.service.database_server import drop_database, new_database
from tests.service.gym import API, GymUnderTest, open_gym, zip_of

# Seeds of no other use; small classes, for what is compared does not depend on their size.
SEEDS = range(7100, 7120)
PEOPLE = 2
STATED = {"stated": ["recordings", "original-files"]}


@pytest.fixture(scope="module")
def gyms(
    tmp_path_factory: pytest.TempPathFactory, postgres_server: str, postgres_template: str
) -> Iterator[list[GymUnderTest]]:
    """One gym on each database."""
    address = new_database(postgres_server, postgres_template)
    with (
        open_gym(Settings(data=tmp_path_factory.mktemp("sqlite"), workers=0)) as on_sqlite,
        open_gym(
            Settings(data=tmp_path_factory.mktemp("postgres"), database=address, workers=0)
        ) as on_postgresql,
    ):
        yield [on_sqlite, on_postgresql]
    drop_database(postgres_server, address)


def folder_zip(folder: Path) -> bytes:
    paths = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return zip_of({str(path.relative_to(folder)): path.read_bytes() for path in paths})


def take_in(gym: GymUnderTest, folder: Path) -> str:
    made = gym.client("coach").post(
        f"{API}/class-folders", files={"folder": ("class.zip", folder_zip(folder))}, data=STATED
    )
    assert made.status_code == 201, made.text
    class_id: str = made.json()["id"]
    return class_id


def exported(gym: GymUnderTest, class_id: str) -> bytes:
    answer = gym.client("coach").get(f"{API}/classes/{class_id}/folder")
    assert answer.status_code == 200, answer.text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert "left-out.csv" not in archive.namelist()
    return answer.content


def differences(one: Any, other: Any, path: str = "record") -> list[str]:
    """Where two values differ, arrays compared element by element with NaN equal to NaN."""
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return [] if np.array_equal(one, other, equal_nan=True) else [path]
    if type(one) is not type(other):
        return [f"{path}: {type(one).__name__}, {type(other).__name__}"]
    if is_dataclass(one):
        found = []
        for field in fields(one):
            if field.name != "device_mark":  # keyed by the gym
                pair = getattr(one, field.name), getattr(other, field.name)
                found += differences(*pair, f"{path}.{field.name}")
        return found
    if isinstance(one, (tuple, list)):
        if len(one) != len(other):
            return [f"{path}: {len(one)} and {len(other)} long"]
        return [
            text
            for number, pair in enumerate(zip(one, other, strict=True))
            for text in differences(*pair, f"{path}[{number}]")
        ]
    if isinstance(one, dict):
        if one.keys() != other.keys():
            return [f"{path}: {sorted(one)} and {sorted(other)}"]
        return [text for key in one for text in differences(one[key], other[key], f"{path}.{key}")]
    return [] if one == other else [f"{path}: {one!r} and {other!r}"]


def service_record(gym: GymUnderTest, class_id: str) -> Any:
    with gym.service.database.reading() as session:
        inputs = read_inputs(session, class_id)
    assert inputs is not None
    return class_record(gym.service, inputs)


def test_the_demo_gives_the_same_bytes_by_command_and_by_service(
    gyms: list[GymUnderTest], tmp_path: Path
) -> None:
    write_demo_folder(tmp_path / "demo")
    classes = [take_in(gym, tmp_path / "demo") for gym in gyms]
    out = [exported(gym, class_id) for gym, class_id in zip(gyms, classes, strict=True)]
    assert out[0] == out[1]
    with zipfile.ZipFile(io.BytesIO(out[0])) as archive:
        archive.extractall(tmp_path / "out")
    document = tmp_path / "class.json"
    command = [sys.executable, "-m", "api.command.main", "check", str(tmp_path / "out")]
    subprocess.run([*command, "--json", str(document)], check=True, capture_output=True)
    for gym, class_id in zip(gyms, classes, strict=True):
        gym.work()
        answer = gym.client("coach").get(f"{API}/classes/{class_id}/result")
        assert answer.content == document.read_bytes()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_simulated_class_gives_the_same_bytes_on_both_databases(
    gyms: list[GymUnderTest], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    monkeypatch.setattr(simulate, "draw_people", lambda _rng: PEOPLE)
    (tmp_path / "class").mkdir()
    simulate.simulate_class(seed, tmp_path / "class")
    classes = [take_in(gym, tmp_path / "class") for gym in gyms]
    out = [exported(gym, class_id) for gym, class_id in zip(gyms, classes, strict=True)]
    assert out[0] == out[1]
    with zipfile.ZipFile(io.BytesIO(out[0])) as archive:
        archive.extractall(tmp_path / "out")
    record = read_class_folder(tmp_path / "out")
    expected = document_text(reconcile_class(record))
    for gym, class_id in zip(gyms, classes, strict=True):
        for _ in ("decoded anew", "from the cache"):
            found = service_record(gym, class_id)
            unlike = differences(found, record)
            assert [text for text in unlike if not text.startswith("record.problems")] == []
        gym.work()
        answer = gym.client("coach").get(f"{API}/classes/{class_id}/result")
        assert answer.text == expected


def test_what_earlier_classes_taught_goes_in_and_out_with_the_class(
    gyms: list[GymUnderTest], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(simulate, "draw_people", lambda _rng: PEOPLE)
    (tmp_path / "class").mkdir()
    simulate.simulate_class(SEEDS[0], tmp_path / "class", "easy")
    record = read_class_folder(tmp_path / "class")
    taught = learn(History(), record, reconcile_class(record)).as_document()
    for athlete in taught["athletes"].values():  # as of an earlier day, with a device of each
        athlete["devices"] = [{"mark": "ab" * 16, "classes": ["2025-01-06T18:00:00Z"]}]
        for kind in ("own_lines", "powers", "hr_drops_60s"):
            for entry in athlete[kind]:
                entry["class"] = "2025-01-06T18:00:00Z"
    text = json.dumps(taught)
    (tmp_path / "class" / "history.json").write_text(text)
    gym = gyms[0]
    class_id = take_in(gym, tmp_path / "class")
    with zipfile.ZipFile(io.BytesIO(exported(gym, class_id))) as archive:
        archive.extractall(tmp_path / "out")
        assert json.loads(archive.read("history.json")) == taught
    gym.work()
    again = read_class_folder(tmp_path / "out")
    answer = gym.client("coach").get(f"{API}/classes/{class_id}/result")
    assert answer.text == document_text(reconcile_class(again))
    record = service_record(gym, class_id)
    assert "ab" * 16 not in json.dumps(record.history)  # keyed by the gym, as its recordings are
    assert (again.history == {}) is (taught["athletes"] == {})
