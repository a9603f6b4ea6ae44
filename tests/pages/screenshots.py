"""Photograph every page for everybody who sees it: `python -m tests.pages.screenshots FOLDER`."""

from __future__ import annotations

import argparse
import re
import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.pages.routes import path_of, read_by
from tests.pages.served import DESK, PHONE, in_addresses, lay_demo, served


def main() -> None:
    """Photograph the fictional class's pages on a phone and on a desk."""
    parser = argparse.ArgumentParser(prog="tests.pages.screenshots", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="routes that hold this text")
    parser.add_argument("--locale", default="en-GB")
    parser.add_argument("--dark", action="store_true")
    chosen = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        raise SystemExit("Chromium is missing: install it, for instance `apt-get install chromium`")
    chosen.folder.mkdir(parents=True, exist_ok=True)
    scheme = "dark" if chosen.dark else "light"
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        data = Path(name) / "data"
        lay_demo(data)
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        with served(data) as place:
            values = in_addresses(place)
            for route, who in read_by(place, values):
                if chosen.only not in route:
                    continue
                for screen in (PHONE, DESK):
                    page = place.page(
                        browser, who, screen, locale=chosen.locale, color_scheme=scheme
                    )
                    page.goto(place.url(path_of(route, values)), wait_until="load")
                    words = "-".join(re.findall(r"\w+", route))
                    file = f"{words}.{who or 'nobody'}.{screen['width']}.png"
                    page.screenshot(path=chosen.folder / file, full_page=True)
                    page.context.close()
                    print(chosen.folder / file)
        browser.close()


if __name__ == "__main__":
    main()
