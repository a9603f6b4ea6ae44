"""Every page that the service has, found by its routes, so that none can be forgotten."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page

from tests.pages.routes import PAGES, READERS, path_of
from tests.pages.served import PHONE, Served, in_addresses
from tests.pages.weights import MOST_BYTES, weigh


@pytest.mark.parametrize("route", PAGES)
def test_nothing_on_a_page_keeps_anybody_out(
    browser: Browser,
    served_class: Served,
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
    route: str,
) -> None:
    path = path_of(route, in_addresses(served_class))
    seen = 0
    for who in READERS:
        context = served_class.context(browser, who, PHONE)
        page = context.new_page()
        answer = page.goto(served_class.url(path))
        assert answer is not None
        if answer.status == 200 and page.url.endswith(path):
            seen += 1
            if answer.headers["content-type"].startswith("text/html"):
                axe(page)
                fits(page)
                assert weigh(context, page.url).bytes <= MOST_BYTES
        context.close()
    assert seen, f"nobody sees {route}"
