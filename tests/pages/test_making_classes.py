"""Classes made from plans, and who took part in them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.pages.served import DESK, PHONE, Served, served
from tests.service.gym import API


@pytest.fixture(scope="module")
def place(demo_data: Path) -> Iterator[Served]:
    with served(demo_data) as found:
        yield found


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize("screen", [PHONE, DESK])
def test_a_coach_makes_a_class_and_says_who_took_part(
    place: Served,
    browser: Browser,
    fits: Callable[[Page], None],
    screen: dict[str, int],
    scripts: bool,
) -> None:
    owner = place.gym.client("owner")
    assert owner.patch(f"{API}/gym", json={"time_zone": "America/St_Johns"}).is_success
    page = place.page(browser, "coach", screen, java_script_enabled=scripts)
    page.goto(place.url("/classes"))
    page.get_by_role("link", name="Make a class").click()
    page.get_by_label("Day").fill("2026-07-04")
    page.get_by_label("When the first block").fill("18:30")
    page.get_by_label("How far that may be out").select_option("20")
    page.get_by_label("Place").fill("north yard")
    fits(page)
    page.get_by_role("button", name="Make the class").click()
    page.wait_for_url(re.compile(r"/roster$"))
    page.get_by_label("Kofi Lund").check()
    page.get_by_label("Bea Hart").check()
    visitor = f"Wim van Drift {screen['width']} {scripts}"
    page.get_by_label("Others, one name a line").fill(f"{visitor}\nruna fjell\n")
    fits(page)
    page.get_by_role("button", name="Keep").click()
    page.wait_for_url(re.compile(r"/classes/[0-9a-f]{32}\?said=kept"))
    class_id = re.findall(r"[0-9a-f]{32}", page.url)[0]
    coach = place.gym.client("coach")
    found = coach.get(f"{API}/classes/{class_id}").json()
    # Newfoundland: half an hour off, and an hour more in summer (IANA time zone database).
    assert found["start"] == "2026-07-04T18:30:00-02:30"
    assert (found["start_tolerance_s"], found["place"]) == (1200.0, "north yard")
    roster = coach.get(f"{API}/classes/{class_id}/roster").json()["athletes"]
    assert {row["name"] for row in roster} == {"Kofi Lund", "Bea Hart", "Runa Fjell", visitor}
    page.context.close()


def test_the_next_class_is_on_top_and_the_earlier_ones_follow(place: Served) -> None:
    coach = place.gym.client("coach")
    plan = coach.get(f"{API}/plans").json()["items"][-1]
    for days in (9, 2, -3):
        start = (datetime.now(UTC) + timedelta(days=days)).isoformat()
        body = {"plan_id": plan["id"], "start": start, "place": f"in {days} days"}
        assert coach.post(f"{API}/classes", json=body).is_success
    text = coach.get("/classes").text
    coming, before = text.split("<h2>Before</h2>")
    assert coming.index("in 2 days") < coming.index("in 9 days")
    assert "in -3 days" in before


def test_many_classes_come_page_by_page_and_none_twice(
    place: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    from api.pages import classes_page

    monkeypatch.setattr(classes_page, "AT_ONCE", 2)
    coach = place.gym.client("coach")
    plan = coach.get(f"{API}/plans").json()["items"][-1]
    for number in range(5):  # at one and the same time
        body = {"plan_id": plan["id"], "start": "2026-01-05T18:00:00Z", "place": f"hall {number}"}
        assert coach.post(f"{API}/classes", json=body).is_success
    seen: list[str] = []
    address = "/classes"
    while address:
        text = coach.get(address).text
        seen += re.findall(r"hall \d", text)
        following = re.search(r'href="(/classes\?before=[0-9a-f]{32})"', text)
        address = following[1] if following else ""
    assert sorted(seen) == [f"hall {number}" for number in range(5)]


def test_the_people_of_an_earlier_class_come_along(place: Served) -> None:
    coach = place.gym.client("coach")
    plan = coach.get(f"{API}/plans").json()["items"][-1]["id"]
    form = {"plan_id": plan, "day": "2026-08-01", "time": "07:00", "same_people": place.class_id}
    made = coach.post("/classes", data=form, follow_redirects=False)
    assert made.status_code == 303
    address = f"{API}{made.headers['location']}"
    names = [row["name"] for row in coach.get(address).json()["athletes"]]
    earlier = coach.get(f"{API}/classes/{place.class_id}/roster").json()["athletes"]
    assert sorted(names) == sorted(row["name"] for row in earlier)


def test_whoever_stays_keeps_the_figures_of_the_day(place: Served) -> None:
    coach = place.gym.client("coach")
    before = coach.get(f"{API}/classes/{place.class_id}/roster").json()["athletes"]
    handles = [row["athlete"] for row in before]
    kept = coach.post(f"/classes/{place.class_id}/roster", data={"athlete": handles})
    assert kept.status_code == 200
    assert coach.get(f"{API}/classes/{place.class_id}/roster").json()["athletes"] == before


def test_somebody_with_scores_cannot_be_left_out_unnoticed(place: Served) -> None:
    coach = place.gym.client("coach")
    rows = coach.get(f"{API}/classes/{place.class_id}/roster").json()["athletes"]
    handles = [row["athlete"] for row in rows if row["athlete"] != place.athlete]
    answer = coach.post(
        f"/classes/{place.class_id}/roster", data={"athlete": handles, "names": "Nova Person"}
    )
    assert answer.status_code == 422
    assert "has uploaded or logged something" in answer.text
    assert "Nova Person</textarea>" in answer.text
    people = coach.get(f"{API}/people?limit=200").json()["items"]
    assert "Nova Person" not in {person["name"] for person in people}  # whole or not at all


@pytest.mark.parametrize(
    ("day", "time"),
    [("x", "x"), ("2026-13-01", "18:30"), ("2026-03-09", "25:00"), ("0001-01-01", "18:30")],
)
def test_what_is_no_time_is_refused(place: Served, day: str, time: str) -> None:
    coach = place.gym.client("coach")
    plan = coach.get(f"{API}/plans").json()["items"][-1]["id"]
    answer = coach.post("/classes", data={"plan_id": plan, "day": day, "time": time})
    assert answer.status_code == 422
    assert "Write a day and a time" in answer.text


def test_a_name_is_found_in_a_long_list(place: Served, browser: Browser) -> None:
    for number in range(14):
        place.gym.add(f"more{number}", "athlete")
    page = place.page(browser, "coach")
    page.goto(place.url(f"/classes/{place.class_id}/roster"))
    page.get_by_label("Find a name").fill("more1 ")
    assert page.get_by_label("More1 Testperson").is_visible()
    assert not page.get_by_label("More2 Testperson").is_visible()
    assert page.get_by_label("Runa Fjell").is_visible()  # ticked
    page.context.close()
