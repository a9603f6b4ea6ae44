"""The class sheet: what it says in ten seconds, its order, its weight, and on paper."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from api.pages.class_sheet import in_order
from api.settings import Settings
from tests.pages.big_class import made_class
from tests.pages.served import DESK, PHONE, Served
from tests.service.gym import GymUnderTest, make_class, open_gym

MOST_BYTES = 150_000


@pytest.fixture(scope="module")
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    settings = Settings(data=tmp_path_factory.mktemp("sheet"), workers=0)
    with open_gym(settings) as found:
        yield found


@pytest.fixture(scope="module")
def thirty(gym: GymUnderTest) -> str:
    return made_class(gym, 30)


def names_in(html: str) -> list[str]:
    return re.findall(r'<th scope="row"><a href="[^"]*/athletes/(\w+)">', html)


def test_a_row_leads_to_the_athletes_sheet_and_a_file_to_its_recording(
    browser: Browser, served_class: Served
) -> None:
    page = served_class.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    rows = page.locator("table.class").first.locator("tbody tr")
    assert rows.count() == 10
    assert rows.first.get_by_role("link").first.get_attribute("href") == (
        f"/classes/{served_class.class_id}/athletes/a01"
    )
    page.get_by_text("18 files", exact=True).click()
    link = page.locator("#uploads ~ details").get_by_role("link", name="a01.rower.fit")
    assert "/recordings/" in (link.get_attribute("href") or "")
    page.context.close()


def test_it_says_in_short_who_did_what_whom_to_ask_and_what_to_change(
    browser: Browser, served_class: Served
) -> None:
    page = served_class.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    short = page.get_by_role("region", name="In short").inner_text()
    assert "8 of 10 did every round" in short
    assert "rounds left out: Tadeo Quill" in short  # who sat round 4 out
    assert "too little recorded to say: Kofi Lund" in short  # whose only file cannot be read
    assert re.search(r"3 scores: Pim Vos, Sólveig Aðalsteinsdóttir and Jun Arden", short)
    assert "1 file seems to be somebody else's" in short
    assert re.search(r"prescribed: \d+ s left for the machine, 40 to 65 s meant", short)
    page.context.close()


def test_who_has_no_evidence_is_shown_as_such(browser: Browser, served_class: Served) -> None:
    page = served_class.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    row = page.locator("table.class").first.get_by_role("row", name="Kofi Lund")
    assert "nothing recorded that tells of this block" in row.inner_text()
    assert "unverifiable" in row.inner_text()
    page.context.close()


def test_a_strip_says_in_words_what_it_draws(browser: Browser, served_class: Served) -> None:
    page = served_class.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    row = page.locator("table.class").first.get_by_role("row", name="Runa Fjell")
    strips = row.locator("svg.done")
    assert strips.count() == 6
    said = strips.first.locator("title").text_content() or ""
    assert re.fullmatch(
        r"Round 1: worked from \d+ to 1\d\d of 130 s, on the machine from \d+ to 1\d\d s", said
    )
    page.context.close()


@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize("column", ["recorded", "logged", "energy", "machine", "round-3", "name"])
def test_every_column_sorts_without_scripts(
    gym: GymUnderTest, thirty: str, column: str, falling: bool
) -> None:
    query = f"?sort={column}&of=1" + ("&falling=1" if falling else "")
    answer = gym.client("coach").get(f"/classes/{thirty}{query}")
    found = names_in(answer.text)
    assert len(found) == 30
    if column in ("recorded", "logged", "round-3", "name"):  # these grow down the roster
        assert found == sorted(found, reverse=falling)
    way = "descending" if falling else "ascending"
    assert len(re.findall(f'aria-sort="{way}"', answer.text)) == 1


def test_questions_come_first_where_verdicts_are_sorted(gym: GymUnderTest, thirty: str) -> None:
    answer = gym.client("coach").get(f"/classes/{thirty}?sort=verdict&of=1")
    assert names_in(answer.text)[:6] == ["x05", "x10", "x15", "x20", "x25", "x30"]


def test_an_order_by_no_column_is_the_rosters() -> None:
    assert in_order((), "colour", falling=True) == ()
    assert in_order((), "round-x", falling=False) == ()


@pytest.mark.parametrize("query", ["?sort=ROUND", "?of=x", "?sort=a&falling=maybe"])
def test_an_order_that_cannot_be_is_refused(gym: GymUnderTest, thirty: str, query: str) -> None:
    assert gym.client("coach").get(f"/classes/{thirty}{query}").status_code == 422


def test_a_heading_sorts_where_the_table_stands(browser: Browser, served_class: Served) -> None:
    page = served_class.page(browser, "coach")
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    page.evaluate("window.same = true")
    page.get_by_role("link", name="logged").first.focus()
    page.keyboard.press("Enter")
    heading = page.get_by_role("columnheader", name="logged").first
    heading.and_(page.locator("[aria-sort=descending]")).wait_for()
    first = page.locator("table.class").first.locator("tbody tr").first
    assert "Annelise Brandt-Okonjo" in first.inner_text()  # 257 repetitions
    assert page.evaluate("window.same && document.activeElement.closest('th').cellIndex") == 8
    page.keyboard.press("Enter")
    heading.and_(page.locator("[aria-sort=ascending]")).wait_for()
    page.context.close()


def test_a_class_of_thirty_is_light_on_the_wire(gym: GymUnderTest, thirty: str) -> None:
    client = gym.client("coach")
    with client.stream("GET", f"/classes/{thirty}", headers={"Accept-Encoding": "gzip"}) as answer:
        sent = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == "gzip"
    assert len(gzip.decompress(sent)) > len(sent)
    assert len(sent) <= MOST_BYTES / 5


def test_a_class_not_worked_out_yet_and_one_with_nothing_recorded_say_so(
    gym: GymUnderTest,
) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    assert "There is no result yet." in coach.get(f"/classes/{class_id}").text
    gym.work()
    page = coach.get(f"/classes/{class_id}").text
    assert page.count("nothing recorded that tells of this block") == 2
    assert "No score is in question." in page
    assert "Planned and done" not in page  # nothing is known to have been done


def pages_of(page: Page, place: Path) -> int:
    """How many sheets of paper a page takes."""
    page.pdf(path=place, prefer_css_page_size=True)
    return len(re.findall(rb"/Type\s*/Page\b", place.read_bytes()))


@pytest.mark.parametrize(("people", "sheets"), [(12, 1), (30, 2)])
def test_the_class_sheet_prints_on_one_sheet_of_paper_and_a_big_class_on_two(
    browser: Browser, served_class_to_change: Served, tmp_path: Path, people: int, sheets: int
) -> None:
    class_id = made_class(served_class_to_change.gym, people)
    page = served_class_to_change.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class_to_change.url(f"/classes/{class_id}"))
    assert pages_of(page, tmp_path / "sheet.pdf") <= sheets
    page.context.close()


def test_a_class_of_ten_with_two_blocks_prints_on_one_sheet_of_paper(
    browser: Browser, served_class: Served, tmp_path: Path
) -> None:
    page = served_class.page(browser, "coach", java_script_enabled=False)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    assert pages_of(page, tmp_path / "sheet.pdf") == 1
    page.context.close()


@pytest.mark.parametrize("screen", [PHONE, DESK, {"width": 320, "height": 640}])
def test_it_fits_the_screen_and_axe_finds_nothing(
    browser: Browser,
    served_class: Served,
    screen: dict[str, int],
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
) -> None:
    page = served_class.page(browser, "coach", screen)
    page.goto(served_class.url(f"/classes/{served_class.class_id}"))
    for shut in page.locator("details").all():
        shut.evaluate("element => element.open = true")
    axe(page)
    fits(page)
    page.context.close()
