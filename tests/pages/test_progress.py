"""A page that waits for its class opens the result by itself, but takes nothing from its reader."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.pages.served import Served, served
from tests.service.gym import API, make_class

DONE = 'event: state\ndata: {"state": "done", "done": 1, "total": 1}\n\n'
LONG_MS = 1_500  # three times as long as the page waits before it looks again


@dataclass
class Held:
    """Answers that are held back until the test lets them go."""

    routes: list[Route] = field(default_factory=list)

    def hold(self, route: Route) -> None:
        """Hold one more."""
        self.routes.append(route)

    def wait(self, page: Page) -> None:
        """Until somebody asks for it."""
        while not self.routes:
            page.wait_for_timeout(20)


@pytest.fixture(scope="module")
def place(demo_data: Path) -> Iterator[Served]:
    """A server behind which nothing is worked out: only the test says that it is."""
    with served(demo_data) as found:
        yield found


@pytest.fixture
def waiting(browser: Browser, place: Served) -> Iterator[tuple[Page, str, Held, list[str]]]:
    """A class that waits, open at a coach's; the word that it is done, held; and what is loaded."""
    class_id = make_class(place.gym)
    page = place.page(browser, "coach")
    progress, loaded = Held(), list[str]()
    page.route(f"**{API}/classes/{class_id}/progress", progress.hold)
    page.on("load", lambda seen: loaded.append(seen.url))
    page.goto(place.url(f"/classes/{class_id}"))
    progress.wait(page)
    yield page, class_id, progress, loaded
    page.context.close()


def done(progress: Held) -> None:
    """Say that the class is worked out, once."""
    progress.routes.pop(0).fulfill(content_type="text/event-stream", body=DONE)


def test_the_result_opens_by_itself(waiting: tuple[Page, str, Held, list[str]]) -> None:
    page, class_id, progress, loaded = waiting
    done(progress)
    progress.wait(page)  # the page asks anew after it was loaded anew
    assert all(url.endswith(class_id) for url in loaded)


def test_a_way_that_somebody_has_taken_is_not_taken_back(
    waiting: tuple[Page, str, Held, list[str]],
) -> None:
    page, class_id, progress, _ = waiting
    board = Held()
    page.route(f"**/classes/{class_id}/board", board.hold)
    page.get_by_role("link", name="Scores from the board").click(no_wait_after=True)
    board.wait(page)
    done(progress)
    page.wait_for_timeout(LONG_MS)
    board.routes[0].continue_()
    expect(page.get_by_role("heading", name="Scores from the board", level=1)).to_be_visible()
    assert page.url.endswith("/board")


def test_words_that_somebody_writes_stay_until_they_are_done(
    waiting: tuple[Page, str, Held, list[str]],
) -> None:
    page, _, progress, loaded = waiting
    page.evaluate("document.querySelector('main').append(document.createElement('textarea'))")
    words = page.locator("main > textarea")
    words.fill("half a sentence")
    before = len(loaded)
    done(progress)
    expect(page.get_by_role("status")).to_contain_text("as soon as you are done here")
    page.wait_for_timeout(LONG_MS)
    assert len(loaded) == before
    expect(words).to_have_value("half a sentence")
    words.blur()
    progress.wait(page)  # as it does anew once it is loaded anew
