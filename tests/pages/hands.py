"""How somebody uses a page: with a pointer or a finger, or with the keyboard alone."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from playwright.sync_api import Locator, Page, expect

MOST_STOPS = 250

# The outline that shows where the focus is: its style, and how thick.
OUTLINE = """element => {
  const style = getComputedStyle(element);
  return [style.outlineStyle, parseFloat(style.outlineWidth)];
}"""


class Hands(Protocol):
    """What somebody does to the parts of a page."""

    def press(self, part: Locator) -> None:
        """Press a button, follow a link, open a summary."""

    def tick(self, part: Locator) -> None:
        """Tick a box."""

    def write(self, part: Locator, text: str) -> None:
        """Write into a field, in place of what is there."""

    def choose(self, part: Locator, word: str) -> None:
        """Choose the entry that begins with a word."""

    def give(self, part: Locator, *files: Path) -> None:
        """Choose files."""


class Pointer:
    """A mouse, or a finger."""

    def press(self, part: Locator) -> None:
        part.click()

    def tick(self, part: Locator) -> None:
        part.check()

    def write(self, part: Locator, text: str) -> None:
        part.fill(text)

    def choose(self, part: Locator, word: str) -> None:
        texts = part.locator("option").all_inner_texts()
        part.select_option(label=next(text for text in texts if text.startswith(word)))

    def give(self, part: Locator, *files: Path) -> None:
        part.set_input_files(list(files))


class Keyboard:
    """Tab from part to part, and the keys of each part; the focus has to be seen all the way."""

    def __init__(self, page: Page) -> None:
        self.keys = page.keyboard

    def reach(self, part: Locator) -> None:
        """Tab to a part; its outline shows that it has the focus."""
        expect(part).to_be_visible()
        for _ in range(MOST_STOPS):
            if part.evaluate("element => element === document.activeElement"):
                style, width = part.evaluate(OUTLINE)
                assert style != "none", f"the focus on {part} is not seen"
                assert width >= 2, f"the focus on {part} is hardly seen"
                return
            self.keys.press("Tab")
        raise AssertionError(f"the keyboard does not reach {part}")

    def press(self, part: Locator) -> None:
        self.reach(part)
        self.keys.press("Enter")

    def tick(self, part: Locator) -> None:
        self.reach(part)
        self.keys.press("Space")

    def write(self, part: Locator, text: str) -> None:
        self.reach(part)
        self.keys.press("Control+a")
        self.keys.insert_text(text)

    def choose(self, part: Locator, word: str) -> None:
        self.reach(part)
        self.keys.type(word)

    def give(self, part: Locator, *files: Path) -> None:
        self.reach(part)
        part.set_input_files(list(files))  # the system's own dialog is not the page's
