"""Repeated requests, conditional requests, pages of lists, answers to what is wrong."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import func, select

from api.storage.model import Audit, Recording
from tests.service.gym import API, PLAN, GymUnderTest, make_class, rower_csv, upload, zip_of


def test_the_same_key_is_one_action(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    key = {"Idempotency-Key": "plan-1"}
    first = coach.post(f"{API}/plans", json={"text": PLAN}, headers=key)
    again = coach.post(f"{API}/plans", json={"text": PLAN}, headers=key)
    assert (first.status_code, first.content) == (again.status_code, again.content)
    assert len(coach.get(f"{API}/plans").json()["items"]) == 1
    other = coach.post(f"{API}/plans", json={"text": PLAN + "\n"}, headers=key)
    assert (other.status_code, other.json()["code"]) == (422, "key_reused")
    gym.add("coach2", "coach")
    theirs = gym.client("coach2").post(f"{API}/plans", json={"text": PLAN}, headers=key)
    assert theirs.json()["id"] != first.json()["id"]


def test_the_same_key_at_once_is_one_action(gym: GymUnderTest) -> None:
    header = {"Idempotency-Key": "at-once", **gym.token("coach", "write")}

    def post(_: int) -> str:
        answer = gym.client().post(f"{API}/plans", json={"text": PLAN}, headers=header)
        assert answer.status_code == 201, answer.text
        return str(answer.json()["id"])

    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(post, range(8)))) == 1


def test_the_same_bytes_twice_are_one_recording(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    ada = gym.client("ada")
    first = upload(ada, class_id, ("row.csv", rower_csv()))
    again = upload(ada, class_id, ("another name.csv", rower_csv()))
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["files"][0]["outcome"] == "already there"
    with gym.service.database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Recording)) == 1


def test_the_same_bytes_from_two_athletes_are_one_machine_used_in_turns(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    upload(gym.client("ada"), class_id, ("row.csv", rower_csv()), source="rower")
    joined = upload(gym.client("bo"), class_id, ("row.csv", rower_csv()), source="rower")
    recording = joined.json()["files"][0]["recording"]
    assert recording["athletes"] == ["ada", "bo"]
    assert recording["file"].startswith("ada+bo.rower.")
    gym.work()
    own = gym.client("bo").delete(f"{API}/recordings/{recording['id']}")
    assert own.is_success
    left = gym.client("coach").get(f"{API}/recordings/{recording['id']}").json()
    assert left["athletes"] == ["ada"]


def test_files_sent_under_their_folder_names_keep_them(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    sent = upload(
        gym.client("coach"), class_id,
        ("ada.rower.csv", rower_csv(1)), ("unassigned.rower.1.csv", rower_csv(2)),
        ("bo.rower.csv", rower_csv(3)), ("whose is this.csv", rower_csv(4)),
    )  # fmt: skip
    rows = [outcome["recording"] for outcome in sent.json()["files"]]
    names = [(row["file"], row["athletes"]) for row in rows]
    assert names[:3] == [
        ("ada.rower.csv", ["ada"]), ("unassigned.rower.1.csv", []), ("bo.rower.csv", ["bo"]),
    ]  # fmt: skip
    assert names[3][0].startswith("unassigned.")
    stolen = upload(gym.client("ada"), class_id, ("bo.watch.csv", rower_csv(5)))
    assert stolen.json()["files"][0]["recording"]["athletes"] == ["ada"]


def test_a_result_that_one_has_is_not_sent_again(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    gym.work()
    for kind in ("coach", "ada"):
        client = gym.client(kind)
        for path in ("result", "result.csv", "result.parquet"):
            address = f"{API}/classes/{class_id}/{path}"
            first = client.get(address)
            again = client.get(address, headers={"If-None-Match": first.headers["etag"]})
            assert (again.status_code, again.content) == (304, b"")
    etag = gym.client("coach").get(f"{API}/classes/{class_id}/result").headers["etag"]
    upload(gym.client("ada"), class_id, ("row.csv", rower_csv()))
    gym.work()
    changed = gym.client("coach").get(
        f"{API}/classes/{class_id}/result", headers={"If-None-Match": etag}
    )
    assert changed.status_code == 200


def test_a_cursor_goes_through_a_list_once(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    for number in range(7):
        gym.add(f"p{number}", "athlete")
    coach = gym.client("coach")
    seen: list[str] = []
    cursor: str | None = None
    for _ in range(10):
        query = {"limit": "3"} | ({"cursor": cursor} if cursor else {})
        page = coach.get(f"{API}/people", params=query).json()
        seen += [item["handle"] for item in page["items"]]
        if seen == ["p6", "p5", "p4"]:
            gym.add("later", "athlete")  # what is added meanwhile moves nothing
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == ["p6", "p5", "p4", "p3", "p2", "p1", "p0", "bo", "ada", "coach", "owner"]
    for wrong in ("x", "W10", "e30", "WzFd"):
        answer = coach.get(f"{API}/people", params={"cursor": wrong})
        assert (answer.status_code, answer.json()["code"]) == (422, "bad_cursor")


BAD_FILES = {
    "empty": (b"", "empty"),
    "blank": (b"\n\n\n", "empty"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "unknown_format"),
    "words": (b"Dear coach, my watch was flat.\n", None),
    "an entity bomb": (
        (
            b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c"><!ENTITY d "&b;&b;">]>'
            b"<TrainingCenterDatabase><Activities>&d;</Activities></TrainingCenterDatabase>"
        ),
        "unsafe_markup",
    ),
    "a zip of words": (zip_of({"note.txt": b"nothing here"}), None),
    "a header without rows": (b"time,heart rate (bpm)\n", None),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_refused_upload_says_why_twice_and_stores_only_the_audit_line(
    sqlite_gym: GymUnderTest, name: str
) -> None:
    gym = sqlite_gym
    data, code = BAD_FILES[name]
    class_id = make_class(gym)
    files = sorted(path for path in gym.service.settings.data.rglob("*") if path.is_file())
    with gym.service.database.reading() as session:
        lines = session.scalar(select(func.count()).select_from(Audit)) or 0
    answer = upload(gym.client("ada"), class_id, ("pulse.fit", data))
    problem = answer.json()
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    if code is not None:
        assert problem["code"] == code
    (file,) = problem["files"]
    for said in (problem["detail"], file["detail"]):
        assert said.endswith((".", "?"))
        assert not any(word in said for word in ("byte", "offset", "parse", "null", "XML"))
    assert "pulse.fit" in file["developer"]
    assert files == sorted(p for p in gym.service.settings.data.rglob("*") if p.is_file())
    with gym.service.database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Recording)) == 0
        last = session.scalars(select(Audit).order_by(Audit.id.desc())).first()
        assert last is not None
        assert (last.action, last.detail["code"]) == ("upload.refuse", problem["code"])
        # One for the sign-in that the test's browser made, one for the refusal.
        assert session.scalar(select(func.count()).select_from(Audit)) == lines + 2
    assert gym.client("coach").get(f"{API}/classes/{class_id}/state").json()["state"] == "waiting"


def test_good_files_beside_bad_ones_are_kept(sqlite_gym: GymUnderTest) -> None:
    class_id = make_class(sqlite_gym)
    sent = upload(sqlite_gym.client("ada"), class_id, ("a.fit", b""), ("b.csv", rower_csv()))
    assert sent.status_code == 201
    assert [outcome["outcome"] for outcome in sent.json()["files"]] == ["refused", "stored"]


BAD_BODIES = {
    "not JSON": b"{",
    "NaN": b'{"score": NaN}',
    "infinity": b'{"score": Infinity}',
    "overflow": b'{"score": 1e999}',
    "false for a number": b'{"score": false}',
    "a number as text": b'{"score": "57"}',
    "an unknown member": b'{"score": 57, "heart": 1}',
    "a list": b"[]",
    "not UTF-8": b'{"notes": "\xff"}',
    "a lone surrogate": b'{"notes": "\\ud800"}',
    "deeply nested": b"[" * 5000 + b"]" * 5000,
}


@pytest.mark.parametrize("name", BAD_BODIES)
def test_a_bad_body_is_a_problem_with_a_place_and_without_the_value(
    sqlite_gym: GymUnderTest, name: str
) -> None:
    class_id = make_class(sqlite_gym)
    answer = sqlite_gym.client("ada").put(
        f"{API}/classes/{class_id}/scores/ada",
        content=BAD_BODIES[name],
        headers={"Content-Type": "application/json"},
    )
    assert answer.status_code in (400, 422), answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert "57" not in answer.text
    assert not any(
        isinstance(v, float) and not math.isfinite(v) for v in json.loads(answer.text).values()
    )


def test_a_plans_mistakes_come_back_with_their_lines(sqlite_gym: GymUnderTest) -> None:
    text = PLAN.replace("60s", "60").replace("measure: calories", "measure: calorie")
    answer = sqlite_gym.client("coach").post(f"{API}/plans", json={"text": text})
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, "bad_plan")
    places = [fault["where"] for fault in problem["errors"]]
    assert places[0].startswith("plan.yaml:7:")
    assert "3 places need a look" in problem["detail"]


def test_more_than_a_request_may_carry_is_refused(sqlite_gym: GymUnderTest) -> None:
    service = sqlite_gym.service
    class_id = make_class(sqlite_gym)
    big = b"x" * (service.settings.upload_bytes + 1)
    answer = upload(sqlite_gym.client("ada"), class_id, ("big.csv", big))
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"


def test_earlier_scores_and_plan_versions_are_kept(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    coach = gym.client("coach")
    path = f"{API}/classes/{class_id}/scores"
    for score in (20, 21, 21, 22):
        assert coach.put(f"{path}/ada", json={"score": score}).is_success
    assert [s["score"] for s in coach.get(path).json()["items"]] == [22]
    every = coach.get(path, params={"replaced": "true"}).json()["items"]
    assert [s["score"] for s in every] == [20, 21, 22]
    plan_id = coach.get(f"{API}/classes/{class_id}").json()["plan_id"]
    assert coach.put(f"{API}/plans/{plan_id}", json={"text": PLAN + "# later\n"}).is_success
    assert coach.get(f"{API}/plans/{plan_id}/versions/1").json()["text"] == PLAN
    assert coach.get(f"{API}/classes/{class_id}").json()["plan_version"] == 2
    upload(gym.client("ada"), class_id, ("row.csv", rower_csv()))
    assert coach.put(f"{API}/plans/{plan_id}", json={"text": PLAN}).json()["version"] == 3
    assert coach.get(f"{API}/classes/{class_id}").json()["plan_version"] == 2


@pytest.mark.parametrize("change", ["recording", "score", "pin", "plan version", "start", "roster"])
def test_what_a_result_rests_on_makes_it_stale(sqlite_gym: GymUnderTest, change: str) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    coach = gym.client("coach")
    sent = upload(coach, class_id, ("ada.rower.csv", rower_csv()))
    assert sent.is_success
    gym.work()
    base = f"{API}/classes/{class_id}"
    plan_id = coach.get(base).json()["plan_id"]
    assert coach.get(f"{base}/state").json()["state"] == "done"
    if change == "recording":
        assert upload(coach, class_id, ("bo.rower.csv", rower_csv(2))).is_success
    elif change == "score":
        assert coach.put(f"{base}/scores/ada", json={"score": 5}).is_success
    elif change == "pin":
        pin = {"file": "ada.rower.csv", "block": "main", "start_s": 2.5}
        assert coach.post(f"{base}/pins", json=pin).is_success
    elif change == "plan version":
        assert coach.put(f"{API}/plans/{plan_id}", json={"text": PLAN + "\n"}).is_success
        assert coach.patch(base, json={"plan_version": 2}).is_success
    elif change == "start":
        assert coach.patch(base, json={"start": "2026-03-09T18:31:00+01:00"}).is_success
    else:
        roster = {"athletes": [{"athlete": "ada", "mass_kg": 70.5}, {"athlete": "bo"}]}
        assert coach.put(f"{base}/roster", json=roster).is_success
    assert coach.get(f"{base}/state").json()["state"] == "waiting"
    gym.work()
    assert coach.get(f"{base}/state").json()["state"] == "done"
