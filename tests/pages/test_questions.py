"""Questions are settled with one click, files change hands with one click, and both are undone."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from api.pages.class_files import offers
from api.pages.file_words import OTHER, SENSOR, TO_DO, TO_KNOW, WEAR, words_for
from api.settings import Settings
from reconcile.result import RecordingResult
from tests.pages.big_class import lay_result, made_class, made_result
from tests.pages.served import DESK, PHONE, Served
from tests.service.gym import API, GymUnderTest, open_gym, rower_csv, upload


@pytest.fixture
def gym(tmp_path_factory: pytest.TempPathFactory) -> Iterator[GymUnderTest]:
    with open_gym(Settings(data=tmp_path_factory.mktemp("ask"), workers=0)) as found:
        yield found


def at_class(browser: Browser, place: Served, screen: dict[str, int]) -> Page:
    page = place.page(browser, "coach", screen, java_script_enabled=False)
    page.goto(place.url(f"/classes/{place.class_id}"))
    return page


@pytest.mark.parametrize("screen", [PHONE, DESK])
def test_one_click_settles_a_question_and_another_opens_it_again(
    browser: Browser, served_class_to_change: Served, screen: dict[str, int]
) -> None:
    page = at_class(browser, served_class_to_change, screen)
    asked = page.locator("article.ask")
    assert asked.count() == 3
    first = asked.filter(has=page.get_by_role("heading", name="Pim Vos"))
    assert first.locator(".reasons li").first.inner_text().startswith("94 in 100")
    first.get_by_role("button", name="It was written down wrongly").click()
    assert "That is settled." in page.get_by_role("status").first.inner_text()
    first = page.locator("article.ask").last  # open ones come first
    assert "the score was corrected. It was written down wrongly" in first.inner_text()
    assert "2 scores:" in page.get_by_role("region", name="In short").inner_text()
    first.get_by_role("button", name="Undo").click()
    assert "3 scores:" in page.get_by_role("region", name="In short").inner_text()
    page.context.close()


def test_a_question_is_settled_in_other_words_too(
    browser: Browser, served_class_to_change: Served
) -> None:
    page = at_class(browser, served_class_to_change, DESK)
    first = page.locator("article.ask").first
    first.get_by_text("In other words, or correct the score").click()
    first.get_by_label("Why").fill("the sheet was wet")
    first.get_by_role("button", name="the score is set aside").click()
    settled = page.locator("article.ask").last.inner_text()
    assert "the score is set aside. the sheet was wet" in settled
    page.context.close()


def test_a_question_is_not_settled_without_a_reason(gym: GymUnderTest) -> None:
    class_id = made_class(gym, 5)
    coach = gym.client("coach")
    for form in ({"outcome": "stands", "reason": "  "}, {"reason": "asked"}, {"quick": "no"}):
        said = {"athlete": "x05", "block": "main", **form}
        assert coach.post(f"/classes/{class_id}/decisions", data=said).status_code == 422
    assert coach.get(f"{API}/classes/{class_id}/decisions").json()["items"] == []


def test_undoing_what_nobody_decided_finds_nothing(gym: GymUnderTest) -> None:
    class_id = made_class(gym, 5)
    said = {"athlete": "x05", "block": "main"}
    answer = gym.client("coach").post(f"/classes/{class_id}/decisions/undo", data=said)
    assert answer.status_code == 404


def test_what_the_athlete_says_of_a_verdict_is_a_question_to_the_coach(gym: GymUnderTest) -> None:
    class_id = made_class(gym, 3)  # nobody of these is flagged
    coach = gym.client("coach")
    assert "No score is in question." in coach.get(f"/classes/{class_id}").text
    said = {"block": "main", "reason": "the count was read out"}
    sent = gym.client("x02").post(f"{API}/classes/{class_id}/disputes", json=said)
    assert sent.is_success, sent.text
    shown = coach.get(f"/classes/{class_id}").text
    assert "They say: the count was read out" in shown
    quick = {"athlete": "x02", "block": "main", "quick": "done"}
    coach.post(f"/classes/{class_id}/decisions", data=quick)
    assert "They say" not in coach.get(f"/classes/{class_id}").text


def crossed(gym: GymUnderTest) -> str:
    """A class in which two athletes' files fit each other; gives its identifier."""
    class_id = made_class(gym, 2)
    coach = gym.client("coach")
    for seed, handle in ((1, "x01"), (2, "x02")):
        assert upload(coach, class_id, (f"{handle}.rower.csv", rower_csv(seed))).is_success
    result = made_result(["x01", "x02"])
    others = {"x01": "x02", "x02": "x01"}
    for athlete in result.athletes:
        file = RecordingResult(
            **{
                **vars(athlete.recordings[0]),
                "file": f"{athlete.athlete}.rower.csv",
                "belongs_to": others[athlete.athlete],
            }
        )
        object.__setattr__(athlete, "recordings", (file,))
    lay_result(gym, class_id, result)
    return class_id


