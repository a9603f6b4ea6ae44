"""Scores from the board: typed, pasted, by keyboard alone, and without scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from api.settings import Settings
from tests.pages.served import DESK, PHONE, Served
from tests.service.gym import API, GymUnderTest, make_class, open_gym

SECONDS = """\
title: Stair pairs
options: [whole, half]
blocks:
  - name: stairs
    rounds: 2
    steps:
      - work: 3m
        tasks: [{movement: rower, metres: 500}]
      - rest: 1m
    score: {measure: seconds, take: lowest}
"""


@pytest.fixture
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    with open_gym(Settings(data=tmp_path_factory.mktemp("board"), workers=0)) as found:
        yield found


def cell(column: str, handle: str, number: int = 1) -> str:
    return f"{number}.{column}.{handle}"


def scores(gym: GymUnderTest, class_id: str) -> dict[str, dict[str, Any]]:
    items = gym.client("coach").get(f"{API}/classes/{class_id}/scores").json()["items"]
    return {item["athlete"]: item for item in items}


def test_a_row_keeps_what_is_typed_short_words_too(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    form = {
        cell("option", "ada"): "li", cell("equipment", "ada"): "R", cell("r1", "ada"): "12",
        cell("r2", "ada"): "11,5", cell("score", "ada"): "34", cell("load", "ada"): "32",
        cell("notes", "ada"): "no shoes",
    }  # fmt: skip
    answer = gym.client("coach").post(
        f"/classes/{class_id}/board", data=form, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["location"]) == (
        303, f"/classes/{class_id}?said=kept",
    )  # fmt: skip
    kept = scores(gym, class_id)
    assert set(kept) == {"ada"}  # nothing was said of bo
    said = ("option", "equipment", "rounds", "score", "load_kg", "notes")
    assert [kept["ada"][name] for name in said] == [
        "lighter", "rower", [12, 11.5], 34, 32, "no shoes",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("column", "text", "said"),
    [
        ("score", "many", "Write a number"),
        ("score", "-3", "Write a number"),
        ("r2", "12 13", "Write a number"),
        ("load", "5000", "Write a number"),
        ("option", "heavier", "The plan has no such option."),
        ("equipment", "sled", "Write rower, ski, bike or none."),
    ],
)
def test_a_mistake_stands_at_its_cell_and_everything_typed_stays(
    gym: GymUnderTest, column: str, text: str, said: str
) -> None:
    class_id = make_class(gym)
    form = {
        cell("score", "bo"): "41",
        cell("notes", "ada"): "kept",
        cell("score", "ada"): "34",
        cell(column, "ada"): text,
    }
    answer = gym.client("coach").post(f"/classes/{class_id}/board", data=form)
    assert answer.status_code == 422
    field = answer.text.partition(f'name="{cell(column, "ada")}"')[2].partition("</td>")[0]
    assert f'value="{text}"' in field
    assert 'aria-invalid="true"' in field
    assert said in field
    assert 'value="kept"' in answer.text
    assert set(scores(gym, class_id)) == {"bo"}  # the whole row waits, the others do not


def test_a_time_may_be_typed_as_a_clock_shows_it(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    plan_id = coach.post(f"{API}/plans", json={"text": SECONDS}).json()["id"]
    body = {"plan_id": plan_id, "start": "2026-03-09T18:30:00+01:00"}
    class_id = coach.post(f"{API}/classes", json=body).json()["id"]
    coach.put(f"{API}/classes/{class_id}/roster", json={"athletes": [{"athlete": "ada"}]})
    form = {cell("r1", "ada"): "1:52", cell("r2", "ada"): "118", cell("score", "ada"): "1:52"}
    assert coach.post(f"/classes/{class_id}/board", data=form).is_success
    assert scores(gym, class_id)["ada"]["rounds"] == [112, 118]
    assert scores(gym, class_id)["ada"]["score"] == 112
    wrong = coach.post(f"/classes/{class_id}/board", data={cell("r1", "ada"): "soon"})
    assert "minutes and seconds" in wrong.text


def test_a_form_left_open_overwrites_nothing_that_came_meanwhile(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    coach.post(f"/classes/{class_id}/board", data={cell("score", "ada"): "30"})
    first = scores(gym, class_id)["ada"]["id"]
    logged = gym.client("ada").put(f"{API}/classes/{class_id}/scores/ada", json={"score": 33})
    assert logged.is_success
    stale = {
        cell("was", "ada"): first, cell("score", "ada"): "30",
        cell("was", "bo"): "", cell("score", "bo"): "41",
    }  # fmt: skip
    coach.post(f"/classes/{class_id}/board", data=stale)
    kept = scores(gym, class_id)
    assert (kept["ada"]["score"], kept["bo"]["score"]) == (33, 41)
    newer = {cell("was", "ada"): first, cell("score", "ada"): "31"}
    coach.post(f"/classes/{class_id}/board", data=newer)
    assert scores(gym, class_id)["ada"]["score"] == 31  # somebody typed it


def test_a_row_that_is_emptied_says_nothing_any_more(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    coach.post(f"/classes/{class_id}/board", data={cell("score", "ada"): "30"})
    was = scores(gym, class_id)["ada"]["id"]
    coach.post(f"/classes/{class_id}/board", data={cell("was", "ada"): was})
    assert scores(gym, class_id)["ada"]["score"] is None


def test_a_plan_without_a_score_and_a_class_without_people_say_so(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    text = SECONDS.replace("    score: {measure: seconds, take: lowest}\n", "")
    for plan, said in ((text, "scores no block"), (SECONDS, "Say first who took part.")):
        plan_id = coach.post(f"{API}/plans", json={"text": plan}).json()["id"]
        body = {"plan_id": plan_id, "start": "2026-03-09T18:30:00+01:00"}
        class_id = coach.post(f"{API}/classes", json=body).json()["id"]
        assert said in coach.get(f"/classes/{class_id}/board").text


def at_board(browser: Browser, place: Served, screen: dict[str, int], **options: Any) -> Page:
    page = place.page(browser, "coach", screen, **options)
    page.goto(place.url(f"/classes/{place.class_id}/board"))
    return page


def focused(page: Page) -> str:
    name: str = page.evaluate("document.activeElement.name")
    return name


def test_the_grid_is_filled_by_keyboard_alone(
    browser: Browser, served_class_to_change: Served
) -> None:
    page = at_board(browser, served_class_to_change, DESK)
    page.locator(f'[name="{cell("score", "a01")}"]').focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("67")
    page.keyboard.press("Enter")
    assert focused(page) == cell("score", "a02")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+Enter")
    assert focused(page) == cell("score", "a02")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowRight")
    assert focused(page) == cell("load", "a01")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("End")
    page.keyboard.press("ArrowLeft")  # inside the text the caret moves, not the cell
    assert focused(page) == cell("score", "a01")
    page.keyboard.press("Tab")
    assert focused(page) == cell("load", "a01")
    page.get_by_role("button", name="Keep").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**said=kept")
    page.context.close()
    assert scores_of(served_class_to_change, "orchard")["a01"] == 67


def scores_of(place: Served, block: str) -> dict[str, float]:
    items = place.gym.client("coach").get(f"{API}/classes/{place.class_id}/scores").json()["items"]
    return {item["athlete"]: item["score"] for item in items if item["block"] == block}


def test_cells_from_a_spreadsheet_paste_where_the_first_belongs(
    browser: Browser, served_class_to_change: Served
) -> None:
    page = at_board(browser, served_class_to_change, DESK)
    target = page.locator(f'[name="{cell("r6", "a09")}"]')
    target.focus()
    target.evaluate(
        """cell => {
          const data = new DataTransfer();
          data.setData("text/plain", "9\\t70\\t45\\r\\n8\\t71\\t46\\r\\n7\\t72\\t47\\r\\n");
          const options = { clipboardData: data, bubbles: true, cancelable: true };
          cell.dispatchEvent(new ClipboardEvent("paste", options));
        }"""
    )
    for column, handle, value in (
        ("r6", "a09", "9"), ("score", "a09", "70"), ("load", "a09", "45"),
        ("r6", "a10", "8"), ("score", "a10", "71"), ("load", "a10", "46"),
    ):  # fmt: skip
        assert page.locator(f'[name="{cell(column, handle)}"]').input_value() == value
    # the third row has no line here; the other block's grid is left alone
    assert page.get_by_role("status").last.inner_text() == "Cells pasted: 6"
    assert page.locator(f'[name="{cell("r1", "a01", 2)}"]').input_value() == "142"
    page.context.close()


def test_one_cell_pastes_as_text_does(browser: Browser, served_class_to_change: Served) -> None:
    page = at_board(browser, served_class_to_change, DESK)
    taken = page.locator(f'[name="{cell("score", "a01")}"]').evaluate(
        """cell => {
          const data = new DataTransfer();
          data.setData("text/plain", "70");
          const options = { clipboardData: data, bubbles: true, cancelable: true };
          return !cell.dispatchEvent(new ClipboardEvent("paste", options));
        }"""
    )
    assert taken is False  # the browser does it
    page.context.close()


@pytest.mark.parametrize("screen", [PHONE, DESK])
def test_it_works_without_scripts(
    browser: Browser,
    served_class_to_change: Served,
    screen: dict[str, int],
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
) -> None:
    looked = at_board(browser, served_class_to_change, screen)
    axe(looked)
    fits(looked)
    looked.context.close()
    page = at_board(browser, served_class_to_change, screen, java_script_enabled=False)
    page.get_by_role("textbox", name="Ivo Marsh score").first.fill("65")
    page.get_by_role("button", name="Keep").click()
    page.context.close()
    assert scores_of(served_class_to_change, "orchard")["a02"] == 65
