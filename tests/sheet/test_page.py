"""The class page is one sound HTML file that needs nothing else, and every drawing has words."""

import dataclasses
import itertools
import re
from collections import Counter
from pathlib import Path
from xml.etree.ElementTree import Element

import html5lib
import pytest
from playwright.sync_api import Browser, Page

from api.sheet.page import class_page
from reconcile.result import ClassResult
from tests.sheet.example import MAIN, PLAN, RECORD, RESULT, rest, work

HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"

# WCAG 2.2, success criterion 1.4.3: text of body size has a contrast of at least 4.5 to 1.
LEAST_CONTRAST = 4.5


@pytest.fixture(scope="module")
def text() -> str:
    return class_page(RECORD, RESULT)


@pytest.fixture(scope="module")
def tree(text: str) -> Element:
    parsed: Element = html5lib.HTMLParser(strict=True).parse(text)
    return parsed


@pytest.fixture(scope="module")
def ids(tree: Element) -> dict[str, Element]:
    return {name: element for element in tree.iter() if (name := element.get("id"))}


def drawings(tree: Element) -> list[Element]:
    """Every drawing that says something (those that only stand beside their words are hidden)."""
    hidden = {
        id(inner)
        for element in tree.iter(f"{SVG}svg")
        if element.get("aria-hidden") == "true"
        for inner in element.iter()
    }
    nested = {
        id(inner)
        for element in tree.iter(f"{SVG}svg")
        for inner in element.iter(f"{SVG}svg")
        if inner is not element
    }
    return [e for e in tree.iter(f"{SVG}svg") if id(e) not in hidden | nested]


def words_of(element: Element | None) -> str:
    assert element is not None
    return " ".join("".join(element.itertext()).split())


def test_the_page_is_strict_html_and_the_same_each_time(text: str, tree: Element) -> None:
    assert tree.tag == f"{HTML}html"
    assert tree.get("lang") == "en"
    assert text == class_page(RECORD, RESULT)


def test_nothing_outside_the_page_is_referred_to_and_no_script_is_in_it(
    text: str, tree: Element
) -> None:
    assert not re.search(r"url\((?!#)|@import|https?:|src=|<script|<link|javascript:", text)
    links = [element.get("href", "") for element in tree.iter(f"{HTML}a")]
    assert links
    assert all(link.startswith("#") for link in links)


def test_every_id_is_there_once_and_every_link_and_label_leads_to_one(
    tree: Element, ids: dict[str, Element]
) -> None:
    counted = Counter(element.get("id") for element in tree.iter() if element.get("id"))
    assert set(counted.values()) == {1}
    for element in tree.iter():
        if element.tag == f"{HTML}a":
            assert element.get("href", "")[1:] in ids
        for attribute in ("aria-labelledby", "aria-details"):
            for name in (element.get(attribute) or "").split():
                assert name in ids


def test_every_drawing_has_a_title_a_description_and_a_table_of_its_data(
    tree: Element, ids: dict[str, Element]
) -> None:
    found = drawings(tree)
    assert len(found) == 5 * 3 + 3
    for drawing in found:
        assert drawing.get("role") == "img"
        title, description = (drawing.find(f"{SVG}{part}") for part in ("title", "desc"))
        assert words_of(title)
        assert words_of(description)
        assert title is not None
        assert description is not None
        labels = drawing.get("aria-labelledby", "").split()
        assert labels == [title.get("id"), description.get("id")]
        table = ids[drawing.get("aria-details", "")]
        assert table.tag == f"{HTML}details"
        assert len(list(table.iter(f"{HTML}tr"))) > 1


def test_a_strip_says_in_words_what_it_draws(text: str) -> None:
    assert (
        "Round 1 of a01: worked from 2 s to 128 s of 130 s, on the machine from 78 s to 128 s."
        in text
    )
    assert "Round 2 of a02: left out." in text
    assert "Round 3 of a02: unknown." in text


def test_tables_name_their_columns_and_rows(tree: Element) -> None:
    tables = list(tree.iter(f"{HTML}table"))
    assert tables
    for table in tables:
        columns = [cell.get("scope") for cell in table.iter(f"{HTML}th")]
        assert set(columns) == {"col", "row"}
        heading = table.find(f"{HTML}thead/{HTML}tr")
        assert heading is not None
        width = len(heading)
        assert all(len(row) == width for row in table.findall(f"{HTML}tbody/{HTML}tr"))


def test_headings_go_down_one_level_at_a_time_from_a_single_first(tree: Element) -> None:
    levels = [int(e.tag[-1]) for e in tree.iter() if re.fullmatch(rf"{HTML}h[1-6]", str(e.tag))]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_the_class_table_comes_first_then_the_questions_then_a_picture_an_athlete(
    text: str,
) -> None:
    places = [text.index(part) for part in ('<table class="class"', 'id="questions"', 'id="p1-t"')]
    assert places == sorted(places)


def test_every_verdict_stands_there_as_a_sign_and_a_word(tree: Element) -> None:
    cells = [
        words_of(cell)
        for cell in tree.iter(f"{HTML}td")
        if "verdict" in (cell.get("class") or "").split()
    ]
    assert cells == [
        "=confirmed",
        "≠doubtful ask 1 ask 3",
        "–unverifiable",
        "×impossible ask 2 ask 4",
        "≈plausible",
    ]


def test_a_question_gives_what_was_seen_the_likeliest_way_to_it_and_the_asking(
    tree: Element, ids: dict[str, Element]
) -> None:
    assert words_of(ids["question-1"]) == (
        "ask 1 a02: 52 cal logged, 37 cal recorded (36.5 to 37.5). Likeliest (62 in 100): "
        "One round may stand there twice. Could a round have been written down twice?"
    )


