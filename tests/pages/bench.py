"""Weigh every page for a class of thirty: `python -m tests.pages.bench`.

The class is simulated, so that it may be as large as wanted; the server is the embedded one, and
the browser a phone's size on this machine.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright
from rich.console import Console
from rich.table import Table

from api.settings import Settings
from tests.bench.simulator.simulate import simulate_class
from tests.pages.routes import path_of, read_by
from tests.pages.served import PHONE, in_addresses, lay_files, served
from tests.pages.weights import MOST_BYTES, MOST_MS, Weight, weigh
from tests.service.gym import open_gym

SEED = 46  # a simulated class of thirty with machine work in two blocks
VISITS = 3


def lay_class(data: Path, seed: int) -> int:
    """Make a gym with a simulated class, worked out; gives how many people are in it."""
    with tempfile.TemporaryDirectory() as name, open_gym(Settings(data=data, workers=0)) as gym:
        folder = Path(name) / "class"
        people = simulate_class(seed, folder).people
        lay_files(gym, folder, ())
        return people


def main() -> int:
    """Print the table; 1 where a page is over a floor."""
    parser = argparse.ArgumentParser(prog="tests.pages.bench", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    chosen = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        raise SystemExit("Chromium is missing: install it, for instance `apt-get install chromium`")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        data = Path(name) / "data"
        people = lay_class(data, chosen.seed)
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        table = Table(title=f"A class of {people}; median of {VISITS} visits, nothing kept between")
        for heading in ("page", "who", "kB", "answers, ms", "usable, ms", ""):
            table.add_column(heading, justify="left" if heading in ("page", "who", "") else "right")
        over = 0
        with served(data) as place:
            values = in_addresses(place)
            for route, who in read_by(place, values):
                context = place.context(browser, who, PHONE, service_workers="block")
                url = place.url(path_of(route, values))
                visits = [weigh(context, url) for _ in range(VISITS)]
                context.close()
                middle = median(visits)
                heavy = middle.bytes > MOST_BYTES or middle.usable_ms > MOST_MS
                over += heavy
                table.add_row(
                    route, who or "nobody", f"{middle.bytes / 1000:.1f}", f"{middle.answer_ms:.0f}",
                    f"{middle.usable_ms:.0f}", "over" if heavy else "",
                )  # fmt: skip
        browser.close()
    Console(width=110).print(table)
    print(f"{over} over the floor of {MOST_BYTES / 1000:.0f} kB and {MOST_MS / 1000:.0f} s")
    return bool(over)


def median(visits: list[Weight]) -> Weight:
    """The median of each figure."""
    return Weight(
        bytes=int(statistics.median(visit.bytes for visit in visits)),
        answer_ms=statistics.median(visit.answer_ms for visit in visits),
        usable_ms=statistics.median(visit.usable_ms for visit in visits),
    )


if __name__ == "__main__":
    sys.exit(main())
