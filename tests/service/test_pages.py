"""Pages: the journeys of an athlete and a coach, in a browser without scripts."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from api.settings import Settings
from tests.service.database_server import free_port
from tests.service.gym import API, GymUnderTest, make_class, open_gym, rower_csv
from tests.service.test_signing_in import PASSWORD, give_password

WIDTHS = (390, 1280)


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[GymUnderTest, str]]:
    """A gym behind a real server on 127.0.0.1; the worker is the test's to run."""
    with open_gym(Settings(data=tmp_path_factory.mktemp("pages"), workers=0)) as gym:
        port = free_port()
        server = uvicorn.Server(
            uvicorn.Config(gym.app, port=port, log_level="error", lifespan="off", ws="none")
        )
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield gym, f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join()


def opened(browser: Browser, width: int) -> Page:
    page = browser.new_context(
        viewport={"width": width, "height": 844}, java_script_enabled=False
    ).new_page()
    page.set_default_timeout(20_000)
    return page


def fits(page: Page, width: int) -> bool:
    """Whether nothing makes the page wider than the screen."""
    box = page.locator("html").bounding_box()
    assert box is not None
    return box["width"] <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_an_athlete_goes_from_the_code_on_the_wall_to_their_own_sheet(
    browser: Browser, served: tuple[GymUnderTest, str], tmp_path: Path, width: int
) -> None:
    gym, address = served
    gym.add(f"new{width}", "athlete", agrees=False)
    class_id = make_class(gym, "bo", f"new{width}")
    wall = gym.client("coach").get(f"{API}/classes/{class_id}/wall").json()["url"]
    page = opened(browser, width)
    page.goto(wall.replace("http://testserver", address))
    page.get_by_label("Who are you?").select_option(f"new{width}")
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("I agree").check()
    (tmp_path / "broken.fit").write_bytes(b"not a recording")
    page.get_by_label("From your watch").set_input_files(tmp_path / "broken.fit")
    page.get_by_label("In all").fill("19")
    page.get_by_role("button", name="Send").click()
    assert "not a recording" in page.get_by_role("status").inner_text()
    assert fits(page, width)
    (tmp_path / "row.csv").write_bytes(rower_csv(width))
    page.get_by_label("From your watch").set_input_files(tmp_path / "row.csv")
    page.get_by_role("button", name="Send").click()
    assert "Waiting to be worked out" in page.content()
    gym.work()
    page.get_by_role("link", name="Look again").click()
    text = page.locator("body").inner_text()
    assert "Harbour steps" in text
    assert "19 logged" in text
    assert "Bo Testperson" not in text
    assert fits(page, width)
    page.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_coach_signs_in_writes_a_plan_and_fills_a_class(
    browser: Browser, served: tuple[GymUnderTest, str], width: int
) -> None:
    gym, address = served
    give_password(gym, "coach")
    page = opened(browser, width)
    page.goto(address)
    page.get_by_label("Mail address").fill("coach@gym.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto(f"{address}/plans/new")
    text = page.get_by_label("The plan as text")
    text.fill(text.input_value().replace("90s", "90"))
    page.get_by_role("button", name="Keep", exact=True).click()
    assert page.get_by_role("link", name="Line 7").is_visible()
    text.fill(text.input_value().replace("90", "90s"))
    page.get_by_role("button", name="Keep", exact=True).click()
    assert page.get_by_role("img", name="main 4 rounds of").count() == 1
    page.get_by_role("link", name="Make a class of it").click()
    page.get_by_label("Day").fill("2026-03-09")
    page.get_by_label("When the first block began").fill("18:30")
    page.get_by_role("button", name="Make the class").click()
    page.get_by_role("link", name="as a sheet").click()
    page.get_by_label("One athlete a line").fill("athlete,mass_kg\nada,63\nbo,\n")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_role("link", name="Scores from the board").click()
    page.get_by_role("link", name="Or write it as text").click()
    page.get_by_label("What the athletes logged").fill("athlete;score\nada;57\nbo;abc\n")
    page.get_by_role("button", name="Keep", exact=True).click()
    assert "scores.csv:3:2" in page.get_by_role("status").inner_text()
    gym.work()
    page.get_by_role("link", name="the class", exact=True).click()
    assert "Ada Testperson" in page.locator("body").inner_text()
    assert fits(page, width)
    page.context.close()
