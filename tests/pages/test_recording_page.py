"""A recording's page: what tells where it belongs, and placing it by hand."""

from __future__ import annotations

import math
from typing import Any

import httpx2
import pytest
from playwright.sync_api import Browser, expect

from api.language import ENGLISH, language
from api.pages.evidence_words import clock_text, factor_text
from api.pages.recording_page import typed_start
from api.problems import Refused
from tests.pages.served import DESK, Served
from tests.pages.test_own_sheet import text_of
from tests.service.gym import API


def recording_of(place: Served, file: str) -> str:
    """A recording's identifier."""
    items = (
        place.gym.client("coach")
        .get(f"{API}/classes/{place.class_id}/recordings", params={"limit": 200})
        .json()["items"]
    )
    return str(next(each["id"] for each in items if each["file"] == file))


def address(place: Served, file: str) -> str:
    return f"/classes/{place.class_id}/recordings/{recording_of(place, file)}"


def result_of(place: Served, file: str) -> dict[str, Any]:
    document = place.gym.client("coach").get(f"{API}/classes/{place.class_id}/result").json()
    entries = [r for athlete in document["athletes"] for r in athlete["recordings"]]
    entries += document["unassigned"]
    found: dict[str, Any] = next(each for each in entries if each["file"] == file)
    return found


def pin(place: Served, who: str, file: str, **form: str) -> httpx2.Response:
    return place.gym.client(who).post(
        f"{address(place, file)}/pins", data=form, follow_redirects=False
    )


@pytest.mark.parametrize("file", ["a01.watch.fit", "a04.ski.csv", "unassigned.ski.1.csv"])
def test_each_block_has_its_place_with_its_rivals(served_class: Served, file: str) -> None:
    text = text_of(served_class.gym.client("coach").get(address(served_class, file)))
    for block in result_of(served_class, file)["blocks"]:
        assert f"Where {block['block']} begins" in text
        near = {clock_text(block["start_s"] + rounding) for rounding in (-0.02, 0, 0.02)}
        assert any(f"It begins {start} after the first sample" in text for start in near)
    assert "a million× less" in text


def test_an_athlete_sees_their_own_evidence_and_nobody_elses_name(served_class: Served) -> None:
    own = served_class.gym.client("a06").get(address(served_class, "a06.rower.fit"))
    text = text_of(own)
    for name in ("Runa Fjell", "Ivo Marsh", "Jun Arden"):
        assert name not in text
    assert served_class.gym.client("a01").get(own.request.url.path).status_code == 404


def test_a_recording_of_another_class_is_not_here(served_class: Served) -> None:
    recording = recording_of(served_class, "a01.watch.fit")
    other = f"/classes/{'0' * 32}/recordings/{recording}"
    assert served_class.gym.client("coach").get(other).status_code == 404


@pytest.mark.parametrize("who", ["coach", "a04"])
def test_a_pin_moves_the_block_and_is_shown_as_such_until_undone(
    served_class_to_change: Served, who: str
) -> None:
    place, file = served_class_to_change, "a04.ski.csv"
    before = {b["block"]: b["start_s"] for b in result_of(place, file)["blocks"]}
    wanted = before["orchard"] + 3.5
    assert pin(place, who, file, block="orchard", start=clock_text(wanted)).status_code == 303
    place.gym.work()
    after = {b["block"]: b["start_s"] for b in result_of(place, file)["blocks"]}
    assert after["orchard"] == pytest.approx(wanted, abs=0.5)  # the step of the places tried
    by = "as a coach said" if who == "coach" else "as the athlete said"
    for reader in ("coach", "a04"):
        page = place.gym.client(reader).get(address(place, file))
        assert "placed by hand" in text_of(page)
        assert by in text_of(page)
    sheet = text_of(place.gym.client("a04").get(f"/classes/{place.class_id}"))
    assert f"orchard placed by hand, by {'a coach' if who == 'coach' else 'the athlete'}" in sheet
    (found,) = place.gym.client("coach").get(f"{API}/classes/{place.class_id}/pins").json()["items"]
    undo = f"{address(place, file)}/pins/{found['id']}/undo"
    assert place.gym.client(who).post(undo, follow_redirects=False).status_code == 303
    place.gym.work()
    assert {b["block"]: b["start_s"] for b in result_of(place, file)["blocks"]} == before


