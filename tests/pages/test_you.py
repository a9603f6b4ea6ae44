"""The page of the person who asks: figures, reading, devices, keys, leaving."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.settings import Settings
from tests.pages.test_own_sheet import text_of
from tests.service.gym import API, GymUnderTest, make_class, open_gym


@pytest.fixture
def gym(tmp_path: Path) -> Iterator[GymUnderTest]:
    with open_gym(Settings(data=tmp_path / "data", workers=0)) as found:
        yield found


def person(gym: GymUnderTest, who: str = "ada") -> dict[str, object]:
    found: dict[str, object] = gym.client(who).get(f"{API}/people/{gym.people[who]}").json()
    return found


def test_figures_are_kept_and_blank_ones_forgotten(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    figures = {"name": "Ada Lind", "sex": "f", "birth_year": "1991", "mass_kg": "63,5"}
    assert ada.post("/you/figures", data=figures, follow_redirects=False).status_code == 303
    found = person(gym)
    assert (found["name"], found["sex"], found["birth_year"]) == ("Ada Lind", "f", 1991)
    assert (found["mass_kg"], found["max_hr"]) == (63.5, None)
    without = figures | {"birth_year": "", "sex": ""}
    assert ada.post("/you/figures", data=without, follow_redirects=False).status_code == 303
    assert (person(gym)["birth_year"], person(gym)["sex"]) == (None, None)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "", "Write a name"),
        ("birth_year", "91", "Write a year from 1900 to 2100."),
        ("birth_year", "1991.5", "Write a year from 1900 to 2100."),
        ("mass_kg", "heavy", "Write a mass that a person has."),
        ("mass_kg", "2", "Write a mass that a person has."),
        ("resting_hr", "300", "from 20 to 150"),
        ("max_hr", "20", "from 80 to 250"),
        ("vo2max", "500", "from 5 to 100"),
    ],
)
def test_a_figure_that_nobody_has_is_told_at_its_field_and_nothing_changes(
    gym: GymUnderTest, field: str, value: str, said: str
) -> None:
    before = person(gym)
    figures = {"name": "Ada Lind", "mass_kg": "63", field: value}
    answer = gym.client("ada").post("/you/figures", data=figures, follow_redirects=False)
    assert answer.status_code == 422
    assert said in answer.text
    assert answer.text.count('aria-invalid="true"') == 1
    assert person(gym) == before


def test_a_mass_is_read_and_shown_in_ones_own_unit(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    ada.post("/you/reading", data={"mass_unit": "lb"}, follow_redirects=False)
    ada.post("/you/figures", data={"name": "Ada", "mass_kg": "140"}, follow_redirects=False)
    assert person(gym)["mass_kg"] == pytest.approx(140 * 0.45359237, abs=0.005)  # NIST HB 44
    assert (
        'name="mass_kg" inputmode="decimal" autocomplete="off" value="140"' in ada.get("/you").text
    )


def test_a_chosen_language_is_spoken_whatever_the_browser_asks(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    ada.post("/you/reading", data={"locale": "de_AT"}, follow_redirects=False)
    assert '<html lang="de">' in ada.get("/you", headers={"Accept-Language": "en-GB"}).text
    ada.post("/you/reading", data={"locale": "nonsense"}, follow_redirects=False)
    assert '<html lang="en">' in ada.get("/you", headers={"Accept-Language": "en-GB"}).text


def test_a_link_for_another_device_signs_in_once(gym: GymUnderTest) -> None:
    shown = gym.client("ada").post("/you/links")
    (address,) = set(re.findall(r"http://testserver(/in/[\w-]+)", shown.text))
    phone = gym.client()
    assert phone.post(address, follow_redirects=False).headers["location"] == "/classes"
    assert "Ada Testperson" in text_of(phone.get("/you"))
    assert gym.client().post(address, follow_redirects=False).status_code == 404


def test_who_came_by_the_wall_makes_no_link_and_no_key(gym: GymUnderTest) -> None:
    visit = gym.client("ada", visit=make_class(gym))
    assert visit.post("/you/links").status_code == 404
    assert visit.post("/you/keys", data={"name": "x", "scopes": "read"}).status_code == 404
    text = text_of(visit.get("/you"))
    assert "Your figures" not in text
    assert "Erase me" not in text


def test_one_device_is_signed_out_and_the_others_stay(gym: GymUnderTest) -> None:
    lost, kept = gym.client("ada"), gym.client("ada")
    page = kept.get("/you").text
    assert page.count("/end") == 2
    here = page[: page.index(", here")].rindex("/you/sign-ins/")
    others = [
        found.group(1)
        for found in re.finditer(r"/you/sign-ins/(\w+)/end", page)
        if found.start() != here
    ]
    assert kept.post(f"/you/sign-ins/{others[0]}/end", follow_redirects=False).is_redirect
    assert lost.get("/you", follow_redirects=False).headers["location"] == "/sign-in"
    assert kept.get("/you").status_code == 200


def test_a_key_does_what_was_ticked_until_it_is_taken_away(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    page = ada.post("/you/keys", data={"name": "my script", "scopes": ["read", "upload"]}).text
    (secret,) = re.findall(r'<p class="long">([\w-]+)</p>', page)
    header = {"Authorization": f"Bearer {secret}"}
    assert gym.client().get(f"{API}/me", headers=header).json()["scopes"] == ["read", "upload"]
    assert secret not in ada.get("/you").text
    (token,) = re.findall(r"/you/keys/(\w+)/revoke", ada.get("/you").text)
    assert ada.post(f"/you/keys/{token}/revoke", follow_redirects=False).is_redirect
    assert gym.client().get(f"{API}/me", headers=header).status_code == 401


def test_erasing_needs_the_word(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    said = ada.post("/you/erasure", data={"sure": "yes"}, follow_redirects=False)
    assert said.headers["location"] == "/you?said=sure"
    assert ada.post("/you/erasure", data={"sure": "Erase"}, follow_redirects=False).is_redirect
    assert ada.get("/you", follow_redirects=False).headers["location"] == "/sign-in"