def owner_pins(gym: GymUnderTest, class_id: str) -> dict[str, str]:
    pins = gym.client("coach").get(f"{API}/classes/{class_id}/pins").json()["items"]
    return {pin["file"]: pin["owner"] for pin in pins}


def test_a_swap_of_two_is_one_offer_that_one_click_accepts_and_two_undo(gym: GymUnderTest) -> None:
    class_id = crossed(gym)
    coach = gym.client("coach")
    shown = coach.get(f"/classes/{class_id}").text
    assert shown.count("Swap them") == 1
    both = {"file": ["x01.rower.csv", "x02.rower.csv"], "owner": ["x02", "x01"]}
    assert coach.post(f"/classes/{class_id}/owners", data=both).status_code == 200
    assert owner_pins(gym, class_id) == {"x01.rower.csv": "x02", "x02.rower.csv": "x01"}
    shown = coach.get(f"/classes/{class_id}").text
    assert "Swap them" not in shown
    assert shown.count("as you said.") == 2
    pins = coach.get(f"{API}/classes/{class_id}/pins").json()["items"]
    for pin in pins:
        coach.post(f"/classes/{class_id}/owners/{pin['id']}/undo")
    assert owner_pins(gym, class_id) == {}
    assert "Swap them" in coach.get(f"/classes/{class_id}").text


def test_a_swap_that_is_refused_is_not_offered_again(gym: GymUnderTest) -> None:
    class_id = crossed(gym)
    coach = gym.client("coach")
    stay = {"file": ["x01.rower.csv", "x02.rower.csv"], "owner": ["x01", "x02"]}
    coach.post(f"/classes/{class_id}/owners", data=stay)
    assert owner_pins(gym, class_id) == {"x01.rower.csv": "x01", "x02.rower.csv": "x02"}
    assert "Swap them" not in coach.get(f"/classes/{class_id}").text


def test_a_file_without_an_owner_is_given_to_whom_it_fits(
    browser: Browser, served_class_to_change: Served
) -> None:
    page = at_class(browser, served_class_to_change, DESK)
    page.get_by_role("button", name="Give to Bea Hart").click()
    assert owner_pins(served_class_to_change.gym, served_class_to_change.class_id) == {
        "unassigned.ski.1.csv": "a09"
    }
    assert "Bea Hart's, as you said." in page.locator("body").inner_text()
    page.context.close()


@pytest.mark.parametrize(
    "form",
    [
        {"file": ["x01.rower.csv", "x02.rower.csv"], "owner": ["x02"]},
        {"file": ["x01.rower.csv"], "owner": [""]},
        {"file": ["absent.csv"], "owner": ["x01"]},
        {"file": ["x01.rower.csv"], "owner": ["absent"]},
    ],
)
def test_owners_that_cannot_be_change_nothing(
    gym: GymUnderTest, form: dict[str, list[str]]
) -> None:
    class_id = crossed(gym)
    answer = gym.client("coach").post(f"/classes/{class_id}/owners", data=form)
    assert answer.status_code in (404, 422)
    assert owner_pins(gym, class_id) == {}


def test_what_to_do_about_a_sensor_is_said_once() -> None:
    to_do, to_know = words_for(
        ["heart_rate_rough", "heart_rate_jumped", "truncated", "clock_out", "energy_assumptions"]
    )
    assert to_do == (
        TO_DO["truncated"], SENSOR["heart_rate_rough"], SENSOR["heart_rate_jumped"], WEAR,
    )  # fmt: skip
    assert to_know == (TO_KNOW["clock_out"],)


def test_a_problem_without_words_is_still_told_and_no_files_offer_nothing() -> None:
    assert words_for(["never_heard_of"]) == ((), (OTHER,))
    assert offers(()) == ()
