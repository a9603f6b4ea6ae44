"""A real server with the fictional class, a real Chromium, and what every page must hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.pages.served import Served, lay_demo, served
from tests.service.conftest import quick_passwords  # noqa: F401  an automatic fixture

# The Web Content Accessibility Guidelines 2.2, levels A and AA, as axe-core tags its rules.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="package")
def demo_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data of a gym with the fictional class worked out; to be copied, not to be opened."""
    data = tmp_path_factory.mktemp("demo") / "data"
    lay_demo(data)
    return data


@pytest.fixture(scope="package")
def served_class(demo_data: Path) -> Iterator[Served]:
    """A server with the fictional class, shared by all tests that only look."""
    with served(demo_data) as found:
        yield found


@pytest.fixture
def served_class_to_change(demo_data: Path) -> Iterator[Served]:
    """The same for one test that changes something; nothing is worked out behind it."""
    with served(demo_data) as found:
        yield found


def violations(page: Page) -> list[str]:
    """What axe-core finds on a page: rule, what to do, and where."""
    only = {"type": "tag", "values": WCAG}
    found = Axe().run(page, options={"runOnly": only, "resultTypes": ["violations"]}).response
    return [
        f"{rule['id']}: {rule['help']}\n    {', '.join(map(str, node['target']))}\n"
        f"    {node['html'][:200]}\n    {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]


@pytest.fixture(scope="package")
def axe() -> Callable[[Page], None]:
    """Fail with every violation that axe-core finds on a page."""

    def check(page: Page) -> None:
        found = violations(page)
        assert not found, f"{page.url}\n" + "\n".join(found)

    return check


@pytest.fixture(scope="package")
def fits() -> Callable[[Page], None]:
    """Fail where a page is wider than its screen."""

    def check(page: Page) -> None:
        width, screen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert width <= screen, f"{page.url} is {width} px wide on a screen of {screen}"

    return check
