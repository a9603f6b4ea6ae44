"""Uploading from a phone: what was typed, what it means, and every file that cannot be used."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import httpx2
import numpy as np
import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser, expect

from api.language import language
from api.pages.score_form import Typed, logged_of_form, made_of
from api.recordings import shared
from api.settings import Settings
from api.storage.moments import now
from reconcile.plan_text import read_plan
from tests.pages.served import PHONE, Served
from tests.pages.test_own_sheet import text_of
from tests.service.gym import (
    API,
    PLAN,
    START,
    GymUnderTest,
    make_class,
    open_gym,
    rower_csv,
    upload,
    watch_csv,
    zip_of,
)

BLOCK = "main"


@pytest.fixture
def gym(tmp_path: Path) -> Iterator[GymUnderTest]:
    with open_gym(Settings(data=tmp_path / "data", workers=0)) as found:
        yield found


def send(
    client: TestClient, class_id: str, *files: tuple[str, bytes], **fields: object
) -> httpx2.Response:
    """Send the form of the upload page."""
    return client.post(
        f"/classes/{class_id}/upload",
        data={name.replace("__", "."): value for name, value in fields.items()},
        files=[("files", file) for file in files] or None,
        follow_redirects=False,
    )


def kept(client: TestClient, class_id: str) -> dict[str, object]:
    """The one score row that stands."""
    (row,) = client.get(f"{API}/classes/{class_id}/scores").json()["items"]
    found: dict[str, object] = row
    return found


def test_rounds_and_file_go_in_together_and_the_own_sheet_is_next(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    answer = send(
        ada, class_id, ("row.csv", rower_csv(1)), source="rower", round__main=["6", "7", "6"],
        option__main="lighter", equipment__main="rower", load__main="12,5", notes__main="fine",
    )  # fmt: skip
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/classes/{class_id}?said=sent"
    row = kept(ada, class_id)
    assert (row["score"], row["rounds"], row["load_kg"]) == (19, [6, 7, 6], 12.5)
    assert (row["option"], row["equipment"], row["notes"]) == ("lighter", "rower", "fine")
    page = text_of(ada.get(f"/classes/{class_id}"))
    assert "19 logged" in page
    assert "Waiting to be worked out" in page
    assert "It is not worked out yet." in page
    gym.work()
    assert "19 logged, " in text_of(ada.get(f"/classes/{class_id}"))


@pytest.mark.parametrize(
    ("take", "rounds", "score"),
    [
        ("total", (6, 7, 6), 19),
        ("total", (0, 0, 0), 0),
        ("lowest", (6, 0, 5), 5),
        ("highest", (6, 7, 0), 7),
        ("mean", (6, 0, 8), 7),
        ("lowest", (0, 0), 0),
        ("mean", (), None),
    ],
)
def test_a_blank_score_is_what_the_rounds_make(
    take: str, rounds: tuple[float, ...], score: float | None
) -> None:
    assert made_of(rounds, take) == score  # type: ignore[arg-type]


@given(st.lists(st.floats(min_value=0.5, max_value=500), min_size=1, max_size=12))
def test_what_rounds_make_is_what_numpy_makes_of_them(rounds: list[float]) -> None:
    ways = {"total": np.sum, "lowest": np.min, "highest": np.max, "mean": np.mean}
    for take, way in ways.items():
        assert made_of(rounds, take) == pytest.approx(float(way(rounds)))  # type: ignore[arg-type, operator]


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("1:52", 112), ("112", 112), ("0:45,5", 45.5), ("1:02:00", 3720)],
)
def test_seconds_are_typed_as_people_read_them(typed: str, seconds: float) -> None:
    plan = read_plan(PLAN.replace("measure: calories, take: total", "measure: seconds, take: mean"))
    (row,) = logged_of_form(language("en_GB"), plan, {BLOCK: Typed(score=typed)}, "ada")
    assert row.score == seconds


def test_a_load_is_in_the_persons_own_unit(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    assert ada.post("/you/reading", data={"mass_unit": "lb"}, follow_redirects=False).is_redirect
    assert send(ada, class_id, score__main="19", load__main="44").status_code == 303
    assert kept(ada, class_id)["load_kg"] == pytest.approx(44 * 0.45359237, abs=0.005)  # NIST HB 44
    page = ada.get(f"/classes/{class_id}/upload").text
    assert "Load in lb" in page
    assert 'value="44"' in page


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("score__main", "nineteen", "Write a number, such as 57 or 12.5."),
        ("round__main", ["6", "x", "6"], "Write a number, such as 57 or 12.5."),
        ("score__main", "9999999", "That is more than can be logged."),
        ("score__main", "-3", "Write a number, such as 57 or 12.5."),
        ("load__main", "heavy", "Write a mass, such as 32 or 27.5."),
    ],
)
def test_what_is_no_number_is_told_at_its_field_and_nothing_is_lost(
    gym: GymUnderTest, field: str, value: object, said: str
) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    answer = send(ada, class_id, **{"notes__main": "kept words", field: value})
    assert answer.status_code == 422
    assert said in answer.text
    assert answer.text.count('aria-invalid="true"') == 1
    assert "kept words" in answer.text
    assert ada.get(f"{API}/classes/{class_id}/scores").json()["items"] == []


def test_nothing_sent_says_what_to_do(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    answer = send(ada, class_id)
    assert answer.status_code == 422
    assert "Nothing was sent: choose a file, or write down your score." in answer.text


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("talk.fit", b"hello", "save it as FIT, TCX, GPX or CSV"),
        ("nothing.fit", b"", "That file is empty"),
        ("plan.csv", b"time,heart rate (bpm)\n", "is it a plan or a summary?"),
        ("pictures.zip", zip_of({"beach.jpg": b"\xff\xd8\xff\xe0" * 20}), "cannot be"),
    ],
)
def test_a_file_that_cannot_be_used_says_why_and_the_score_is_kept(
    gym: GymUnderTest, name: str, data: bytes, said: str
) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    answer = send(ada, class_id, (name, data), score__main="19")
    assert answer.status_code == 422
    assert said in answer.text or "not a recording" in answer.text
    assert name in answer.text
    assert kept(ada, class_id)["score"] == 19


def test_the_same_file_again_says_that_it_is_here(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    for said in ("sent", "held"):
        answer = send(ada, class_id, ("row.csv", rower_csv(1)))
        assert answer.headers["location"].endswith(f"?said={said}")
    page = text_of(ada.get(f"/classes/{class_id}?said=held"))
    assert "That file was here already, so nothing changed." in page


def test_a_file_of_another_day_is_told_apart(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    data = watch_csv(1, start=START - timedelta(days=3))
    assert send(ada, class_id, ("run.csv", data)).status_code == 303
    gym.work()
    text = text_of(ada.get(f"/classes/{class_id}"))
    assert "It was recorded on 6 March 2026, and this class was on 9 March 2026" in text.replace(
        "March 6, 2026", "6 March 2026"
    ).replace("March 9, 2026", "9 March 2026")


def test_a_file_of_another_class_moves_there_with_one_click(gym: GymUnderTest) -> None:
    monday, ada, coach = make_class(gym), gym.client("ada"), gym.client("coach")
    thursday = make_class(gym)
    later = (START + timedelta(days=3)).isoformat()
    assert coach.patch(f"{API}/classes/{thursday}", json={"start": later}).is_success
    send(ada, thursday, ("row.csv", watch_csv(1)))
    gym.work()
    page = ada.get(f"/classes/{thursday}").text
    assert "Move it to Harbour steps" in page
    (file,) = ada.get(f"{API}/classes/{thursday}/recordings").json()["items"]
    answer = ada.post(
        f"/recordings/{file['id']}/move", data={"class_id": monday}, follow_redirects=False
    )
    assert answer.headers["location"] == f"/classes/{monday}?said=sent"
    assert ada.get(f"{API}/classes/{thursday}/recordings").json()["items"] == []
    (moved,) = ada.get(f"{API}/classes/{monday}/recordings").json()["items"]
    assert moved["sha256"] == file["sha256"]


def test_a_watch_without_a_heart_rate_says_so(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    lines = watch_csv(1).decode().splitlines()
    data = "\n".join([lines[0], *(line.split(",")[0] + ",0" for line in lines[1:])]).encode()
    assert send(ada, class_id, ("quiet.csv", data), source="watch").status_code in (303, 422)
    gym.work()
    text = text_of(ada.get(f"/classes/{class_id}"))
    assert "There is no heart rate in it" in text or "Nothing in it could be used" in text


def test_a_file_that_fits_somebody_else_names_nobody(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    sent = upload(gym.client("ada"), class_id, ("row.csv", rower_csv(1)))
    file = sent.json()["files"][0]["recording"]["file"]
    pin = {"file": file, "owner": "bo"}
    assert coach.post(f"{API}/classes/{class_id}/pins", json=pin).is_success
    gym.work()
    text = text_of(gym.client("ada").get(f"/classes/{class_id}"))
    assert "were devices swapped" in text
    assert "owner fixed by hand, by a coach" in text
    assert "Bo Testperson" not in text.partition("The class's scores")[0]


def test_a_file_of_another_machine_than_logged_asks_which(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    file = ("row.csv", rower_csv(1))
    send(ada, class_id, file, source="bike", score__main="19", equipment__main="rower")
    gym.work()
    text = text_of(ada.get(f"/classes/{class_id}"))
    assert "another machine logged than the one that recorded it?" in text


def test_a_coach_who_trains_logs_a_score_of_their_own(gym: GymUnderTest) -> None:
    class_id = make_class(gym, "ada", "coach")
    answer = send(gym.client("coach"), class_id, score__main="21")
    assert answer.headers["location"] == f"/classes/{class_id}/athletes/coach?said=sent"


# ---- handed over by another app


def share(client: TestClient, *files: tuple[str, bytes]) -> httpx2.Response:
    return client.post("/share", files=[("files", f) for f in files], follow_redirects=False)


def test_a_shared_file_goes_on_in_upload(gym: GymUnderTest) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    other = make_class(gym)
    assert share(ada, ("row.csv", rower_csv(1))).headers["location"] == "/share"
    page = ada.get("/share").text
    assert "row.csv" in page
    assert page.count("recorded around then") == 2
    assert f'href="/classes/{other}/upload"' in page
    assert (
        "Send what the other app handed over: row.csv"
        in ada.get(f"/classes/{class_id}/upload").text
    )
    assert send(ada, class_id, shared="yes", score__main="19").status_code == 303
    assert len(ada.get(f"{API}/classes/{class_id}/recordings").json()["items"]) == 1
    assert "has been sent already" in ada.get("/share").text


def test_what_is_handed_over_is_held_for_a_day_and_seen_by_nobody_else(
    gym: GymUnderTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    class_id, ada = make_class(gym), gym.client("ada")
    share(ada, ("row.csv", rower_csv(1)))
    assert "row.csv" not in gym.client("bo").get("/share").text
    assert "row.csv" not in gym.client("ada", visit=class_id).get("/share").text
    later = now() + timedelta(hours=25)
    monkeypatch.setattr(shared, "now", lambda: later)
    assert "row.csv" not in ada.get("/share").text
    assert list(gym.service.store.raw_names(shared.SHARED))
    shared.sweep_shared(gym.service)
    assert not list(gym.service.store.raw_names(shared.SHARED))


def test_what_is_handed_over_can_be_dropped_and_goes_with_its_owner(gym: GymUnderTest) -> None:
    make_class(gym)
    for leave in ("/share/drop", "/you/erasure"):
        ada = gym.client("ada")
        share(ada, ("row.csv", rower_csv(1)))
        assert ada.post(leave, data={"sure": "erase"}, follow_redirects=False).is_redirect
        assert not list(gym.service.store.raw_names(shared.SHARED))


def test_sharing_no_file_says_so(gym: GymUnderTest) -> None:
    answer = gym.client("ada").post("/share", data={"title": "a link"}, follow_redirects=False)
    assert answer.status_code == 422
    assert "share the recording itself" in answer.text


def test_the_manifest_is_as_the_share_target_specification_has_it(gym: GymUnderTest) -> None:
    """W3C Web Application Manifest and Web Share Target API Level 2, section 3."""
    answer = gym.client().get("/manifest.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    manifest = answer.json()
    target = manifest["share_target"]
    assert (target["method"], target["enctype"]) == ("POST", "multipart/form-data")
    assert target["action"].startswith(manifest["scope"])
    assert [entry["name"] for entry in target["params"]["files"]] == ["files"]
    assert all(kind[0] == "." or "/" in kind for kind in target["params"]["files"][0]["accept"])
    for icon in manifest["icons"]:
        found = gym.client().get(icon["src"])
        assert found.is_success
        assert found.headers["content-type"] == icon["type"]


# ---- with scripts


def test_what_the_rounds_make_is_shown_as_one_types(browser: Browser, served_class: Served) -> None:
    page = served_class.page(browser, "a03", PHONE)
    page.goto(served_class.url(f"/classes/{served_class.class_id}/upload"))
    orchard = page.locator("fieldset", has_text="orchard: calories")
    orchard.get_by_label("2", exact=True).fill("16,5")
    expect(orchard.locator("output")).to_have_text(": 94.5")
    gate = page.locator("fieldset", has_text="gate: metres")
    gate.get_by_label("4", exact=True).fill("320")
    expect(gate.locator("output")).to_have_text(": 320")
    page.context.close()


def test_a_refused_file_is_told_in_place_and_what_was_typed_stays(
    browser: Browser, served_class_to_change: Served, tmp_path: Path
) -> None:
    place = served_class_to_change
    page = place.page(browser, "a03", PHONE)
    page.goto(place.url(f"/classes/{place.class_id}/upload"))
    (tmp_path / "talk.fit").write_bytes(b"hello")
    page.locator("#files").set_input_files(tmp_path / "talk.fit")
    expect(page.locator(".chosen")).to_have_text("talk.fit, 1 kB")
    page.get_by_label("1", exact=True).first.fill("17")
    page.get_by_role("button", name="Send").click()
    told = page.locator(".said.wrong")
    expect(told).to_contain_text("talk.fit: That file is not a recording")
    expect(told).to_be_focused()
    expect(page.get_by_label("1", exact=True).first).to_have_value("17")
    expect(page.get_by_role("button", name="Send")).to_be_enabled()
    page.context.close()


def test_how_far_sending_is_is_told(
    browser: Browser, served_class_to_change: Served, tmp_path: Path
) -> None:
    place = served_class_to_change
    context = place.context(browser, "a03", PHONE)
    page = context.new_page()
    page.goto(place.url(f"/classes/{place.class_id}/upload"))
    (tmp_path / "row.csv").write_bytes(rower_csv(9, rounds=40))
    page.locator("#files").set_input_files(tmp_path / "row.csv")
    slow = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": 40_000}
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", slow)
    page.get_by_role("button", name="Send").click()
    expect(page.locator(".how-far")).to_contain_text("Sending: ")
    expect(page.get_by_role("progressbar", name="Sending")).to_be_visible()
    page.wait_for_url("**?said=sent")
    expect(page.get_by_role("status").first).to_have_text("That is in.")
    context.close()
