"""Consent, secrecy at rest, export and erasure."""

from __future__ import annotations

import io
import json
import logging
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import MetaData, select, text
from sqlalchemy.exc import DBAPIError

from api.logs import LineFormatter
from api.people.erasure import without
from api.recordings.columns import KIND, decoded, read_private
from api.recordings.service import BYTES
from api.storage.keys import SealBroken
from api.storage.model import Recording
from api.storage.store import BytesMissing
from ingest.reading import FileReading
from ingest.recording import Lap
from ingest.recording import Recording as Decoded
from ingest.writers.fit import write_fit
from tests.service.gym import API, START, GymUnderTest, make_class, rower_csv, upload, watch_csv

SERIAL = 3141592653


def result_of(gym: GymUnderTest, class_id: str) -> dict[str, object]:
    gym.work()
    answer = gym.client("coach").get(f"{API}/classes/{class_id}/result")
    assert answer.status_code == 200, answer.text
    found: dict[str, object] = answer.json()
    return found


def files_of(document: object, handle: str) -> list[str]:
    assert isinstance(document, dict)
    entry = next(e for e in document["athletes"] if e["athlete"] == handle)
    return [recording["file"] for recording in entry["recordings"]]


def test_nothing_is_taken_from_an_athlete_who_has_not_agreed(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    gym.add("dag", "athlete", agrees=False)
    class_id = make_class(gym, "ada", "dag")
    dag = gym.client("dag")
    refused = upload(dag, class_id, ("row.csv", rower_csv()))
    assert (refused.status_code, refused.json()["code"]) == (403, "consent_needed")
    assert upload(gym.client("coach"), class_id, ("r.csv", rower_csv()), athlete="dag").is_success
    say_no = {"agreed": False, "version": 1}
    assert dag.put(f"{API}/me/consents/recordings", json=say_no).is_success
    again = upload(gym.client("coach"), class_id, ("r.csv", rower_csv(1)), athlete="dag")
    assert (again.status_code, again.json()["code"]) == (403, "consent_needed")


def test_what_was_agreed_to_can_be_withdrawn_and_given_again(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    ada = gym.client("ada")
    assert upload(ada, class_id, ("row.csv", rower_csv())).is_success
    assert len(files_of(result_of(gym, class_id), "ada")) == 1
    for agreed, count in ((False, 0), (True, 1)):
        answer = {"agreed": agreed, "version": 1}
        assert ada.put(f"{API}/me/consents/recordings", json=answer).is_success
        if not agreed:  # at once: the result that rested on the files is gone
            result = gym.client("coach").get(f"{API}/classes/{class_id}/result")
            assert result.status_code == 409
        assert len(files_of(result_of(gym, class_id), "ada")) == count
    items = {i["purpose"]: i for i in ada.get(f"{API}/me/consents").json()["items"]}
    assert items["recordings"]["agreed"] is True
    assert all(len(item["words"]) > 80 for item in items.values())


def test_an_answer_to_other_words_does_not_count(sqlite_gym: GymUnderTest) -> None:
    ada = sqlite_gym.client("ada")
    answer = ada.put(f"{API}/me/consents/recordings", json={"agreed": True, "version": 2})
    assert (answer.status_code, answer.json()["code"]) == (422, "other_version")


def test_uploaded_bytes_and_decoded_columns_are_sealed_at_rest(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    data = watch_csv()
    upload(gym.client("ada"), class_id, ("pulse.csv", data))
    gym.work()
    files = [path for path in gym.service.settings.data.rglob("*") if path.is_file()]
    stored = [path for path in files if "store" in path.parts]
    assert len(stored) == 2
    for path in files:
        content = path.read_bytes()
        assert data[:200] not in content
        assert b"heart_rate_bpm" not in content
        assert b"PAR1" not in content


def test_sealed_bytes_cannot_be_moved_changed_or_read_with_another_key(
    sqlite_gym: GymUnderTest,
) -> None:
    store = sqlite_gym.service.store
    store.put("gym", BYTES, "aa11", b"pulse")
    assert store.get("gym", BYTES, "aa11") == b"pulse"
    sealed = store.raw_get("bytes/gym/aa/aa11")
    store.raw_put("bytes/gym/aa/aa22", sealed)
    store.raw_put("bytes/other/aa/aa11", sealed)
    store.raw_put("bytes/gym/aa/aa33", sealed[:-1] + bytes([sealed[-1] ^ 1]))
    for gym_id, name in (("gym", "aa22"), ("other", "aa11"), ("gym", "aa33")):
        with pytest.raises(SealBroken):
            store.get(gym_id, BYTES, name)
    with pytest.raises(BytesMissing):
        store.get("gym", BYTES, "ff")


def test_decoded_columns_hold_no_serial_and_the_gyms_mark_means_nothing_elsewhere(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("w.fit", fit_with_serial()))
    gym.work()
    with gym.service.database.reading() as session:
        row = session.scalars(select(Recording)).one()
    cache = gym.service.store.get(row.gym_id, KIND, row.id)
    marks = (str(SERIAL).encode(), SERIAL.to_bytes(4, "little"), SERIAL.to_bytes(4, "big"))
    assert not any(mark in cache for mark in marks)
    (reading,) = decoded(
        gym.service.store, gym_id=row.gym_id, recording_id=row.id, sha256=row.sha256, file=row.file
    )
    (here,) = decoded_elsewhere(gym, row)
    assert reading.recording is not None
    assert here.recording is not None
    if reading.recording.device_mark is not None:
        assert reading.recording.device_mark != here.recording.device_mark


def decoded_elsewhere(gym: GymUnderTest, row: Recording) -> tuple[FileReading, ...]:
    data = gym.service.store.get(row.gym_id, BYTES, row.sha256)
    return read_private(gym.service.keys, "another gym", data, row.file)


def fit_with_serial() -> bytes:
    time = np.arange(420.0)
    recording = Decoded(
        format="fit",
        device="watch",
        start=None,
        sample_count=420,
        time_s=time,
        heart_rate_bpm=100 + 20 * np.sin(time / 20),
        laps=(Lap(0.0, 60.0),),
    )
    return write_fit(replace(recording, start=START))


def test_a_coachs_export_leaves_out_files_whose_owner_has_not_agreed(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    for name in ("ada", "bo"):
        upload(gym.client(name), class_id, (f"{name}.rower.csv", rower_csv(len(name))))
    no = {"agreed": False, "version": 1}
    assert gym.client("bo").put(f"{API}/me/consents/original-files", json=no).is_success
    answer = gym.client("coach").get(f"{API}/classes/{class_id}/folder")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        names = archive.namelist()
        assert "recordings/ada.rower.csv" in names
        assert "recordings/bo.rower.csv" not in names
        assert "bo.rower.csv" in archive.read("left-out.csv").decode()


def test_a_person_gets_everything_that_is_kept_of_them(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    ada = gym.client("ada")
    data = rower_csv(3)
    upload(ada, class_id, ("ada.rower.csv", data))
    ada.put(f"{API}/classes/{class_id}/scores/ada", json={"score": 20, "notes": "mine"})
    ada.put(f"{API}/classes/{class_id}/scores/ada", json={"score": 21, "notes": "mine"})
    gym.work()
    answer = ada.get(f"{API}/people/{gym.people['ada']}/export")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.read(f"recordings/{class_id}/ada.rower.csv") == data
        assert [s["score"] for s in json.loads(archive.read("scores.json"))] == [20, 21]
        result = json.loads(archive.read(f"results/{class_id}.json"))
        assert [entry["athlete"] for entry in result["athletes"]] == ["ada"]
        assert len(json.loads(archive.read("consents.json"))) == 3
        assert b"Bo Testperson" not in b"".join(archive.read(n) for n in archive.namelist())


def everything_kept(gym: GymUnderTest) -> dict[str, bytes]:
    """Every table and every file of a service, as bytes to search."""
    found = {}
    metadata = MetaData()
    metadata.reflect(gym.service.database.engine)
    with gym.service.database.reading() as session:
        for table in metadata.sorted_tables:
            rows = session.execute(select(table)).all()
            found[f"table {table.name}"] = repr(rows).encode()
    for path in gym.service.settings.data.rglob("*"):
        if path.is_file():
            found[f"file {path.name}"] = path.read_bytes()
    return found


def test_after_erasure_no_table_file_cache_or_log_holds_a_mark_of_the_person(
    gym: GymUnderTest, tmp_path: Path
) -> None:
    log = tmp_path / "log"
    handler = logging.FileHandler(log)
    handler.setFormatter(LineFormatter())
    handler.addFilter(lambda record: record.name != "httpx2")  # the test's own client
    logging.getLogger().addHandler(handler)
    logging.getLogger().setLevel("INFO")
    try:
        marks = erase_somebody(gym)
    finally:
        logging.getLogger().removeHandler(handler)
        handler.close()
        logging.getLogger().setLevel("WARNING")
    kept = everything_kept(gym) | {"log": log.read_bytes()}
    left = {
        (name, place)
        for name, mark in marks.items()
        for place, content in kept.items()
        if mark in content
    }
    assert left == set()
    lines = gym.client("owner").get(f"{API}/audit").json()["items"]
    assert "person.erase" in {line["action"] for line in lines}


def erase_somebody(gym: GymUnderTest) -> dict[str, bytes]:
    """Let somebody use everything, then erase them; gives what may not be found again."""
    coach = gym.client("coach")
    new = {
        "name": "Eskil Quistorp",
        "handle": "zq-eskil",
        "mass_kg": 83.375,
        "mail": "eq@x.example",
    }
    person_id = coach.post(f"{API}/people", json=new, headers={"Idempotency-Key": "k1"}).json()[
        "id"
    ]
    gym.people["eskil"] = person_id
    class_id = make_class(gym, "ada", "zq-eskil")
    eskil = gym.client("eskil")
    for purpose in ("recordings", "class-table", "original-files"):
        assert eskil.put(
            f"{API}/me/consents/{purpose}", json={"agreed": True, "version": 1}
        ).is_success
    own, shared = rower_csv(11), rower_csv(12)
    mine = upload(eskil, class_id, ("row.csv", own)).json()["files"][0]["recording"]
    upload(eskil, class_id, ("zq-eskil.watch.csv", watch_csv(13)))
    upload(eskil, class_id, ("shared.csv", shared))
    joined = upload(gym.client("ada"), class_id, ("shared.csv", shared))
    assert joined.json()["files"][0]["recording"]["athletes"] == ["zq-eskil", "ada"]
    score = {"score": 4711.25, "notes": "quokka pace"}
    assert eskil.put(f"{API}/classes/{class_id}/scores/zq-eskil", json=score).is_success
    pin = {"file": mine["file"], "owner": "zq-eskil"}
    assert coach.post(f"{API}/classes/{class_id}/pins", json=pin).is_success
    settled = {
        "athlete": "zq-eskil", "block": "main", "outcome": "stands", "reason": "zanzibar reason",
    }  # fmt: skip
    assert coach.post(f"{API}/classes/{class_id}/decisions", json=settled).is_success
    link = coach.post(f"{API}/people/{person_id}/links").json()["url"].rsplit("/", 1)[1]
    token = eskil.post(f"{API}/tokens", json={"name": "eskils board"}).json()["secret"]
    wrong = {"mail": "eq@x.example", "password": "wrong"}
    assert gym.client().post(f"{API}/sign-in", json=wrong).status_code == 401
    assert "zq-eskil" in json.dumps(result_of(gym, class_id))
    assert gym.client("owner").delete(f"{API}/people/{person_id}").is_success
    gym.work()
    assert gym.client("coach").get(f"{API}/people/{person_id}").status_code == 404
    assert eskil.get(f"{API}/me").status_code == 401
    document = gym.client("coach").get(f"{API}/classes/{class_id}/result").json()
    assert [entry["athlete"] for entry in document["athletes"]] == ["ada"]
    return {
        "name": b"Quistorp", "handle": b"zq-eskil", "mail": b"eq@x.example",
        "mass": b"83.375", "score": b"4711.25", "notes": b"quokka", "reason": b"zanzibar",
        "link": link.encode(), "token": token.encode(), "token name": b"eskils board",
        "person": person_id.encode(), "recording": mine["id"].encode(),
        "address of the bytes": mine["sha256"].encode(), "bytes": own[60:160],
    }  # fmt: skip


def test_what_others_and_history_say_of_an_erased_athlete_goes_too() -> None:
    history = {
        "lines": {"a01": [1], "a02": [2]},
        "records": [{"athlete": "a02"}, {"athlete": "a1"}],
    }
    assert without(history, "a02") == {"lines": {"a01": [1]}, "records": [{"athlete": "a1"}]}


def test_the_last_owner_stays(sqlite_gym: GymUnderTest) -> None:
    owner = sqlite_gym.client("owner")
    path = f"{API}/people/{sqlite_gym.people['owner']}"
    assert owner.delete(path).json()["code"] == "last_owner"
    roles = {"roles": ["athlete"]}
    assert owner.put(f"{path}/roles", json=roles).json()["code"] == "last_owner"


def test_the_audit_log_cannot_be_changed(gym: GymUnderTest) -> None:
    make_class(gym)
    for change in ("UPDATE audit SET action = 'x'", "DELETE FROM audit"):
        with pytest.raises(DBAPIError), gym.service.database.writing() as session:
            session.execute(text(change))
