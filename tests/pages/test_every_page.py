"""Every page that the service has, found by its routes, so that none can be forgotten."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.pages.routes import PAGES, path_of
from tests.pages.served import PHONE, Served, in_addresses
from tests.pages.weights import MOST_BYTES, weigh


@pytest.fixture(scope="module")
def readers(browser: Browser, served_class: Served) -> Iterator[dict[str, BrowserContext]]:
    """A phone for each kind of reader."""
    kinds = {"nobody": None, "coach": "coach", "owner": "owner", "athlete": served_class.athlete}
    found = {kind: served_class.context(browser, who, PHONE) for kind, who in kinds.items()}
    yield found
    for context in found.values():
        context.close()


@pytest.fixture(scope="module")
def values(served_class: Served) -> dict[str, str]:
    """What stands in addresses."""
    return in_addresses(served_class)


@pytest.mark.parametrize("route", PAGES)
def test_nothing_on_a_page_keeps_anybody_out(
    readers: dict[str, BrowserContext],
    served_class: Served,
    values: dict[str, str],
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
    route: str,
) -> None:
    path = path_of(route, values)
    seen: list[str] = []
    for kind, context in readers.items():
        # A page that nobody needs to sign in for is the same for all, an owner's that a coach sees
        # nearly so.
        if "nobody" in seen or (kind == "owner" and seen):
            continue
        page = context.new_page()
        answer = page.goto(served_class.url(path))
        assert answer is not None
        if answer.status == 200 and page.url.endswith(path):
            seen.append(kind)
            if answer.headers["content-type"].startswith("text/html"):
                axe(page)
                fits(page)
                assert weigh(context, page.url).bytes <= MOST_BYTES
        page.close()
    assert seen, f"nobody sees {route}"
