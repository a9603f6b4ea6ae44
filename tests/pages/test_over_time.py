"""Over time: like beside like, for those who may see it, and nothing added up."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page

from api.over_time.service import efforts_by_round, likeness
from api.pages.over_time_page import chart_of
from api.settings import Settings
from reconcile.compliance import block_compliance
from reconcile.plan import Step, Task
from tests.pages.big_class import made_class
from tests.pages.served import DESK, PHONE, Served
from tests.service.gym import API, START, GymUnderTest, open_gym
from tests.sheet.example import LIFT, MACHINE, MAIN, rest, work


@pytest.fixture(scope="module")
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    """Three classes by one plan; in the last, x01 took the lighter option."""
    settings = Settings(data=tmp_path_factory.mktemp("time"), workers=0)
    with open_gym(settings) as found:
        for week in range(3):
            class_id = made_class(found, 3, start=START + timedelta(weeks=week))
        lighter = {"score": 60, "option": "lighter", "equipment": "rower"}
        path = f"{API}/classes/{class_id}/scores/x01"
        assert found.client("coach").put(path, json=lighter).is_success
        yield found


def own_page(gym: GymUnderTest, who: str, whose: str) -> str:
    answer = gym.client(who).get(f"/people/{gym.people[whose]}/over-time")
    assert answer.status_code == 200
    return answer.text


def test_the_same_block_with_the_same_option_and_machine_stands_together(
    gym: GymUnderTest,
) -> None:
    page = own_page(gym, "coach", "x02")
    assert page.count("<h2 ") == 1
    assert page.count('<tr><th scope="row">') == 3
    dates = re.findall(r'<th scope="row"><a href="[^"]*">([^<]*)</a>', page)
    assert dates == ["23 Mar 2026", "16 Mar 2026", "9 Mar 2026"]  # the latest first


def test_another_option_stands_apart(gym: GymUnderTest) -> None:
    page = own_page(gym, "coach", "x01")
    assert page.count("<h2 ") == 2
    assert "lighter, rower" in page
    assert "prescribed, rower" in page


def test_a_chart_has_a_title_a_description_and_its_numbers_below(gym: GymUnderTest) -> None:
    page = own_page(gym, "coach", "x02")
    drawn = page.partition('<svg class="course"')[2].partition("</svg>\n<figcaption")[0]
    assert "<title" in drawn
    assert "<desc" in drawn
    assert 'aria-details="course-1"' in drawn
    assert '<table class="class" id="course-1">' in page
    assert drawn.count("<circle") == 3
    assert drawn.count('class="cross"') == 3


def test_an_athlete_sees_their_own_and_no_classmate(gym: GymUnderTest) -> None:
    assert "X02 Testperson" in own_page(gym, "x02", "x02")
    client = gym.client("x02")
    for address in (
        f"/people/{gym.people['x01']}/over-time",
        f"{API}/people/{gym.people['x01']}/over-time.csv",
        f"/plans/{gym.client('coach').get(f'{API}/plans').json()['items'][0]['id']}/over-time",
    ):
        assert client.get(address).status_code == 404
    assert "X01" not in own_page(gym, "x02", "x02")


def test_an_owner_who_does_not_coach_sees_nothing_of_a_body(gym: GymUnderTest) -> None:
    assert gym.client("owner").get(f"/people/{gym.people['x01']}/over-time").status_code == 404


def test_who_withdraws_has_nothing_of_their_files_over_time_any_more(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    settings = Settings(data=tmp_path_factory.mktemp("withdrawn"), workers=0)
    with open_gym(settings) as gym:
        made_class(gym, 2)
        assert "confirmed" in own_page(gym, "coach", "x01")
        taken_back = gym.client("x01").put(
            f"{API}/me/consents/recordings", json={"agreed": False, "version": 1}
        )
        assert taken_back.is_success
        gym.work()
        page = own_page(gym, "coach", "x01")
        assert "confirmed" not in page.partition("How to read this")[0]


def test_classes_by_a_plan_stand_in_a_line_each(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    plan_id = coach.get(f"{API}/plans").json()["items"][0]["id"]
    page = coach.get(f"/plans/{plan_id}/over-time").text
    assert page.count('<tr><th scope="row">') == 3
    assert "40 to 65 s meant on the machine" in page
    assert page.count('<svg class="load"') == 0  # nobody's advice tells of the load here


def test_tables_hold_the_same_rows(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    own = coach.get(f"{API}/people/{gym.people['x01']}/over-time.csv")
    assert own.headers["content-type"] == "text/csv; charset=utf-8"
    lines = own.text.split("\r\n")
    assert lines[0].startswith("like,start,class,block,option,equipment,load_kg,rounds_planned")
    assert [line.split(",")[0] for line in lines[1:-1]] == ["1", "2", "2"]
    plan_id = coach.get(f"{API}/plans").json()["items"][0]["id"]
    table = coach.get(f"{API}/plans/{plan_id}/over-time.csv").text.split("\r\n")
    assert len(table) == 5  # a heading, three classes, and the last line's end


def test_what_is_alike_is_steps_tasks_and_score_and_not_the_load() -> None:
    heavier = replace(LIFT, load=None)
    same = replace(MAIN, steps=(Step("work", 130.0, (heavier, MACHINE)), MAIN.steps[1]))
    assert likeness(same) == likeness(MAIN)
    for other in (
        replace(MAIN, rounds=4),
        replace(MAIN, score=None),
        replace(MAIN, steps=(Step("work", 120.0, (LIFT, MACHINE)), MAIN.steps[1])),
        replace(MAIN, steps=(Step("work", 130.0, (LIFT, Task("rower"))), MAIN.steps[1])),
    ):
        assert likeness(other) != likeness(MAIN)


def test_an_options_own_task_makes_it_another_block() -> None:
    rope = replace(MACHINE, instead={"no machine": Task("rope slam", "reps", most=True)})
    block = replace(MAIN, steps=(Step("work", 130.0, (LIFT, rope)), MAIN.steps[1]))
    assert likeness(block, "no machine") != likeness(block, "prescribed")
    assert likeness(block, "prescribed") == likeness(MAIN)


def test_effort_by_round_is_power_where_a_machine_tells_and_else_heart_rate() -> None:
    steps = [work(1), rest(1), work(2, mean_power_w=None), rest(2)]
    assert efforts_by_round(block_compliance(steps)) == ("W", [181.0, None])
    alone = [work(1, mean_power_w=None), rest(1)]
    assert efforts_by_round(block_compliance(alone)) == ("bpm", [151.0])
    assert efforts_by_round(None) == ("", ())


def test_one_class_is_no_course() -> None:
    assert chart_of(()) is None


@pytest.mark.parametrize("screen", [PHONE, DESK])
def test_it_fits_the_screen_and_axe_finds_nothing(
    browser: Browser,
    served_class_to_change: Served,
    screen: dict[str, int],
    axe: Callable[[Page], None],
    fits: Callable[[Page], None],
) -> None:
    place = served_class_to_change
    for week in range(2):
        made_class(place.gym, 3, start=START + timedelta(weeks=week))
    page = place.page(browser, "coach", screen)
    for path in (
        f"/people/{place.gym.people['x02']}/over-time",
        f"/people/{place.gym.people['a03']}/over-time",
    ):
        page.goto(place.url(path))
        axe(page)
        fits(page)
    page.context.close()
