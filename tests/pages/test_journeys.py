"""What people come for, from beginning to end: on a phone, at a desk, by keyboard, without scripts.

The server and its worker are real, and so is the browser.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.pages.hands import Hands, Keyboard, Pointer
from tests.pages.served import DESK, PHONE, Served, served
from tests.service.gym import API, make_class, rower_csv, upload, watch_csv
from tests.service.test_signing_in import PASSWORD, give_password


@dataclass(frozen=True)
class Way:
    """How somebody comes: the screen, scripts or none, keyboard only or not."""

    name: str
    screen: dict[str, int]
    scripts: bool = True
    keyboard: bool = False

    def hands(self, page: Page) -> Hands:
        """The hands that go with it."""
        return Keyboard(page) if self.keyboard else Pointer()

    def page(self, place: Served, browser: Browser, who: str | None) -> Page:
        """A page of a browser of this kind."""
        return place.page(browser, who, self.screen, java_script_enabled=self.scripts)


WAYS = (
    Way("phone", PHONE),
    Way("phone without scripts", PHONE, scripts=False),
    Way("desk by keyboard", DESK, keyboard=True),
    Way("desk by keyboard without scripts", DESK, scripts=False, keyboard=True),
)
WITH_SCRIPTS = tuple(way for way in WAYS if way.scripts)


@pytest.fixture(params=WAYS, ids=[way.name for way in WAYS])
def way(request: pytest.FixtureRequest) -> Way:
    """Each way in turn."""
    found: Way = request.param
    return found


@pytest.fixture(scope="module")
def place(demo_data: Path) -> Iterator[Served]:
    """A server with its worker; every journey makes a class of its own in it."""
    with served(demo_data, workers=1) as found:
        yield found


@pytest.fixture(scope="module")
def still_place(demo_data: Path) -> Iterator[Served]:
    """A server behind which nothing is worked out; whoever changes something undoes it."""
    with served(demo_data) as found:
        yield found


def worked_out(page: Page, way: Way) -> None:
    """Wait until the class on the page is worked out; with scripts it opens the result itself."""
    waiting = page.get_by_text(re.compile(r"(Waiting to be|Being) worked out"))
    for _ in range(60):
        if way.scripts or not waiting.count():
            break
        page.wait_for_timeout(250)
        page.reload()
    expect(waiting).to_have_count(0, timeout=60_000)


def button(page: Page | Locator, name: str) -> Locator:
    """A button by its whole name."""
    return page.get_by_role("button", name=name, exact=True)


def cell(page: Page, name: str) -> Locator:
    """A cell of the board, by its row and column."""
    return page.get_by_role("textbox", name=name, exact=True)


def test_an_athlete_goes_from_the_code_on_the_wall_to_their_own_sheet(
    browser: Browser, place: Served, tmp_path: Path, way: Way, fits: Callable[[Page], None]
) -> None:
    handle = f"new-{way.name.replace(' ', '-')}"
    place.gym.add(handle, "athlete", agrees=False)
    class_id = make_class(place.gym, "bo", handle)
    wall = place.gym.client("coach").get(f"{API}/classes/{class_id}/wall").json()["url"]
    page = way.page(place, browser, None)
    hands = way.hands(page)
    page.goto(wall.replace("http://testserver", place.address))
    hands.choose(page.get_by_label("Who are you?"), handle.title())
    hands.press(button(page, "Go on"))

    broken = tmp_path / "broken.fit"
    broken.write_bytes(b"not a recording")
    hands.tick(page.get_by_label("I agree"))
    for number, count in enumerate((6, 7, 6), start=1):
        hands.write(
            page.get_by_role("group", name="main, round by round").get_by_label(
                str(number), exact=True
            ),
            str(count),
        )
    hands.give(page.get_by_label("From your watch or the machine"), broken)
    hands.press(button(page, "Send"))
    expect(page.get_by_role("status").filter(has_text="broken.fit")).to_be_visible()
    fits(page)

    row = tmp_path / "row.csv"
    row.write_bytes(rower_csv(len(handle)))
    hands.give(page.get_by_label("From your watch or the machine"), row)
    hands.press(button(page, "Send"))
    expect(page.get_by_role("heading", name="Harbour steps", level=1)).to_be_visible()
    worked_out(page, way)
    main = page.get_by_role("main")
    expect(main).to_contain_text(re.compile(r"19 logged, \d+(\.\d)? recorded"))
    expect(main).not_to_contain_text("Bo Testperson")
    expect(page.locator("svg[role=img]").first).to_be_visible()
    fits(page)
    page.context.close()


def test_a_coach_types_the_board_and_settles_a_question_with_a_reason(
    browser: Browser, place: Served, way: Way, fits: Callable[[Page], None]
) -> None:
    class_id = make_class(place.gym)
    upload(place.gym.client("ada"), class_id, ("row.csv", rower_csv(3)))
    page = way.page(place, browser, "coach")
    hands = way.hands(page)
    page.goto(place.url(f"/classes/{class_id}"))
    hands.press(page.get_by_role("link", name="Scores from the board"))
    hands.write(cell(page, "Ada Testperson score"), "57")
    hands.write(cell(page, "Bo Testperson score"), "abc")
    fits(page)
    hands.press(button(page, "Keep"))
    expect(page.get_by_role("alert")).to_contain_text("1 cell could not be read")
    assert cell(page, "Bo Testperson score").get_attribute("aria-invalid") == "true"
    hands.write(cell(page, "Bo Testperson score"), "18")
    hands.press(button(page, "Keep"))
    expect(page.get_by_role("status").first).to_contain_text("That is kept.")
    worked_out(page, way)
    asked = page.get_by_role("article").filter(has_text="Ada Testperson")
    hands.press(button(asked, "It was written down wrongly"))
    expect(page.get_by_role("status")).to_contain_text("That is settled.")
    expect(asked).to_contain_text("Settled:")
    hands.press(asked.get_by_role("button", name="Undo"))
    expect(page.get_by_role("status")).to_contain_text("That is undone.")
    hands.press(asked.get_by_text("In other words, or correct the score"))
    hands.write(asked.get_by_label("Why"), "We looked at the board together.")
    hands.press(asked.get_by_role("button", name="the score stands"))
    expect(asked).to_contain_text("We looked at the board together.")
    fits(page)
    page.context.close()


@pytest.mark.parametrize("way", WITH_SCRIPTS, ids=[way.name for way in WITH_SCRIPTS])
def test_by_keyboard_the_board_is_a_grid(browser: Browser, place: Served, way: Way) -> None:
    class_id = make_class(place.gym)
    page = way.page(place, browser, "coach")
    page.goto(place.url(f"/classes/{class_id}/board"))
    cell(page, "Ada Testperson score").focus()
    page.keyboard.type("41")
    page.keyboard.press("Enter")
    page.keyboard.type("39")
    page.keyboard.press("Enter")
    expect(cell(page, "Ada Testperson score")).to_have_value("41")
    expect(cell(page, "Bo Testperson score")).to_have_value("39")
    page.keyboard.press("ArrowUp")
    expect(cell(page, "Ada Testperson score")).to_be_focused()
    page.context.close()


def test_a_coach_gives_a_file_to_whom_it_fits_and_takes_that_back(
    browser: Browser, still_place: Served, way: Way
) -> None:
    place = still_place
    page = way.page(place, browser, "coach")
    hands = way.hands(page)
    page.goto(place.url(f"/classes/{place.class_id}"))
    hands.press(button(page, "Give to Bea Hart"))
    expect(page.get_by_role("main")).to_contain_text(
        "unassigned.ski.1.csv: Bea Hart's, as you said"
    )
    hands.press(page.get_by_role("button", name="Undo unassigned.ski.1.csv"))
    expect(button(page, "Give to Bea Hart")).to_be_visible()
    page.context.close()


def test_a_coach_pins_where_a_block_begins_and_undoes_it(
    browser: Browser, place: Served, way: Way, fits: Callable[[Page], None]
) -> None:
    class_id = make_class(place.gym)
    upload(place.gym.client("ada"), class_id, ("heart.csv", watch_csv(1)))
    page = way.page(place, browser, "coach")
    hands = way.hands(page)
    page.goto(place.url(f"/classes/{class_id}"))
    worked_out(page, way)
    hands.press(page.get_by_text("1 file", exact=True))
    hands.press(page.get_by_role("link", name="ada.watch"))
    hands.press(page.get_by_text("Place it by hand"))
    hands.write(page.get_by_label("Minutes and seconds after the first sample"), "0:07")
    hands.press(button(page, "Place it here"))
    expect(page.get_by_role("main")).to_contain_text("begins 0:07")
    worked_out(page, way)
    expect(page.get_by_text("placed by hand", exact=True)).to_be_visible()
    fits(page)
    hands.press(page.get_by_role("button", name="Undo main"))
    expect(page.get_by_text("placed by hand", exact=True)).to_have_count(0)
    page.context.close()


def test_a_coach_writes_a_plan_and_makes_a_class_of_it(
    browser: Browser, place: Served, way: Way, fits: Callable[[Page], None]
) -> None:
    give_password(place.gym, "coach")
    page = way.page(place, browser, None)
    hands = way.hands(page)
    page.goto(place.address)
    hands.write(page.get_by_label("Mail address"), "coach@gym.example")
    hands.write(page.get_by_label("Password"), PASSWORD)
    hands.press(button(page, "Sign in"))
    hands.press(page.get_by_role("link", name="Plans"))
    hands.press(page.get_by_role("link", name="Write a plan"))
    text = page.get_by_label("The plan as text")
    whole = text.input_value()
    assert "90s" in whole
    hands.write(text, whole.replace("90s", "90"))
    hands.press(button(page, "Keep"))
    expect(page.get_by_role("main")).to_contain_text("a bare number, which could be seconds")
    expect(text).to_have_attribute("aria-invalid", "true")
    fits(page)
    hands.write(text, whole)
    hands.press(button(page, "Keep"))
    hands.press(page.get_by_role("link", name="Make a class of it"))
    page.get_by_label("Day").fill("2026-03-09")  # by keyboard in the order of the machine's country
    page.get_by_label("When the first block began").fill("18:30")
    hands.press(button(page, "Make the class"))
    hands.tick(page.get_by_label("Ada Testperson"))
    hands.write(page.get_by_label("Others, one name a line"), f"Noor {way.name.title()}")
    hands.press(button(page, "Keep"))
    expect(page.get_by_role("status").first).to_contain_text("That is kept.")
    worked_out(page, way)
    expect(page.get_by_role("main")).to_contain_text("Ada Testperson")
    fits(page)
    page.context.close()


def test_an_owner_invites_a_coach_who_chooses_a_password(
    browser: Browser, place: Served, way: Way, fits: Callable[[Page], None]
) -> None:
    name = f"Yara {way.name.title()}"
    mail = f"yara-{way.name.replace(' ', '-')}@gym.example"
    page = way.page(place, browser, "owner")
    hands = way.hands(page)
    page.goto(place.url("/people"))
    hands.write(page.get_by_label("Name", exact=True), name)
    hands.choose(page.get_by_label("Is", exact=True), "coach")
    hands.write(page.get_by_label("Mail address"), mail)
    hands.press(button(page, "Add"))
    if page.get_by_role("link", name=name).count():
        hands.press(page.get_by_role("link", name=name))
    hands.press(page.get_by_role("button", name=re.compile("link to sign in|invitation")))
    link = page.locator("p.long").inner_text()
    fits(page)
    page.context.close()

    page = way.page(place, browser, None)
    hands = way.hands(page)
    page.goto(link)
    hands.write(page.get_by_label("Choose a password"), PASSWORD)
    hands.press(button(page, f"Sign in as {name}"))
    expect(page.get_by_role("heading", name="Classes", level=1)).to_be_visible()
    page.goto(link)
    expect(page.get_by_role("heading", name="Not here")).to_be_visible()
    page.context.close()
