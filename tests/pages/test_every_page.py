"""Every page that the service has, found by its routes, so that none can be forgotten."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page

from api.pages.endpoints import PARTS
from tests.pages.served import PHONE, Served, in_addresses

NOT_PAGES = {"/", "/static/{name:path}"}  # a way on, and files

ROUTES = sorted(
    route.path
    for part in PARTS
    for route in part.router.routes
    if "GET" in getattr(route, "methods", ()) and route.path not in NOT_PAGES
)
READERS = ("coach", "owner", "a03", None)


@pytest.mark.parametrize("route", ROUTES)
def test_nothing_on_a_page_keeps_anybody_out(
    browser: Browser,
    served_class: Served,
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
    route: str,
) -> None:
    values = in_addresses(served_class)
    path = re.sub(r"\{(\w+)\}", lambda match: values[match[1]], route)
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
        context.close()
    assert seen, f"nobody sees {route}"
