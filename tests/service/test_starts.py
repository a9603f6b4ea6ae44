"""When blocks began: recorded by a clock, corrected by a coach, used by the engine."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from api.results.record import class_record, read_inputs
from api.storage.model import Audit, TrainingClass
from tests.service.gym import API, PLAN, START, GymUnderTest, make_class, upload

AT = START + timedelta(minutes=2, seconds=32)
TWO_BLOCKS = PLAN.replace("- name: main", "- {name: set-up, free: 4m..6m}\n  - name: main") + (
    "  - {name: finish, steps: [{work: 1m}]}\n"
)


def send(gym: GymUnderTest, class_id: str, starts: dict[str, Any], **more: Any) -> Any:
    return gym.client("coach").patch(
        f"{API}/classes/{class_id}/starts", json={"starts": starts, **more}
    )


def lines(gym: GymUnderTest) -> list[str]:
    with gym.service.database.reading() as session:
        return list(session.scalars(select(Audit.action).order_by(Audit.id)))


def two_blocks(gym: GymUnderTest) -> str:
    coach = gym.client("coach")
    plan = coach.post(f"{API}/plans", json={"text": TWO_BLOCKS}).json()
    made = coach.post(f"{API}/classes", json={"plan_id": plan["id"], "start": START.isoformat()})
    found: str = made.json()["id"]
    return found


def test_a_start_is_recorded_once_however_often_it_is_sent(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    first = send(gym, class_id, {"main": AT.isoformat()})
    assert first.status_code == 200, first.text
    assert datetime.fromisoformat(first.json()["starts"]["main"]) == AT
    assert first.json()["hand_starts"] == []
    with gym.service.database.reading() as session:
        version = session.get_one(TrainingClass, class_id).inputs_version
    assert send(gym, class_id, {"main": AT.isoformat()}).json() == first.json()
    with gym.service.database.reading() as session:
        assert session.get_one(TrainingClass, class_id).inputs_version == version
    assert lines(gym).count("starts.record") == 1


def test_two_screens_that_see_one_bell_a_little_apart_record_it_once(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    send(gym, class_id, {"main": AT.isoformat()})
    again = send(gym, class_id, {"main": (AT + timedelta(milliseconds=400)).isoformat()})
    assert datetime.fromisoformat(again.json()["starts"]["main"]) == AT
    assert lines(gym).count("starts.record") == 1
    later = AT + timedelta(milliseconds=1400)
    moved = send(gym, class_id, {"main": later.isoformat()})
    assert datetime.fromisoformat(moved.json()["starts"]["main"]) == later


def test_null_clears_one_and_leaves_the_others(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = two_blocks(gym)
    main, finish = START + timedelta(minutes=5), START + timedelta(minutes=11, seconds=2)
    send(gym, class_id, {"main": main.isoformat(), "finish": finish.isoformat()})
    left = send(gym, class_id, {"main": None}).json()["starts"]
    assert list(left) == ["finish"]
    assert send(gym, class_id, {"main": None}).json()["starts"] == left


@pytest.mark.parametrize(
    ("starts", "code"),
    [
        ({"set-up": AT.isoformat()}, "unknown_block"),  # off the clock: it has no bell
        ({"nowhere": None}, "unknown_block"),
        ({"main": (START + timedelta(hours=13)).isoformat()}, "other_day"),
        ({"main": "2026-03-09T18:41:32"}, "invalid"),  # no offset
        ({}, "invalid"),
    ],
)
def test_what_cannot_be_a_start_is_refused(
    sqlite_gym: GymUnderTest, starts: dict[str, Any], code: str
) -> None:
    answer = send(sqlite_gym, two_blocks(sqlite_gym), starts)
    assert (answer.status_code, answer.json()["code"]) == (422, code)


def test_what_a_coach_sets_is_told_from_what_the_clock_recorded(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = two_blocks(gym)
    main, finish = START + timedelta(minutes=5), START + timedelta(minutes=11, seconds=2)
    send(gym, class_id, {"main": main.isoformat(), "finish": finish.isoformat()})
    coach = gym.client("coach")
    page = coach.get(f"/classes/{class_id}/starts").text
    assert page.count("recorded by the clock") == 2
    text = main.strftime("%H:%M:%S")
    form = {"start-0": text, "start-1": "17:41:09"}
    assert coach.post(f"/classes/{class_id}/starts", data=form).status_code == 200
    found = coach.get(f"{API}/classes/{class_id}").json()
    assert found["hand_starts"] == ["finish"]
    assert datetime.fromisoformat(found["starts"]["main"]) == main
    coach.post(f"/classes/{class_id}/starts", data={"start-0": "", "start-1": "17:41:09"})
    assert list(coach.get(f"{API}/classes/{class_id}").json()["starts"]) == ["finish"]
    assert lines(gym).count("starts.set") == 2


def test_a_start_far_from_the_stated_one_moves_that(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = two_blocks(gym)
    late = START + timedelta(minutes=25)
    found = send(gym, class_id, {"main": late.isoformat()}).json()
    # The free block before it lasts 4 to 6 minutes: 5 in the middle.
    assert datetime.fromisoformat(found["start"]) == START + timedelta(minutes=20)
    near = send(gym, class_id, {"main": (late + timedelta(minutes=1)).isoformat()}).json()
    assert near["start"] == found["start"]


def test_a_class_with_a_recorded_start_keeps_its_version_of_the_plan(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    held, to_come = make_class(gym), make_class(gym)
    coach = gym.client("coach")
    plans = {each: coach.get(f"{API}/classes/{each}").json()["plan_id"] for each in (held, to_come)}
    send(gym, held, {"main": AT.isoformat()})
    for plan_id in plans.values():
        text = PLAN.replace("rounds: 3", "rounds: 4")
        assert coach.put(f"{API}/plans/{plan_id}", json={"text": text}).is_success
    assert coach.get(f"{API}/classes/{held}").json()["plan_version"] == 1
    assert coach.get(f"{API}/classes/{to_come}").json()["plan_version"] == 2


def test_another_version_keeps_the_starts_of_the_blocks_that_it_has(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = two_blocks(gym)
    main, finish = START + timedelta(minutes=5), START + timedelta(minutes=11, seconds=2)
    send(gym, class_id, {"main": main.isoformat(), "finish": finish.isoformat()})
    coach = gym.client("coach")
    plan_id = coach.get(f"{API}/classes/{class_id}").json()["plan_id"]
    text = TWO_BLOCKS.replace("finish", "last of all")
    assert coach.put(f"{API}/plans/{plan_id}", json={"text": text}).is_success
    moved = coach.patch(f"{API}/classes/{class_id}", json={"plan_version": 2}).json()
    assert list(moved["starts"]) == ["main"]


def even_heart(start: datetime) -> bytes:
    """A heart rate that says nothing of when anything began."""
    rows = [f"{(start + timedelta(seconds=s)).isoformat()},{121 + s % 3}" for s in range(900)]
    return "\n".join(["time,heart rate (bpm)", *rows]).encode()


def placed(gym: GymUnderTest, class_id: str) -> tuple[float, float]:
    """How sure the engine is of the place of the only recording, and when the block began on it."""
    gym.work()
    result = gym.client("coach").get(f"{API}/classes/{class_id}/result").json()
    (recording,) = result["athletes"][0]["recordings"]
    block = recording["blocks"][0]
    return block["probability"], block["start_s"]


def test_the_engine_gets_the_recorded_starts_and_need_not_guess(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym, "ada")
    sent = upload(gym.client("ada"), class_id, ("ada.csv", even_heart(START)), source="watch")
    assert sent.status_code == 201, sent.text
    guessed, _ = placed(gym, class_id)
    assert guessed < 0.5
    send(gym, class_id, {"main": AT.isoformat()})
    with gym.service.database.reading() as session:
        inputs = read_inputs(session, class_id)
        assert inputs is not None
        assert class_record(gym.service, inputs).starts == {"main": AT}
    known, start_s = placed(gym, class_id)
    assert known > 0.9
    assert start_s == pytest.approx((AT - START).total_seconds(), abs=2.0)
