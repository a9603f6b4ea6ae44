"""What a running service tells of itself, and what it does from time to time."""

from __future__ import annotations

import io
import json
import logging
import threading
from datetime import timedelta
from pathlib import Path

import pytest
from pydantic import SecretStr
from sqlalchemy import select, update

from api.logs import LineFormatter, redacted
from api.results import endpoints, reconcile
from api.results.tables import safe_cell
from api.settings import Settings
from api.storage.keys import UnusableKey, load_keys
from api.storage.model import Gym, Reconciliation, Recording, TrainingClass
from api.storage.moments import Moment, now
from api.work.upkeep import keep_up
from reconcile.engine import workings
from tests.service.gym import API, START, GymUnderTest, make_class, open_gym, rower_csv, upload


def test_health_and_the_description_answer_without_a_sign_in(gym: GymUnderTest) -> None:
    nobody = gym.client()
    assert nobody.get("/health").json() == {"status": "alive"}
    assert nobody.get("/ready").json() == {"status": "ready"}
    assert nobody.get("/openapi.json").json()["info"]["title"] == "intervouch"


def test_metrics_answer_this_machine_or_who_has_the_token(tmp_path: Path) -> None:
    settings = Settings(data=tmp_path, workers=0, metrics_token=SecretStr("let me count"))
    with open_gym(settings) as gym:
        class_id = make_class(gym)
        upload(gym.client("ada"), class_id, ("row.csv", rower_csv()))
        gym.work()
        assert gym.client().get("/metrics").status_code == 404  # the test's client is elsewhere
        header = {"Authorization": "Bearer let me count"}
        text = gym.client().get("/metrics", headers=header).text
    assert 'intervouch_uploads_total{outcome="stored"} 1.0' in text
    assert 'intervouch_reconciliations_total{outcome="done"} 1.0' in text
    assert class_id not in text


def test_progress_is_told_until_the_work_is_done(
    sqlite_gym: GymUnderTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(endpoints, "LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(reconcile, "PROGRESS_EVERY_S", 0.0)
    class_id = make_class(sqlite_gym)
    upload(sqlite_gym.client("ada"), class_id, ("row.csv", rower_csv()))
    worker = threading.Timer(0.2, sqlite_gym.work)
    worker.start()
    answer = sqlite_gym.client("ada").get(f"{API}/classes/{class_id}/progress")
    worker.join()
    assert answer.headers["content-type"].startswith("text/event-stream")
    events = [
        json.loads(line.removeprefix("data: "))
        for line in answer.text.splitlines()
        if line.startswith("data: ")
    ]
    states = [event["state"] for event in events]
    assert states[0] == "waiting"
    assert states[-1] == "done"
    assert "working" in states
    assert any(event["total"] > 0 for event in events)


def test_logs_name_routes_and_nothing_that_anybody_could_be_known_by(
    sqlite_gym: GymUnderTest,
) -> None:
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(LineFormatter())
    logger = logging.getLogger("intervouch.requests")
    logger.addHandler(handler)
    logger.setLevel("INFO")
    try:
        class_id = make_class(sqlite_gym)
        sqlite_gym.client().get(f"{API}/classes/{class_id}?mail=ada@gym.example")
    finally:
        logger.removeHandler(handler)
    lines = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert lines[-1]["route"].endswith("/classes/{class_id}")
    assert lines[-1]["status"] == 401
    assert class_id not in stream.getvalue()
    assert "ada" not in stream.getvalue()


def test_what_looks_like_a_secret_or_a_mail_is_left_out_of_a_log() -> None:
    assert redacted("sent to ada@gym.example by 01a2122d2ba655e280be918eb466743f today") == (
        "sent to [left out] by [left out] today"
    )


def test_recordings_past_the_gyms_retention_are_deleted(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("row.csv", rower_csv()))
    gym.work()
    with gym.service.database.writing() as session:
        session.get_one(Gym, gym.gym_id).retention_days = 30
    keep_up(gym.service)
    with gym.service.database.writing() as session:
        assert len(session.scalars(select(Recording)).all()) == 1
        session.execute(update(Recording).values(received_at=now() - timedelta(days=31)))
        session.execute(update(TrainingClass).values(start=now() - timedelta(days=31)))
    keep_up(gym.service)
    with gym.service.database.reading() as session:
        assert session.scalars(select(Recording)).all() == []
        documents = session.scalars(select(Reconciliation.document)).all()
        assert set(documents) == {None}
    assert list(gym.service.store.raw_names("bytes")) == []


def test_bytes_of_an_upload_that_was_cut_off_are_forgotten(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("row.csv", rower_csv()))
    gym.service.store.put(gym.gym_id, "bytes", "ff" * 32, b"cut off")
    keep_up(gym.service)
    assert len(list(gym.service.store.raw_names("bytes"))) == 1


def test_a_class_that_the_engine_cannot_work_out_says_so_and_is_tried_again_when_it_changes(
    sqlite_gym: GymUnderTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)

    def fail(*_: object) -> None:
        raise ZeroDivisionError("mass 63.25")

    with monkeypatch.context() as patch:
        patch.setattr(reconcile, "workings", fail)
        gym.work()
    state = gym.client("coach").get(f"{API}/classes/{class_id}/state").json()
    assert (state["state"], "63.25" in state["problem"]) == ("failed", False)
    gym.client("coach").put(f"{API}/classes/{class_id}/scores/ada", json={"score": 3})
    gym.work()
    assert gym.client("coach").get(f"{API}/classes/{class_id}/state").json()["state"] == "done"


def test_a_result_over_what_was_taken_away_meanwhile_is_not_kept(
    sqlite_gym: GymUnderTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    sent = upload(gym.client("ada"), class_id, ("ada.rower.csv", rower_csv()))
    recording = sent.json()["files"][0]["recording"]["id"]
    real = workings

    def delete_meanwhile(*arguments: object) -> object:
        gym.client("ada").delete(f"{API}/recordings/{recording}")
        return real(*arguments)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(reconcile, "workings", delete_meanwhile)
        reconcile.run_once(gym.service, class_id)
    assert gym.client("coach").get(f"{API}/classes/{class_id}/result").status_code == 409
    gym.work()
    text = gym.client("coach").get(f"{API}/classes/{class_id}/result").text
    assert "ada.rower.csv" not in text


def test_a_moment_without_an_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="no offset"):
        Moment().process_bind_param(START.replace(tzinfo=None), object())  # type: ignore[arg-type]


@pytest.mark.parametrize("key", ["xyz", "00", "0" * 63])
def test_an_unusable_key_stops_the_service_at_once(tmp_path: Path, key: str) -> None:
    with pytest.raises(UnusableKey, match="64 hexadecimal digits"):
        load_keys(Settings(data=tmp_path, key=SecretStr(key)))


def test_the_key_is_made_once_and_readable_by_its_owner_only(tmp_path: Path) -> None:
    first = load_keys(Settings(data=tmp_path))
    assert load_keys(Settings(data=tmp_path)).secret == first.secret
    assert (tmp_path / "key").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1"])
def test_text_that_a_spreadsheet_would_run_is_quoted_away(text: str) -> None:
    assert safe_cell(text) == f"'{text}"
    assert safe_cell(-1.5) == -1.5
