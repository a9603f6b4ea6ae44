"""Backups are whole, can be laid back while serving, and bring nobody back who was erased."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from sqlalchemy import select

from api.settings import Settings
from api.storage.model import Audit, Person, Recording
from api.transfer.backup import UnusableBackupError, back_up, lay_back, lay_key
from tests.service.gym import API, GymUnderTest, make_class, open_gym, rower_csv, upload


def test_a_backup_brings_everything_back(gym: GymUnderTest, tmp_path: Path) -> None:
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("ada.rower.csv", rower_csv()))
    gym.work()
    before = gym.client("coach").get(f"{API}/classes/{class_id}/result").content
    back_up(gym.service, tmp_path / "b.zip", with_key=True)
    assert gym.client("coach").delete(f"{API}/classes/{class_id}").is_success
    gym.add("later", "athlete")
    lay_back(gym.service, tmp_path / "b.zip")
    coach = gym.client("coach")
    assert coach.get(f"{API}/classes/{class_id}/result").content == before
    recording = coach.get(f"{API}/classes/{class_id}/recordings").json()["items"][0]
    mine = gym.client("ada").get(f"{API}/recordings/{recording['id']}/bytes")
    assert mine.content == rower_csv()
    with gym.service.database.reading() as session:
        assert session.scalar(select(Person).where(Person.handle == "later")) is None
        actions = set(session.scalars(select(Audit.action)))
    assert {"class.delete", "backup.restore"} <= actions  # the log forgets nothing


def test_a_backup_moves_from_sqlite_to_postgresql(
    sqlite_gym: GymUnderTest, postgres: str, tmp_path: Path
) -> None:
    class_id = make_class(sqlite_gym)
    upload(sqlite_gym.client("ada"), class_id, ("ada.rower.csv", rower_csv()))
    sqlite_gym.work()
    before = sqlite_gym.client("coach").get(f"{API}/classes/{class_id}/result").content
    back_up(sqlite_gym.service, tmp_path / "b.zip", with_key=True)
    settings = Settings(data=tmp_path / "new", database=postgres, workers=0)
    lay_key(settings, tmp_path / "b.zip")
    with open_gym(settings) as moved:
        lay_back(moved.service, tmp_path / "b.zip")
        moved.people = sqlite_gym.people
        coach = moved.client("coach")
        assert coach.get(f"{API}/classes/{class_id}/result").content == before
        assert coach.patch(f"{API}/classes/{class_id}", json={"place": "new"}).is_success
        moved.work()
        assert coach.get(f"{API}/classes/{class_id}/result").content == before


def test_a_backup_taken_while_serving_is_of_one_moment(
    sqlite_gym: GymUnderTest, tmp_path: Path
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    ada = gym.client("ada")
    stop = threading.Event()

    def keep_uploading() -> None:
        for seed in range(40):
            if not stop.is_set():
                assert upload(ada, class_id, ("r.csv", rower_csv(seed))).is_success

    writer = threading.Thread(target=keep_uploading)
    writer.start()
    try:
        for number in range(3):
            back_up(gym.service, tmp_path / f"{number}.zip", with_key=True)
    finally:
        stop.set()
        writer.join()
    for number in range(3):
        settings = Settings(data=tmp_path / f"new-{number}", workers=0)
        lay_key(settings, tmp_path / f"{number}.zip")
        with open_gym(settings) as laid:
            lay_back(laid.service, tmp_path / f"{number}.zip")
            with laid.service.database.reading() as session:
                rows = session.scalars(select(Recording)).all()
            for row in rows:
                assert laid.service.store.get(row.gym_id, "bytes", row.sha256)


def test_whoever_was_erased_stays_erased(gym: GymUnderTest, tmp_path: Path) -> None:
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("ada.rower.csv", rower_csv()))
    back_up(gym.service, tmp_path / "b.zip", with_key=False)
    ada = gym.people["ada"]
    assert gym.client("ada").delete(f"{API}/people/{ada}").is_success
    lay_back(gym.service, tmp_path / "b.zip")
    with gym.service.database.reading() as session:
        assert session.get(Person, ada) is None
        assert session.scalars(select(Recording)).all() == []
    assert list(gym.service.store.raw_names("bytes")) == []


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"words"])
def test_what_is_no_backup_is_refused(
    sqlite_gym: GymUnderTest, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "b.zip").write_bytes(content)
    with pytest.raises(UnusableBackupError, match="no backup"):
        lay_back(sqlite_gym.service, tmp_path / "b.zip")


def test_a_backup_of_another_key_is_refused(sqlite_gym: GymUnderTest, tmp_path: Path) -> None:
    back_up(sqlite_gym.service, tmp_path / "b.zip", with_key=True)
    with (
        open_gym(Settings(data=tmp_path / "other", workers=0)) as other,
        pytest.raises(UnusableBackupError, match="another key"),
    ):
        lay_back(other.service, tmp_path / "b.zip")
