"""The clock for the gym's screen: what it shows, that it lasts, and what it records."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect

from tests.pages import slipway
from tests.pages.served import PHONE, Served, opened, served
from tests.service.database_server import free_port
from tests.service.gym import API, GymUnderTest

PLAN = slipway.PLAN.replace("load_lb: {men: 40, women: 25}", "load_kg: {men: 18, women: 12}")


ONE_BLOCK = """\
title: Slipway lifts
blocks:
  - name: lift
    rounds: 2
    steps:
      - {work: 1m, tasks: [{movement: stone lift, reps: 5}]}
      - {rest: 1m}
"""
# What the contract asks of starts that a clock records.
TRUE_TO = timedelta(seconds=2)
# How long a busy machine may take.
PATIENCE_MS = 30_000
AGES_AGO = datetime(2000, 1, 1, tzinfo=UTC)

Starts = dict[str, datetime]


@pytest.fixture(scope="module")
def place(demo_data: Path) -> Iterator[Served]:
    """A server that nobody works behind: no class here has recordings."""
    with served(demo_data) as found:
        yield found


def class_at(place: Served, start: datetime, plan: str = PLAN) -> str:
    """A class of the plan above."""
    coach = place.gym.client("coach")
    made = coach.post(f"{API}/plans", json={"text": plan})
    body = {"plan_id": made.json()["id"], "start": start.isoformat()}
    found: str = coach.post(f"{API}/classes", json=body).json()["id"]
    return found


def recorded(place: Served, class_id: str) -> Starts:
    """What the class has of starts."""
    answer = place.gym.client("coach").get(f"{API}/classes/{class_id}").json()
    return {block: datetime.fromisoformat(text) for block, text in answer["starts"].items()}


def opened_clock(place: Served, browser: Browser, class_id: str) -> Page:
    """The clock's page, whose time is the test's to move."""
    page = place.page(browser, "coach")
    page.clock.install()
    page.goto(place.url(f"/clock/{class_id}"))
    until_kept(page)
    return page


def words(page: Page, selector: str) -> str:
    """What stands there, with plain spaces between numbers and units."""
    return page.locator(selector).inner_text().replace("\N{NO-BREAK SPACE}", " ")


def digits(page: Page) -> str:
    return words(page, "#face-digits")


def block(page: Page) -> str:
    return words(page, "#face-block")


def kind(page: Page) -> str:
    return words(page, "#face-kind")


def following(page: Page) -> str:
    return words(page, "#face-next")


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def until_recorded(page: Page, text: str) -> None:
    expect(page.locator("#face-record")).to_contain_text(text, timeout=PATIENCE_MS)


def until_kept(page: Page) -> None:
    """Wait until the page is kept for when there is no network."""
    kept = "also when it is loaded again"
    expect(page.locator("#face-offline")).to_contain_text(kept, timeout=PATIENCE_MS)


def until_class_has(
    page: Page, place: Served, class_id: str, fits: Callable[[Starts], bool]
) -> None:
    """Wait until the starts of a class are as they have to be."""
    for _ in range(PATIENCE_MS // 250):
        if fits(recorded(place, class_id)):
            return
        page.wait_for_timeout(250)
    raise AssertionError(f"the class has {recorded(place, class_id)}")


def test_it_runs_the_plan_in_whole_seconds_and_words(place: Served, browser: Browser) -> None:
    page = opened_clock(place, browser, class_at(place, datetime.now(UTC)))
    press(page, "Start")
    page.clock.run_for(65_500)
    assert (block(page), digits(page)) == ("greeting", "1:05")
    press(page, "Begin rope")
    page.clock.run_for(18_500)
    assert (digits(page), kind(page)) == ("0:02", "work")
    assert following(page) == "Next: rest 0:10"
    page.clock.run_for(2_000)
    assert (digits(page), kind(page)) == ("0:10", "rest")
    assert words(page, "#face-first") == "Next: work 0:20"
    assert words(page, "#face-tasks").strip() == "rope climb, 3 repetitions"
    page.clock.run_for(40_000)
    assert block(page) == "carry"  # on the clock too: it begins by itself
    tasks = words(page, "#face-tasks")
    assert "plank carry, 40 m, men 18 kg, women 12 kg" in tasks
    assert "seated: band row, as many repetitions as possible" in tasks
    page.clock.run_for(30_000)
    assert block(page) == "Done."
    page.context.close()


def test_the_bar_of_the_step_that_runs_is_used_up(place: Served, browser: Browser) -> None:
    page = opened_clock(place, browser, class_at(place, datetime.now(UTC), ONE_BLOCK))
    press(page, "Start")
    widths = []
    for _ in range(3):
        page.clock.run_for(10_000)
        bar = page.locator("#face-strip .bar")
        widths.append(float((bar.get_attribute("width") or "").rstrip("%")))
    full = 100 * 60 / 240
    assert widths == pytest.approx([full * left / 60 for left in (50, 40, 30)], abs=0.3)
    page.context.close()


def test_the_class_gets_the_starts_by_the_services_clock(place: Served, browser: Browser) -> None:
    class_id = class_at(place, datetime.now(UTC), ONE_BLOCK)
    page = place.page(browser, "coach")
    page.clock.install(time=datetime.now(UTC) + timedelta(hours=3))  # a device set wrong
    page.goto(place.url(f"/clock/{class_id}"))
    until_kept(page)
    before = datetime.now(UTC)
    press(page, "Start")
    after = datetime.now(UTC)
    page.clock.run_for(1_000)
    until_recorded(page, "lift at")
    found = recorded(place, class_id)["lift"]
    assert before - TRUE_TO <= found <= after + TRUE_TO
    assert "lift began at" in place.gym.client("coach").get(f"/classes/{class_id}").text
    lines = place.gym.client("owner").get(f"{API}/audit").json()["items"]
    assert [line["action"] for line in lines].count("starts.record") >= 1
    page.context.close()


def test_back_takes_back_what_was_pressed_and_what_was_recorded(
    place: Served, browser: Browser
) -> None:
    class_id = class_at(place, datetime.now(UTC))
    page = opened_clock(place, browser, class_id)
    press(page, "Start")
    page.clock.run_for(20_050)
    press(page, "Begin rope")
    page.clock.run_for(5_000)
    until_recorded(page, "rope at")
    press(page, "Back")
    page.clock.run_for(1_000)
    assert (block(page), digits(page)) == ("greeting", "0:26")
    until_class_has(page, place, class_id, lambda now: now == {})
    page.context.close()


def test_holding_stops_the_clock_and_spoils_the_start(place: Served, browser: Browser) -> None:
    class_id = class_at(place, datetime.now(UTC), ONE_BLOCK)
    page = opened_clock(place, browser, class_id)
    press(page, "Start")
    page.clock.run_for(20_500)
    until_recorded(page, "lift at")
    press(page, "Hold")
    page.clock.run_for(30_000)
    assert (digits(page), kind(page)) == ("0:40", "work, held")
    press(page, "Go on")
    page.clock.run_for(10_000)
    assert digits(page) == "0:30"
    until_recorded(page, "lift was held")
    until_class_has(page, place, class_id, lambda now: now == {})
    page.context.close()


@contextmanager
def answering(gym: GymUnderTest, port: int) -> Iterator[None]:
    """A server that answers as long as this lasts."""
    server = uvicorn.Server(
        uvicorn.Config(gym.app, port=port, log_level="error", ws="none", lifespan="off")
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield
    finally:
        server.should_exit = True
        server.force_exit = True
        thread.join()


def test_it_goes_on_without_a_network_and_over_a_reload(demo_data: Path, browser: Browser) -> None:
    with opened(demo_data, 0) as (gym, demo_class):
        port = free_port()
        place = Served(gym, f"http://127.0.0.1:{port}", demo_class)
        class_id = class_at(place, datetime.now(UTC), ONE_BLOCK)
        page = place.page(browser, "coach")
        with answering(gym, port):
            page.goto(place.url(f"/clock/{class_id}"))
            until_kept(page)
        before = datetime.now(UTC)
        press(page, "Start")
        until_recorded(page, "cannot be reached")
        page.reload()
        page.get_by_role("button", name="Hold").wait_for()
        assert block(page) == "lift"
        assert recorded(place, class_id) == {}
        with answering(gym, port):
            page.evaluate("dispatchEvent(new Event('online'))")
            until_recorded(page, "lift at")
        assert abs(recorded(place, class_id)["lift"] - before) <= timedelta(seconds=5)
        page.context.close()


def test_on_another_day_it_shows_and_records_nothing(place: Served, browser: Browser) -> None:
    class_id = class_at(place, datetime.now(UTC) - timedelta(days=2), ONE_BLOCK)
    coach = place.gym.client("coach")
    start = (datetime.now(UTC) - timedelta(days=2)).isoformat()
    sent = coach.patch(f"{API}/classes/{class_id}/starts", json={"starts": {"lift": start}})
    assert sent.is_success
    page = opened_clock(place, browser, class_id)
    press(page, "Start")
    page.clock.run_for(5_000)
    until_recorded(page, "records nothing")
    page.get_by_text("Sound, count-in, screen").click()
    press(page, "Begin all over")
    page.clock.run_for(5_000)
    assert list(recorded(place, class_id)) == ["lift"]
    page.context.close()


def test_another_screen_goes_on_from_the_recorded_starts(place: Served, browser: Browser) -> None:
    class_id = class_at(place, datetime.now(UTC), ONE_BLOCK)
    first = place.page(browser, "coach")
    first.goto(place.url(f"/clock/{class_id}"))
    press(first, "Start")
    until_recorded(first, "lift at")
    starts = recorded(place, class_id)
    second = place.page(browser, "coach")
    second.goto(place.url(f"/clock/{class_id}"))
    until_recorded(second, "recorded already")
    press(second, "Go on from the recorded starts")
    assert block(second) == "lift"
    apart_s = (int(digits(second)[-2:]) - int(digits(first)[-2:])) % 60  # a minute may turn between
    assert min(apart_s, 60 - apart_s) <= 2
    press(second, "Back")
    until_recorded(second, "recorded already")
    second.wait_for_timeout(500)
    assert recorded(place, class_id) == starts
    press(second, "Start")  # another start replaces the one before, and Back brings that again
    until_class_has(second, place, class_id, lambda now: now.get("lift", AGES_AGO) > starts["lift"])
    press(second, "Back")
    until_class_has(second, place, class_id, lambda now: now == starts)
    for page in (first, second):
        page.context.close()


COUNTED = """
window.beeps = [];
window.AudioContext = class {
  currentTime = 0;
  resume() {}
  createOscillator() {
    const stop = (end) => beeps.push(end);
    return { frequency: {}, connect: (next) => next, start() {}, stop };
  }
  createGain() {
    const gain = { setValueAtTime() {}, exponentialRampToValueAtTime() {} };
    return { gain, connect() {} };
  }
};
window.awake = 0;
navigator.wakeLock.request = async () => { awake += 1; };
"""


def test_beeps_are_off_unless_wanted_and_then_count_to_each_bell(
    place: Served, browser: Browser
) -> None:
    page = place.page(browser, "coach")
    page.add_init_script(COUNTED)
    page.clock.install()
    page.goto(place.url(f"/clock/{class_at(place, datetime.now(UTC), ONE_BLOCK)}"))
    until_kept(page)
    press(page, "Start")
    assert page.evaluate("awake") == 1
    page.clock.run_for(61_000)
    assert page.evaluate("beeps") == []
    page.get_by_text("Sound, count-in, screen").click()
    page.get_by_label("Beeps").check()
    page.clock.run_for(60_000)
    assert page.evaluate("beeps") == [0.15, 0.15, 0.15, 0.7]
    page.context.close()


def test_with_reduced_motion_the_bar_moves_with_the_seconds_only(
    place: Served, browser: Browser
) -> None:
    moves = {}
    for motion in ("reduce", "no-preference"):
        page = place.page(browser, "coach", reduced_motion=motion)
        page.clock.install()
        page.goto(place.url(f"/clock/{class_at(place, datetime.now(UTC), ONE_BLOCK)}"))
        until_kept(page)
        press(page, "Start")
        widths = []
        for _ in range(20):
            page.clock.run_for(100)
            widths.append(page.locator("#face-strip .bar").get_attribute("width"))
        moves[motion] = len(set(widths))
        page.context.close()
    assert moves["reduce"] <= 4
    assert moves["no-preference"] >= 12


STATIONS = """\
title: Three corners
blocks:
  - name: corners
    rotate: true
    steps:
      - {work: 1m, tasks: [{movement: machine, most: metres}]}
      - {work: 1m, tasks: [{movement: wall sit}]}
      - {work: 1m, tasks: [{movement: tyre turn, reps: 8}]}