def test_what_people_wrote_stays_text(text: str, tree: Element) -> None:
    assert "<b>sack" not in text
    assert "&lt;b&gt;sack&lt;/b&gt; felt light" in text
    assert not list(tree.iter(f"{HTML}script"))
    assert words_of(tree.find(f".//{HTML}h1")) == "Orchard <sixes> & sons"


def test_the_words_of_care_and_what_the_words_mean_are_on_the_page(tree: Element) -> None:
    words = words_of(tree)
    for part in (
        "not a medical device",
        "chest pain",
        "Heart data is private",
        "There is a question to ask",
        "plain: work, as planned",
    ):
        assert part in words


def test_an_athlete_without_recordings_gets_a_sentence_in_place_of_a_picture(text: str) -> None:
    assert "Nothing was recorded that belongs to a05" in text


def test_a_class_with_nothing_to_ask_and_no_odd_file_says_only_that() -> None:
    page = class_page(RECORD, ClassResult("t", (RESULT.athletes[0],), ()))
    assert "Nothing that was recorded speaks against what was logged." in page
    assert "Files to know about" not in page


def test_an_athlete_without_a_score_is_called_not_scored() -> None:
    athlete = dataclasses.replace(RESULT.athletes[0], scores=())
    assert "not scored" in class_page(RECORD, ClassResult("t", (athlete,), ()))


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_one_ink_on_one_paper_with_contrast_to_spare(text: str) -> None:
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", text))
    assert set(re.findall(r"#[0-9a-f]{6}\b", text)) == set(named.values())
    paper = luminance(named["paper"])
    for ink in ("ink", "soft"):
        assert (paper + 0.05) / (luminance(named[ink]) + 0.05) >= LEAST_CONTRAST
    for colour in named.values():
        parts = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
        assert max(parts) - min(parts) <= 16, f"{colour} has a hue"


def opened(browser: Browser, text: str, folder: Path, width: int) -> tuple[Page, list[str]]:
    """The page in a window of some width, scripts off, and whatever it asked to fetch."""
    path = folder / "class.html"
    path.write_text(text, encoding="utf-8")
    context = browser.new_context(
        viewport={"width": width, "height": 800}, java_script_enabled=False
    )
    page = context.new_page()
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url))
    page.goto(path.as_uri())
    return page, fetched


@pytest.mark.parametrize("width", [320, 360, 390, 768, 1280])
def test_the_page_never_scrolls_sideways_and_fetches_nothing(
    browser: Browser, text: str, tmp_path: Path, width: int
) -> None:
    page, fetched = opened(browser, text, tmp_path, width)
    for summary in page.locator("summary").all():
        summary.click()
    # The page's own scripts are off; this one is the test's.
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert len(fetched) == 1
    page.context.close()


@pytest.mark.parametrize("width", [320, 1280])
def test_many_rounds_and_long_names_scroll_in_their_own_frame(
    browser: Browser, tmp_path: Path, width: int
) -> None:
    block = dataclasses.replace(MAIN, rounds=30, name="around-the-harbour-" * 6)
    record = dataclasses.replace(RECORD, plan=dataclasses.replace(PLAN, blocks=(block,)))
    athlete = dataclasses.replace(
        RESULT.athletes[1],
        athlete="averylongname" * 9,
        intervals=tuple(
            dataclasses.replace(step, block=block.name)
            for number in range(1, 31)
            for step in (work(number), rest(number))
        ),
        block_start_s={block.name: 0.0},
    )
    page, _ = opened(
        browser, class_page(record, ClassResult("harbour" * 30, (athlete,), ())), tmp_path, width
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".class .strip").count() == 30
    page.context.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_a_table_stays_a_table_for_those_who_hear_it(
    browser: Browser, text: str, tmp_path: Path, width: int
) -> None:
    page, _ = opened(browser, text, tmp_path, width)
    table = page.get_by_role("table", name="orchard")
    assert table.get_by_role("rowheader").count() == 5
    assert table.get_by_role("row").nth(1).get_by_role("cell").count() == 3 + 5
    assert table.get_by_role("img", name="Round 1").count() == 5
    page.context.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_drawings_are_drawn(browser: Browser, text: str, tmp_path: Path, width: int) -> None:
    page, _ = opened(browser, text, tmp_path, width)
    for selector in (".class .strip", ".whole", ".whole .pulse", ".whole .power", ".machine"):
        box = page.locator(selector).first.bounding_box()
        assert box is not None
        assert box["width"] > 1
        assert box["height"] > 1
    page.context.close()


def test_the_keyboard_reaches_links_pictures_and_numbers_and_shows_where_it_is(
    browser: Browser, text: str, tmp_path: Path
) -> None:
    page, _ = opened(browser, text, tmp_path, 1280)
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        focus = page.locator(":focus")
        if focus.count() == 0:
            break
        tag = focus.evaluate("element => element.tagName")
        reached.add(tag)
        assert focus.evaluate("element => getComputedStyle(element).outlineStyle") == "solid"
    assert reached >= {"A", "SUMMARY", "DIV"}
    page.context.close()


def test_the_class_table_is_printed_on_the_first_sheet(
    browser: Browser, text: str, tmp_path: Path
) -> None:
    page, _ = opened(browser, text, tmp_path, 1280)
    page.emulate_media(media="print")
    assert page.locator("#class-numbers").is_hidden()
    assert page.locator("table.class").first.is_visible()
    assert page.pdf(format="A4").startswith(b"%PDF")
    page.context.close()