def test_a_second_pin_takes_the_place_of_the_first(served_class_to_change: Served) -> None:
    place, file = served_class_to_change, "a04.ski.csv"
    for start in ("10:00", "10:05"):
        assert pin(place, "a04", file, block="orchard", start=start).status_code == 303
    pins = place.gym.client("coach").get(f"{API}/classes/{place.class_id}/pins").json()["items"]
    assert [each["start_s"] for each in pins] == [605]


def test_an_athlete_cannot_move_what_a_coach_placed_nor_say_whose_a_file_is(
    served_class_to_change: Served,
) -> None:
    place, file = served_class_to_change, "a04.ski.csv"
    assert pin(place, "coach", file, block="orchard", start="10:00").status_code == 303
    assert pin(place, "a04", file, block="orchard", start="11:00").status_code == 409
    (found,) = place.gym.client("a04").get(f"{API}/classes/{place.class_id}/pins").json()["items"]
    undo = f"{address(place, file)}/pins/{found['id']}/undo"
    assert place.gym.client("a04").post(undo, follow_redirects=False).status_code == 404
    assert pin(place, "a04", file, owner="a01").status_code == 404


def test_a_coach_says_whose_a_file_is(served_class_to_change: Served) -> None:
    place, file = served_class_to_change, "unassigned.ski.1.csv"
    assert pin(place, "coach", file, owner="a04").status_code == 303
    place.gym.work()
    assert result_of(place, file)["belongs_to"] == "a04"
    text = text_of(place.gym.client("coach").get(address(place, file)))
    assert "fixed by hand" in text
    assert "It is Tadeo Quill's." in text


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("12:51.5", 771.5), ("771", 771), ("−0:34.1", -34.1), ("-3", -3), ("1:02:03", 3723)],
)
def test_a_start_is_typed_as_it_is_shown(typed: str, seconds: float) -> None:
    assert typed_start(typed) == seconds


@pytest.mark.parametrize("typed", ["", "soon", "12:5x", "99999999", "--3"])
def test_what_is_no_start_is_refused(typed: str) -> None:
    with pytest.raises(Refused, match="such as 12:51"):
        typed_start(typed)


@pytest.mark.parametrize("seconds", [0, 0.04, 59.96, -34.1, 771.5, 3723, 605])
def test_a_start_reads_back_as_it_was_written(seconds: float) -> None:
    assert typed_start(clock_text(seconds)) == pytest.approx(seconds, abs=0.051)


@pytest.mark.parametrize(
    ("factor", "said"),
    [
        (1.05, "as likely"),
        (12, "12× more"),
        (1 / 3.456, "3.5× less"),
        (1e9, "over a million× more"),
    ],
)
def test_factors_are_said_in_two_figures(factor: float, said: str) -> None:
    assert factor_text(ENGLISH, math.log(factor)) == said


def test_numbers_are_written_in_the_readers_way() -> None:
    assert "3,5" in factor_text(language("de_DE"), math.log(1 / 3.456))


def test_a_block_is_dragged_in_the_picture_and_moved_by_keys(
    browser: Browser, served_class: Served
) -> None:
    page = served_class.page(browser, "a04", DESK)
    page.goto(served_class.url(address(served_class, "a04.ski.csv")))
    grip = page.locator(".grip[data-block=orchard]")
    field = page.locator("input[data-of=orchard]")
    before = typed_start(field.input_value())
    box = grip.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 40, box["y"] + 60, steps=4)
    page.mouse.up()
    dragged = typed_start(field.input_value())
    assert dragged > before + 10
    moved = grip.bounding_box()
    assert moved is not None
    assert moved["x"] - box["x"] == pytest.approx(40, abs=3)
    slider = page.get_by_label("Or move it, and look at the picture").nth(1)
    expect(slider).to_be_visible()
    slider.focus()
    page.keyboard.press("ArrowLeft")
    assert typed_start(field.input_value()) == pytest.approx(dragged - 0.5, abs=0.26)
    page.context.close()


def test_without_scripts_a_start_is_typed(browser: Browser, served_class: Served) -> None:
    page = served_class.page(browser, "a04", DESK, java_script_enabled=False)
    page.goto(served_class.url(address(served_class, "a04.ski.csv")))
    page.locator("details.by-typing").nth(1).locator("summary").click()
    expect(page.locator("input[data-of=orchard]")).to_be_editable()
    expect(page.locator("input[type=range]").nth(1)).to_be_hidden()
    page.context.close()
