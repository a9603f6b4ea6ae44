"""A plan written as text, with its timeline beside it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from api.language import language
from api.pages.plan_drawing import drawn_plan
from api.pages.plan_versions_page import compared
from reconcile.plan_text import read_plan
from tests.pages.served import PHONE, Served, served
from tests.pages.slipway import PLAN


@pytest.fixture(autouse=True)
def patience() -> Iterator[None]:
    """What a busy machine may take until a drawing is there."""
    expect.set_options(timeout=30_000)
    yield
    expect.set_options(timeout=5_000)


@pytest.fixture(scope="module")
def place(demo_data: Path) -> Iterator[Served]:
    with served(demo_data) as found:
        yield found


def text_of(page: Page) -> str:
    return page.get_by_label("The plan as text").input_value()


def editor(place: Served, browser: Browser, **options: object) -> Page:
    page = place.page(browser, "coach", **options)  # type: ignore[arg-type]
    page.goto(place.url("/plans/new"))
    return page


# ---- the drawing


def test_a_strip_has_its_steps_in_proportion_and_a_bell_at_each() -> None:
    (_, rope, _) = drawn_plan(read_plan(PLAN), language("en_GB")).blocks
    assert [(cell.kind, cell.x, cell.width) for cell in rope.cells] == [
        ("work", 0.0, 33.333),
        ("rest", 33.333, 16.667),
        ("work", 50.0, 33.333),
        ("rest", 83.333, 16.667),
    ]
    assert [(bell.x, bell.round) for bell in rope.bells] == [
        (0.0, True), (33.333, False), (50.0, True), (83.333, False), (100.0, True),
    ]  # fmt: skip
    assert [(reading.x, reading.text) for reading in rope.readings] == [
        (0.0, "0:00"), (50.0, "0:30"), (100.0, "1:00"),
    ]  # fmt: skip


def test_the_length_is_a_range_and_each_block_says_when_it_begins() -> None:
    drawn = drawn_plan(read_plan(PLAN), language("en_GB"))
    plain = drawn.length.replace("\N{NO-BREAK SPACE}", " ")
    assert plain == "2 min 30 s to 4 min 30 s in all, 1 min 30 s of it on the clock"
    assert [block.begins_s for block in drawn.blocks] == [(0, 0), (60, 180), (120, 240)]


@pytest.mark.parametrize(
    ("mass_unit", "men", "women"),
    # 40 lb is 18.1 kg and 25 lb is 11.3 kg by the pound of 1959 (NIST Handbook 44, Appendix C).
    [("lb", "40 lb", "25 lb"), ("kg", "18.1 kg", "11.3 kg")],
)
def test_options_and_loads_stand_side_by_side_in_the_readers_unit(
    mass_unit: str, men: str, women: str
) -> None:
    drawn = drawn_plan(read_plan(PLAN), language("en_GB", mass_unit))
    climb, carry = drawn.choices
    assert (climb.movement, climb.men, climb.options) == ("rope climb", "", ("", ""))
    shown = [words.replace("\N{NO-BREAK SPACE}", " ") for words in (carry.men, carry.women)]
    assert shown == [men, women]
    assert carry.options == ("", "band row, as many repetitions as possible")


# ---- as one types


def test_the_timeline_is_drawn_as_one_types(place: Served, browser: Browser) -> None:
    page = editor(place, browser)
    page.get_by_label("The plan as text").fill(PLAN)
    expect(page.get_by_role("img", name="rope")).to_be_visible()
    expect(page.locator("#drawing .length")).to_contain_text("in all")
    assert page.get_by_role("row", name="carry plank carry").inner_text().endswith(
        "band row, as many repetitions as possible"
    )  # fmt: skip
    page.context.close()


def test_a_mistake_is_told_at_its_line_with_what_to_do(place: Served, browser: Browser) -> None:
    page = editor(place, browser)
    text = page.get_by_label("The plan as text")
    text.fill(PLAN)
    expect(page.get_by_role("img", name="rope")).to_be_visible()
    text.fill(PLAN.replace("rest: 10s", "rest: 10"))
    expect(page.locator("#drawing-said")).to_have_text(
        "The plan cannot be used yet: One place needs a look."
    )
    wrong = page.locator("#drawing .faults li")
    assert "write a duration with its units" in wrong.inner_text()
    assert "- rest: 10" in wrong.inner_text()
    assert page.locator(".gutter b").inner_text() == "!10"
    assert page.get_by_role("img", name="rope").is_visible()  # the drawing from before stays
    page.get_by_role("link", name="Line 10").press("Enter")
    caught = page.evaluate(
        "() => { const t = document.activeElement;"
        " return [t.id, t.value.slice(0, t.selectionStart).split('\\n').length] }"
    )
    assert caught == ["text", 10]
    text.fill(PLAN)
    expect(page.locator("#drawing-said")).to_have_text("The plan can be used.")
    assert page.locator(".gutter b").count() == 0
    page.context.close()


def test_the_keyboard_alone_writes_and_keeps_a_plan(place: Served, browser: Browser) -> None:
    page = editor(place, browser)
    page.get_by_label("The plan as text").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("title: Typed\nblocks:\n  - name: main\nsteps: [{work: 40s}]\n")
    # A new line begins as far in as the one before it.
    assert text_of(page) == "title: Typed\nblocks:\n  - name: main\n  steps: [{work: 40s}]\n  "
    page.keyboard.press("Control+A")
    page.keyboard.insert_text("title: Typed\nblocks:\n  - {name: main, steps: [{work: 40s}]}\n")
    for _ in range(8):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.value") == "keep":
            break
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/plans/[0-9a-f]{32}\?said=kept"))
    assert page.get_by_role("heading", name="Typed").is_visible()
    page.context.close()


@pytest.mark.parametrize("screen", [PHONE, {"width": 320, "height": 640}])
def test_without_scripts_a_button_draws_and_mistakes_keep_what_was_typed(
    place: Served, browser: Browser, fits: Callable[[Page], None], screen: dict[str, int]
) -> None:
    page = editor(place, browser, screen=screen, java_script_enabled=False)
    text = page.get_by_label("The plan as text")
    text.fill(PLAN)
    page.get_by_role("button", name="Draw").click()
    assert page.get_by_role("img", name="rope").is_visible()
    fits(page)
    text.fill(PLAN.replace("rest: 10s", "rest: 10"))
    page.get_by_role("button", name="Keep").click()
    assert "Line 10 - rest: 10" in page.locator(".faults").inner_text().replace("\n", " ")
    assert text_of(page) == PLAN.replace("rest: 10s", "rest: 10")
    fits(page)
    page.context.close()


# ---- versions and reuse


def test_every_version_stays_and_what_changed_is_told(
    place: Served, browser: Browser, axe: Callable[[Page], None]
) -> None:
    page = editor(place, browser)
    page.get_by_label("The plan as text").fill(PLAN)
    page.get_by_role("button", name="Keep").click()
    page.get_by_label("The plan as text").fill(PLAN.replace("rounds: 2", "rounds: 3"))
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("link", name="Every version").click()
    axe(page)
    page.get_by_role("link", name="2: what changed").click()
    assert page.locator("del").all_inner_texts() == ["    rounds: 2"]
    assert page.locator("ins").all_inner_texts() == ["    rounds: 3"]
    assert "Length: 2" in page.locator("main").inner_text()
    axe(page)
    page.get_by_label("What changed since version").select_option("1")
    page.get_by_role("button", name="Compare").click()
    assert page.locator("ins").count() == 1
    page.goto(page.url.replace("versions/2", "versions/1").split("?")[0])
    page.get_by_role("link", name="Take this text up again").click()
    assert text_of(page) == PLAN
    page.get_by_role("link", name="Write a new plan with this text").click()
    assert text_of(page) == PLAN.replace("rounds: 2", "rounds: 3")
    page.context.close()


@pytest.mark.parametrize(
    ("before", "after", "kinds"),
    [
        ("a\nb\n", "a\nb\n", []),
        ("a\nb\n", "a\nb", []),
        ("a\nb\n", "a\nc\n", ["same", "gone", "new"]),
        ("a\n", "a\nb\n", ["same", "new"]),
        ("\n".join("abcdefghijkl"), "\n".join("Abcdefghijk"),
         ["gone", "new", *["same"] * 3, "gap", *["same"] * 3, "gone"]),
    ],
)  # fmt: skip
def test_two_texts_are_compared_line_by_line(before: str, after: str, kinds: list[str]) -> None:
    lines = compared(before, after)
    assert [line.kind for line in lines] == kinds
    texts = before.split("\n"), after.split("\n")
    for line in lines:
        for number, text in zip((line.before, line.after), texts, strict=True):
            assert number is None or text[number - 1] == line.text
