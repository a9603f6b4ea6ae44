"""A class from its plan to its result, over HTTP."""

from __future__ import annotations

import io
import json

import pyarrow.parquet as pq

from tests.service.gym import API, GymUnderTest, make_class, rower_csv, upload, watch_csv


def test_a_class_goes_from_its_plan_to_its_result(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    ada, coach = gym.client("ada"), gym.client("coach")
    sent = upload(ada, class_id, ("row.csv", rower_csv()), ("pulse.csv", watch_csv()))
    assert sent.status_code == 201, sent.text
    score = {"score": 19, "rounds": [6, 6, 7], "equipment": "rower", "notes": "paced it"}
    logged = ada.put(f"{API}/classes/{class_id}/scores/ada", json=score)
    assert logged.status_code == 200, logged.text
    assert ada.get(f"{API}/classes/{class_id}/state").json()["state"] == "waiting"
    assert ada.get(f"{API}/classes/{class_id}/result").status_code == 409
    gym.work()
    assert ada.get(f"{API}/classes/{class_id}/state").json()["state"] == "done"
    own = ada.get(f"{API}/classes/{class_id}/result").json()
    assert [entry["athlete"] for entry in own["athletes"]] == ["ada"]
    assert {r["status"] for r in own["athletes"][0]["recordings"]} == {"aligned"}
    whole = coach.get(f"{API}/classes/{class_id}/result")
    document = json.loads(whole.content)
    assert [entry["athlete"] for entry in document["athletes"]] == ["ada", "bo"]
    assert len(document["athletes"][0]["intervals"]) == 6
    table = pq.read_table(io.BytesIO(coach.get(f"{API}/classes/{class_id}/result.parquet").content))
    sheet = coach.get(f"{API}/classes/{class_id}/result.csv").text.splitlines()
    assert table.num_rows == len(sheet) - 1 == 12
