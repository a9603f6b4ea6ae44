"""What a page costs: bytes that travel, and milliseconds until it answers and can be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from playwright.sync_api import BrowserContext

MOST_BYTES = 150_000
MOST_MS = 1000.0

# Milliseconds from asking until the first byte, and until everything is there and scripts ran.
TIMES = """() => {
  const [page] = performance.getEntriesByType("navigation");
  return [page.responseStart - page.requestStart, page.loadEventEnd - page.startTime];
}"""


@dataclass(frozen=True)
class Weight:
    """One visit: bytes as they travelled, heads included; to answer and to be usable, ms."""

    bytes: int
    answer_ms: float
    usable_ms: float


def weigh(context: BrowserContext, url: str) -> Weight:
    """Open a page for the first time, nothing of it known yet."""
    page = context.new_page()
    network = context.new_cdp_session(page)
    network.send("Network.enable")
    network.send("Network.clearBrowserCache")
    travelled: list[int] = []

    def finished(event: dict[str, Any]) -> None:
        travelled.append(int(event["encodedDataLength"]))

    network.on("Network.loadingFinished", finished)
    page.goto(url, wait_until="load")
    page.wait_for_function("performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
    answer_ms, usable_ms = page.evaluate(TIMES)
    page.close()
    return Weight(sum(travelled), answer_ms, usable_ms)