"""


def test_a_block_in_stations_shows_every_station(place: Served, browser: Browser) -> None:
    page = opened_clock(place, browser, class_at(place, datetime.now(UTC), STATIONS))
    press(page, "Start")
    page.clock.run_for(61_000)
    stations = page.locator("#face-tasks > ol > li").all_inner_texts()
    assert [text.strip() for text in stations] == [
        "machine, as many metres as possible", "wall sit", "tyre turn, 8 repetitions",
    ]  # fmt: skip
    assert following(page) == "Next: work 1:00: everybody one station on"
    page.context.close()


def test_a_count_in_comes_before_the_bell(place: Served, browser: Browser) -> None:
    class_id = class_at(place, datetime.now(UTC), ONE_BLOCK)
    page = opened_clock(place, browser, class_id)
    page.get_by_text("Sound, count-in, screen").click()
    page.get_by_label("Count-in").select_option("10")
    press(page, "Start")
    page.clock.run_for(4_500)
    assert (block(page), digits(page)) == ("lift begins in", "0:06")
    assert recorded(place, class_id) == {}
    page.clock.run_for(6_700)
    assert (block(page), digits(page)) == ("lift", "0:59")
    page.context.close()


def test_the_keyboard_alone_runs_it(place: Served, browser: Browser) -> None:
    page = opened_clock(place, browser, class_at(place, datetime.now(UTC), ONE_BLOCK))
    page.get_by_role("button", name="Start").focus()
    page.keyboard.press("Enter")
    page.clock.run_for(1_500)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Hold"
    page.keyboard.press("Space")
    page.clock.run_for(1_000)
    assert kind(page) == "work, held"
    page.context.close()


@pytest.mark.parametrize("screen", [PHONE, {"width": 320, "height": 640}])
def test_without_scripts_it_is_the_timeline_in_words(
    place: Served, browser: Browser, screen: dict[str, int]
) -> None:
    start = datetime(2026, 3, 9, 18, 30, tzinfo=UTC)
    page = place.page(browser, "coach", screen, java_script_enabled=False)
    page.goto(place.url(f"/clock/{class_at(place, start)}"))
    assert page.get_by_text("The running clock needs scripts").is_visible()
    assert not page.get_by_role("button", name="Start").is_visible()
    text = words(page, "#timeline")
    assert "Begins at 18:30:00: off the clock, usually 1 min to 3 min." in text
    assert "Begins between 18:31 and 18:33: 2 rounds of 30 s, 1 min on the clock." in text
    page.context.close()


def test_nothing_keeps_anybody_from_the_running_clock(
    place: Served, browser: Browser, axe: Callable[[Page], None]
) -> None:
    page = opened_clock(place, browser, class_at(place, datetime.now(UTC)))
    press(page, "Start")
    page.clock.run_for(1_000)
    page.get_by_text("Sound, count-in, screen").click()
    axe(page)
    page.context.close()
