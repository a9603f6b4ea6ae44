"""Passwords, links, the code on the wall, tokens: short-lived, single use, revocable."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from sqlalchemy import update

from api.people.codes import code_svg
from api.people.passwords import password_hash
from api.problems import Refused
from api.settings import Settings
from api.storage.model import ApiToken, Person, SignIn, SignInLink
from api.storage.moments import now
from tests.service.gym import API, GymUnderTest, make_class, open_gym, rower_csv, upload

PASSWORD = "correct horse on a wet quay"


def give_password(gym: GymUnderTest, name: str) -> None:
    with gym.service.database.writing() as session:
        session.get_one(Person, gym.people[name]).password_hash = password_hash(PASSWORD)


def secret_of(url: str) -> str:
    return url.rsplit("/", 1)[1]


def test_a_password_signs_in_and_is_kept_as_argon2id_only(sqlite_gym: GymUnderTest) -> None:
    give_password(sqlite_gym, "coach")
    client = sqlite_gym.client()
    body = {"mail": " Coach@gym.example".strip().upper(), "password": PASSWORD}
    assert client.post(f"{API}/sign-in", json=body).json()["handle"] == "coach"
    cookie = client.cookies["intervouch"]
    assert client.get(f"{API}/me").is_success
    with sqlite_gym.service.database.reading() as session:
        kept = session.get_one(Person, sqlite_gym.people["coach"]).password_hash
        assert kept is not None
        assert kept.startswith("$argon2id$")
        assert cookie not in {row.token_hash for row in session.query(SignIn)}
    assert client.post(f"{API}/sign-out").is_success
    client.cookies.set("intervouch", cookie)
    assert client.get(f"{API}/me").status_code == 401


def test_passwords_cost_what_the_standard_recommends() -> None:
    # RFC 9106, section 4, second recommendation: t = 3, p = 4, m = 64 MiB.
    hasher = PasswordHasher()
    assert (hasher.time_cost, hasher.parallelism, hasher.memory_cost) == (3, 4, 65536)


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(tmp_path: Path) -> None:
    settings = Settings(data=tmp_path, workers=0, address="https://gym.example")
    with open_gym(settings) as gym:
        give_password(gym, "coach")
        body = {"mail": "coach@gym.example", "password": PASSWORD}
        header = gym.client().post(f"{API}/sign-in", json=body).headers["set-cookie"].lower()
        assert all(word in header for word in ("httponly", "samesite=lax", "secure", "path=/"))


def test_wrong_passwords_are_throttled_and_do_not_say_which_part_is_wrong(
    sqlite_gym: GymUnderTest,
) -> None:
    give_password(sqlite_gym, "coach")
    client = sqlite_gym.client()
    answers = []
    for mail in ("coach@gym.example", "nobody@gym.example"):
        wrong = {"mail": mail, "password": "wrong"}
        answers.append([client.post(f"{API}/sign-in", json=wrong) for _ in range(6)])
    codes = [[answer.status_code for answer in each] for each in answers]
    assert codes == [[401] * 5 + [429]] * 2
    assert answers[0][0].content == answers[1][0].content
    assert int(answers[0][5].headers["retry-after"]) > 0
    right = {"mail": "coach@gym.example", "password": PASSWORD}
    assert client.post(f"{API}/sign-in", json=right).status_code == 429


@pytest.mark.parametrize("password", ["", "short", "x" * 11, "x" * 201])
def test_a_weak_password_is_refused(password: str) -> None:
    with pytest.raises(Refused, match="12 to 200"):
        password_hash(password)


def test_a_personal_link_signs_in_once(sqlite_gym: GymUnderTest) -> None:
    made = sqlite_gym.client("coach").post(f"{API}/people/{sqlite_gym.people['ada']}/links").json()
    assert "<svg" in made["svg"]
    phone = sqlite_gym.client()
    page = phone.get(made["url"].replace("http://testserver", ""))
    assert page.status_code == 200  # looking, as a preview does, does not use it up
    body = {"secret": secret_of(made["url"])}
    assert phone.post(f"{API}/sign-in/link", json=body).json()["handle"] == "ada"
    assert phone.get(f"{API}/me").is_success
    assert sqlite_gym.client().post(f"{API}/sign-in/link", json=body).status_code == 404


@pytest.mark.parametrize("how", ["revoked", "run out", "signed out everywhere"])
def test_a_link_that_is_over_opens_nothing(sqlite_gym: GymUnderTest, how: str) -> None:
    gym = sqlite_gym
    coach = gym.client("coach")
    made = coach.post(f"{API}/people/{gym.people['ada']}/links").json()
    if how == "revoked":
        assert coach.delete(f"{API}/links/{made['id']}").is_success
    elif how == "run out":
        with gym.service.database.writing() as session:
            session.execute(update(SignInLink).values(expires_at=now() - timedelta(seconds=1)))
    else:
        path = f"{API}/people/{gym.people['ada']}/sign-ins"
        assert gym.client("ada").delete(path).is_success
    body = {"secret": secret_of(made["url"])}
    assert gym.client().post(f"{API}/sign-in/link", json=body).status_code == 404


def test_an_invited_coach_chooses_a_password_with_the_link(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    path = f"{API}/people/{gym.people['coach']}/links"
    assert gym.client("ada").post(path).status_code == 404
    made = gym.client("owner").post(path).json()
    form = {"password": PASSWORD}
    page = made["url"].replace("http://testserver", "")
    weak = gym.client().post(page, data={"password": "short"}, follow_redirects=False)
    assert weak.status_code == 422
    done = gym.client().post(page, data=form, follow_redirects=False)
    assert (done.status_code, done.headers["location"]) == (303, "/classes")
    body = {"mail": "coach@gym.example", "password": PASSWORD}
    assert gym.client().post(f"{API}/sign-in", json=body).is_success


def test_a_coach_makes_no_link_for_who_leads(sqlite_gym: GymUnderTest) -> None:
    coach = sqlite_gym.client("coach")
    for name in ("owner", "stranger"):
        path = f"{API}/people/{sqlite_gym.people[name]}/links"
        assert coach.post(path).status_code == 404


def test_a_token_runs_out_is_revoked_and_is_kept_as_a_hash(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    header = gym.token("coach", "read")
    assert gym.client().get(f"{API}/me", headers=header).is_success
    with gym.service.database.writing() as session:
        secret = header["Authorization"].split()[1]
        assert secret not in {row.token_hash for row in session.query(ApiToken)}
        session.execute(update(ApiToken).values(expires_at=now() - timedelta(seconds=1)))
    assert gym.client().get(f"{API}/me", headers=header).status_code == 401
    coach = gym.client("coach")
    made = coach.post(f"{API}/tokens", json={"name": "t"}).json()
    live = {"Authorization": f"Bearer {made['secret']}"}
    assert gym.client().get(f"{API}/me", headers=live).is_success
    assert coach.delete(f"{API}/tokens/{made['id']}").is_success
    assert gym.client().get(f"{API}/me", headers=live).status_code == 401


def test_who_picks_a_name_from_the_wall_sees_that_upload_and_no_more(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    code = secret_of(gym.client("coach").get(f"{API}/classes/{class_id}/wall").json()["url"])
    phone = gym.client()
    names = phone.get(f"{API}/wall/{code}").json()["athletes"]
    assert list(names) == ["ada", "bo"]
    assert phone.post(f"{API}/wall/{code}/sign-in", json={"athlete": "ada"}).json()["visiting"]
    assert upload(phone, class_id, ("row.csv", rower_csv())).is_success
    gym.work()
    entry = phone.get(f"{API}/classes/{class_id}/result").json()["athletes"][0]
    assert len(entry["intervals"]) == 6  # it rests on this upload alone
    assert upload(gym.client("ada"), class_id, ("other.csv", rower_csv(2))).is_success
    gym.work()
    entry = phone.get(f"{API}/classes/{class_id}/result").json()["athletes"][0]
    assert (len(entry["recordings"]), entry["intervals"]) == (1, [])


def test_a_visitor_does_not_overrule_a_no(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    path = f"{API}/me/consents/recordings"
    assert gym.client("ada").put(path, json={"agreed": False, "version": 1}).is_success
    visit = gym.client("ada", visit=class_id)
    assert visit.put(path, json={"agreed": True, "version": 1}).status_code == 404


def test_a_public_address_over_plain_http_is_warned_about() -> None:
    for address, warned in (
        ("http://gym.example", True),
        ("http://192.168.0.7:8000", True),
        ("https://gym.example", False),
        ("http://127.0.0.1:8000", False),
        ("http://localhost:8000", False),
        ("", False),
    ):
        assert (Settings(address=address).address_warning is not None) is warned


def test_links_and_codes_carry_the_public_address(tmp_path: Path) -> None:
    settings = Settings(data=tmp_path, workers=0, address="https://gym.example/")
    with open_gym(settings) as gym:
        made = gym.client("coach").post(f"{API}/people/{gym.people['ada']}/links").json()
        assert made["url"].startswith("https://gym.example/in/")


def test_a_code_is_dark_on_light_with_a_quiet_zone_whatever_is_around_it() -> None:
    svg = code_svg("https://gym.example/wall/abc", "A code")
    assert "<title>A code</title>" in svg
    assert 'fill="#fff"' in svg
    assert 'stroke="#000"' in svg
