"""What an owner does: people, invitations, keeping, and the log of it all."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from api.pages.audit_words import ACTIONS
from api.people.retention import count_past_keeping
from api.storage.model import Audit, Recording
from api.work.upkeep import keep_up
from tests.service.gym import API, START, GymUnderTest, make_class, rower_csv, upload

SOURCES = Path(__file__).parents[2] / "api"


def audit(gym: GymUnderTest, **query: str) -> list[dict[str, Any]]:
    answer = gym.client("owner").get(f"{API}/audit", params={"limit": "200", **query})
    assert answer.status_code == 200, answer.text
    lines: list[dict[str, Any]] = answer.json()["items"]
    return lines


# ---- the audit log


def test_the_log_is_narrowed_by_what_by_whom_and_when(gym: GymUnderTest) -> None:
    make_class(gym)
    everything = audit(gym)
    assert {line["action"] for line in everything} >= {"class.add", "plan.add", "roster.set"}
    assert {line["action"] for line in audit(gym, action="plan.add")} == {"plan.add"}
    coach = next(line["actor"] for line in everything if line["action"] == "plan.add")
    by_coach = audit(gym, actor=coach)
    assert {line["actor_name"] for line in by_coach} == {"Coach Testperson"}
    ahead = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
    assert audit(gym, since=ahead) == []
    assert len(audit(gym, until=ahead)) >= len(everything)


def test_a_line_says_whom_or_what_it_is_about(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    coach = gym.client("coach")
    assert coach.post(f"{API}/people/{gym.people['ada']}/links").is_success
    lines = {line["action"]: line["about_name"] for line in audit(gym)}
    assert lines["link.make"] == "Ada Testperson"


def test_a_log_of_an_owner_who_coaches_names_classes_and_plans(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    make_class(gym)
    gym.add("head", "owner", "coach")
    answer = gym.client("head").get(f"{API}/audit").json()["items"]
    names = {line["action"]: line["about_name"] for line in answer}
    assert names["plan.add"] == "Harbour steps"
    assert names["class.add"] == "Harbour steps, 2026-03-09"


def test_the_log_as_a_sheet_runs_nothing_in_a_spreadsheet(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    gym.add("evil", "athlete")
    gym.client("coach").patch(f"{API}/people/{gym.people['evil']}", json={"name": "=HYPERLINK(1)"})
    gym.client("coach").post(f"{API}/people/{gym.people['evil']}/links")
    answer = gym.client("owner").get(f"{API}/audit.csv", params={"action": "link.make"})
    assert answer.headers["content-type"].startswith("text/csv")
    assert 'filename="audit.csv"' in answer.headers["content-disposition"]
    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert row["about_name"] == "'=HYPERLINK(1)"
    assert row["actor_name"] == "Coach Testperson"


def test_the_page_of_the_log_narrows_by_days_of_the_gyms_clock(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    owner = gym.client("owner")
    assert owner.patch(f"{API}/gym", json={"time_zone": "Pacific/Kiritimati"}).is_success  # UTC+14
    with gym.service.database.writing() as session:
        at = datetime(2026, 3, 9, 10, 30, tzinfo=UTC)  # the tenth there already
        session.add(Audit(gym_id=gym.gym_id, actor=None, action="gym.open", at=at, detail={}))
    shown = owner.get("/audit", params={"since": "2026-03-10", "until": "2026-03-10"}).text
    assert "10 Mar 2026, 00:30:00" in shown
    assert "opened the gym" in shown
    day_before = owner.get("/audit", params={"since": "2026-03-09", "until": "2026-03-09"}).text
    assert "Nothing of that kind was done" in day_before


def test_everything_that_is_logged_has_words() -> None:
    text = "\n".join(path.read_text("utf-8") for path in SOURCES.rglob("*.py"))
    written = set(re.findall(r'action="([a-z-]+\.[a-z-]+)"', text))
    assert len(written) > 30
    assert written <= ACTIONS.keys()


# ---- links and invitations


def test_links_that_are_out_are_listed_and_can_be_taken_back(gym: GymUnderTest) -> None:
    coach = gym.client("coach")
    made = coach.post(f"{API}/people/{gym.people['ada']}/links").json()
    (listed,) = coach.get(f"{API}/links").json()["items"]
    assert (listed["id"], listed["name"], listed["kind"]) == (
        made["id"], "Ada Testperson", "sign-in",
    )  # fmt: skip
    assert made["url"].rsplit("/", 1)[1] not in str(listed)
    assert "Ada Testperson" in coach.get("/people").text.partition("that are out</h2>")[2]
    coach.post(f"/links/{made['id']}/revoke")
    assert coach.get(f"{API}/links").json()["items"] == []
    assert gym.client().get(made["url"].replace("http://testserver", "")).status_code == 404


def test_an_owner_makes_a_coach_and_invites_them(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    owner = gym.client("owner")
    form = {"name": "Ylva Strand", "role": "coach", "mail": ""}
    assert "mail address: give one" in owner.post("/people", data=form).text
    added = owner.post("/people", data=form | {"mail": "ylva@gym.example"}, follow_redirects=False)
    address = added.headers["location"].split("?")[0]
    shown = owner.post(f"{address}/links").text
    assert "chooses a password" in shown
    assert "<svg" in shown
    assert owner.get("/people").text.count("an invitation, with a password to choose") == 1


# ---- people


def test_an_owner_says_what_somebody_is_and_the_last_owner_stays(
    sqlite_gym: GymUnderTest,
) -> None:
    gym = sqlite_gym
    owner = gym.client("owner")
    ada, own = gym.people["ada"], gym.people["owner"]
    owner.post(f"/people/{ada}/roles", data={"role": ["athlete", "coach"]})
    assert owner.get(f"{API}/people/{ada}").json()["roles"] == ["athlete", "coach"]
    left = owner.post(f"/people/{own}/roles", data={"role": ["coach"]})
    assert left.status_code == 409
    assert owner.post(f"/people/{own}/roles", data={}).status_code == 422


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ({"mass": "63,5"}, {"mass_kg": 63.5}),
        ({"mass": " 63.5 ", "birth_year": "1987"}, {"mass_kg": 63.5, "birth_year": 1987}),
        ({"resting_hr": "", "max_hr": "188"}, {"resting_hr": None, "max_hr": 188.0}),
        ({"sex": "f"}, {"sex": "f"}),
    ],
)
def test_a_coach_keeps_what_is_known_of_somebody(
    sqlite_gym: GymUnderTest, typed: dict[str, str], kept: dict[str, Any]
) -> None:
    gym = sqlite_gym
    coach, ada = gym.client("coach"), gym.people["ada"]
    form = {"name": "Ada Testperson", **typed}
    assert coach.post(f"/people/{ada}", data=form).status_code == 200
    found = coach.get(f"{API}/people/{ada}").json()
    assert {name: found[name] for name in kept} == kept


@pytest.mark.parametrize("typed", [{"mass": "heavy"}, {"mass": "5"}, {"max_hr": "400"}])
def test_what_no_body_has_is_refused(sqlite_gym: GymUnderTest, typed: dict[str, str]) -> None:
    coach, ada = sqlite_gym.client("coach"), sqlite_gym.people["ada"]
    form = {"name": "Ada Testperson", **typed}
    assert coach.post(f"/people/{ada}", data=form).status_code == 422


def test_an_owner_who_does_not_coach_sees_no_figures(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    coach, owner, ada = gym.client("coach"), gym.client("owner"), gym.people["ada"]
    coach.post(f"/people/{ada}", data={"name": "Ada Testperson", "mass": "63.25"})
    assert "63.2" in coach.get(f"/people/{ada}").text
    assert "63.2" not in owner.get(f"/people/{ada}").text


# ---- how long recordings are kept


def test_a_shorter_keeping_says_first_what_it_would_delete(sqlite_gym: GymUnderTest) -> None:
    gym = sqlite_gym
    class_id = make_class(gym)
    for name, seed in (("ada", 1), ("bo", 2)):
        assert upload(gym.client(name), class_id, ("row.csv", rower_csv(seed))).is_success
    with gym.service.database.writing() as session:
        for row in session.query(Recording):
            row.received_at = START
    owner = gym.client("owner")
    form = {"name": "Quay Hall", "zone": "UTC", "retention_days": "30"}
    asked = owner.post("/gym", data=form)
    assert asked.status_code == 422
    assert "2 recordings are older than that" in asked.text
    assert "It concerns 1 class." in asked.text
    assert owner.get(f"{API}/gym").json()["retention_days"] is None
    kept = owner.post("/gym", data=form | {"sure": "yes"})
    assert kept.status_code == 200
    assert owner.get(f"{API}/gym").json()["retention_days"] == 30
    with gym.service.database.reading() as session:
        told = count_past_keeping(session, gym.gym_id, 30)
    keep_up(gym.service)
    with gym.service.database.reading() as session:
        assert session.query(Recording).count() == 0
        assert count_past_keeping(session, gym.gym_id, 30).recordings == 0
    assert (told.recordings, told.classes) == (2, 1)


def test_a_longer_keeping_deletes_nothing_and_asks_nothing(sqlite_gym: GymUnderTest) -> None:
    owner = sqlite_gym.client("owner")
    for days in ("30", "60", ""):
        form = {"name": "Quay Hall", "zone": "Europe/Oslo", "retention_days": days}
        assert owner.post("/gym", data=form).status_code == 200
    assert owner.get(f"{API}/gym").json()["retention_days"] is None
    assert owner.get(f"{API}/gym").json()["time_zone"] == "Europe/Oslo"


@pytest.mark.parametrize("zone", ["Middle/Earth", "../../etc/passwd", "posixrules"])
def test_what_is_no_time_zone_is_refused(sqlite_gym: GymUnderTest, zone: str) -> None:
    owner = sqlite_gym.client("owner")
    assert owner.post("/gym", data={"name": "Quay Hall", "zone": zone}).status_code == 422
    assert owner.patch(f"{API}/gym", json={"time_zone": zone}).status_code == 422


def test_a_person_chooses_how_they_read(gym: GymUnderTest) -> None:
    ada = gym.client("ada")
    assert ada.get(f"{API}/me/preferences").json() == {"locale": None, "mass_unit": None}
    chosen = {"locale": "de_CH", "mass_unit": "lb"}
    assert ada.put(f"{API}/me/preferences", json=chosen).json() == chosen
    assert ada.get(f"{API}/me/preferences").json() == chosen
    assert '<html lang="de">' in ada.get("/classes").text
    assert ada.put(f"{API}/me/preferences", json={"locale": "xx"}).status_code == 422
