"""Take the README's pictures from the demo's own page: `python -m tests.sheet.pictures`."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import FloatRect, sync_playwright

from api.demo.folder import write_demo_folder
from api.folder import read_class_folder
from api.sheet.page import class_page
from reconcile.engine import reconcile_class

DOCS = Path(__file__).resolve().parents[2] / "docs"
WIDTH = 1180
MARGIN = 12

# What each picture shows, by the page's own marks.
PICTURES = {
    "class-table.png": "section:has(#block-1)",
    "one-athlete.png": "article:has(#athlete-3)",
}


def main() -> None:
    """Make the demo's page in a folder of its own and photograph two parts of it."""
    chromium = shutil.which("chromium")
    if chromium is None:
        raise SystemExit("Chromium is missing: install it, for instance `apt-get install chromium`")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        write_demo_folder(Path(folder))
        record = read_class_folder(Path(folder))
        page_file = Path(folder) / "class.html"
        page_file.write_text(class_page(record, reconcile_class(record)), encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": 900})
        page.goto(page_file.as_uri())
        for name, part in PICTURES.items():
            box = page.locator(part).bounding_box()
            assert box is not None
            clip: FloatRect = {
                "x": box["x"] - MARGIN,
                "y": box["y"] - MARGIN,
                "width": box["width"] + 2 * MARGIN,
                "height": box["height"] + 2 * MARGIN,
            }
            page.screenshot(path=DOCS / name, clip=clip, full_page=True)
            print(f"docs/{name}")
        browser.close()


if __name__ == "__main__":
    main()
