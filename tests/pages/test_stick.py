"""A stick of machine files: many at once, each with what became of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from api.people.consents import note_answer
from api.settings import Settings
from tests.pages.served import PHONE, Served
from tests.service.gym import API, GymUnderTest, make_class, open_gym, rower_csv

Sent = list[tuple[str, tuple[str, bytes]]]


@pytest.fixture
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    with open_gym(Settings(data=tmp_path_factory.mktemp("stick"), workers=0)) as found:
        yield found


def sent(*files: tuple[str, bytes]) -> Sent:
    return [("files", file) for file in files]


def became(html: str) -> dict[str, list[str]]:
    """The list of what became of each file, by its name."""
    section = html.partition('id="arrived"')[2].partition("</section>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", section, re.DOTALL)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL) for row in rows[1:]]
    return {row[0]: [cell.strip() for cell in row[1:]] for row in cells}


def test_each_file_is_listed_with_what_became_of_it(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    first = rower_csv(1)
    files = sent(
        ("ada.rower.csv", first),
        ("00012.CSV", rower_csv(2)),
        ("copy of it.csv", first),
        ("holiday.jpg", b"\xff\xd8\xff\xe0 no recording"),
        ("none.fit", b""),
    )
    shown = became(coach.post(f"/classes/{class_id}/stick", files=files).text)
    assert shown["ada.rower.csv"] == ["kept", "being worked out"]
    assert shown["00012.CSV"] == ["kept", "being worked out"]
    assert shown["copy of it.csv"][0] == "was here already"
    assert shown["holiday.jpg"][0].startswith("not taken: That file is not a recording")
    assert shown["none.fit"] == [
        "not taken: That file is empty: save the recording again and send the new file.", "–",
    ]  # fmt: skip
    kept = coach.get(f"{API}/classes/{class_id}/recordings").json()["items"]
    assert sorted(len(each["athletes"]) for each in kept) == [0, 1]


def test_whose_a_file_seems_to_be_stands_there_once_it_is_worked_out(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    coach.post(f"/classes/{class_id}/stick", files=sent(("ada.rower.csv", rower_csv(1))))
    assert "Whose they are is being worked out." in coach.get(f"/classes/{class_id}/stick").text
    gym.work()
    page = coach.get(f"/classes/{class_id}/stick").text
    assert "being worked out" not in page
    row = page.partition("ada.rower.csv</a></th>")[2].partition("</tr>")[0]
    assert row.count("Ada Testperson") == 2  # by the name, and by the work in it


def test_one_athlete_who_said_no_keeps_no_other_file_out(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    with gym.service.database.writing() as session:
        note_answer(session, person_id=gym.people["bo"], purpose="recordings", agreed=False)
    files = sent(("bo.rower.csv", rower_csv(1)), ("ada.rower.csv", rower_csv(2)))
    shown = became(gym.client("coach").post(f"/classes/{class_id}/stick", files=files).text)
    assert shown["bo.rower.csv"][0].startswith("not taken: This athlete has not agreed")
    assert shown["ada.rower.csv"][0] == "kept"


def test_the_machine_that_is_said_is_kept_and_a_made_up_one_is_not(gym: GymUnderTest) -> None:
    class_id = make_class(gym)
    coach = gym.client("coach")
    for seed, source in ((1, "ski"), (2, "sled")):
        coach.post(
            f"/classes/{class_id}/stick",
            files=sent((f"{seed}.csv", rower_csv(seed))),
            data={"source": source},
        )
    kept = coach.get(f"{API}/classes/{class_id}/recordings").json()["items"]
    assert "ski" in {each["source"] for each in kept}
    assert "sled" not in {each["source"] for each in kept}


def test_files_dropped_on_the_page_are_on_their_way_at_once(
    browser: Browser,
    served_class_to_change: Served,
    tmp_path: Path,
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
) -> None:
    place = served_class_to_change
    page = place.page(browser, "coach", PHONE)
    page.goto(place.url(f"/classes/{place.class_id}/stick"))
    axe(page)
    fits(page)
    with page.expect_navigation():
        page.evaluate(
            """text => {
              const data = new DataTransfer();
              data.items.add(new File([text], "1.csv"));
              data.items.add(new File(["not a recording"], "2.txt"));
              document.body.dispatchEvent(
                new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
            }""",
            rower_csv(9).decode(),
        )
    rows = page.locator("#arrived ~ .frame tbody tr")
    assert [row.split("\t")[0] for row in rows.all_inner_texts()] == ["1.csv", "2.txt"]
    fits(page)
    page.context.close()
