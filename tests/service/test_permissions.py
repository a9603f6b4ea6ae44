"""Who may do what: every route of the API × every kind of person."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest

from api.pages.endpoints import PARTS
from api.settings import Settings
from api.storage.model import Reconciliation, SignIn, TrainingClass
from api.work.engine import ENGINE_VERSION
from tests.service.gym import (
    API,
    PLAN,
    GymUnderTest,
    make_class,
    open_gym,
    rower_csv,
    upload,
    zip_of,
)

NOBODY, STRANGER, VISITOR, OWN, MATE, OUTSIDER, COACH, OWNER = KINDS = (
    "nobody", "a stranger of another gym", "a visitor by the wall", "the athlete", "a classmate",
    "an athlete of the gym", "a coach", "an owner who does not coach",
)  # fmt: skip
EVERYBODY = set(KINDS)
SIGNED_IN = EVERYBODY - {NOBODY}
WITH_AN_ACCOUNT = SIGNED_IN - {VISITOR}
IN_THE_CLASS = {VISITOR, OWN, MATE, COACH}
ABSENT = "0" * 32

# The one table of who may: (method, path) to kinds. A route that is not here fails the walk.
MAY: dict[tuple[str, str], set[str]] = {
    ("POST", "/sign-in"): EVERYBODY,
    ("POST", "/sign-in/link"): EVERYBODY,
    ("POST", "/sign-out"): SIGNED_IN,
    ("GET", "/time"): EVERYBODY,
    ("GET", "/me"): SIGNED_IN,
    ("GET", "/me/preferences"): SIGNED_IN,
    ("PUT", "/me/preferences"): WITH_AN_ACCOUNT,
    ("GET", "/me/consents"): SIGNED_IN,
    ("PUT", "/me/consents/{purpose}"): SIGNED_IN,
    ("POST", "/sign-in/token"): EVERYBODY,
    ("POST", "/tokens"): WITH_AN_ACCOUNT,
    ("GET", "/tokens"): SIGNED_IN,
    ("DELETE", "/tokens/{token_id}"): {OWN},
    ("GET", "/people"): SIGNED_IN,
    ("POST", "/people"): {COACH, OWNER, STRANGER},
    ("GET", "/people/{person_id}"): {VISITOR, OWN, COACH, OWNER},
    ("PATCH", "/people/{person_id}"): {OWN, COACH},
    ("DELETE", "/people/{person_id}"): {OWN, OWNER},
    ("GET", "/people/{person_id}/export"): {OWN},
    ("PUT", "/people/{person_id}/roles"): {OWNER},
    ("POST", "/people/{person_id}/links"): {COACH, OWNER},
    ("DELETE", "/people/{person_id}/sign-ins"): {OWN, OWNER},
    ("GET", "/links"): SIGNED_IN,
    ("DELETE", "/links/{link_id}"): {COACH},
    ("GET", "/gym"): SIGNED_IN,
    ("PATCH", "/gym"): {OWNER, STRANGER},
    ("GET", "/audit"): {OWNER, STRANGER},
    ("GET", "/audit.csv"): {OWNER, STRANGER},
    ("POST", "/plans"): {COACH, STRANGER},
    ("GET", "/plans"): SIGNED_IN,
    ("POST", "/timeline"): SIGNED_IN,
    ("GET", "/plans/{plan_id}"): IN_THE_CLASS,
    ("PUT", "/plans/{plan_id}"): {COACH},
    ("GET", "/plans/{plan_id}/versions"): IN_THE_CLASS,
    ("GET", "/plans/{plan_id}/versions/{number}"): IN_THE_CLASS,
    ("POST", "/classes"): {COACH},
    ("GET", "/classes"): SIGNED_IN,
    ("POST", "/class-folders"): {COACH, STRANGER},
    ("GET", "/classes/{class_id}"): IN_THE_CLASS,
    ("PATCH", "/classes/{class_id}"): {COACH},
    ("PATCH", "/classes/{class_id}/starts"): {COACH},
    ("DELETE", "/classes/{class_id}"): {COACH},
    ("GET", "/classes/{class_id}/folder"): {COACH},
    ("GET", "/classes/{class_id}/roster"): IN_THE_CLASS,
    ("PUT", "/classes/{class_id}/roster"): {COACH},
    ("GET", "/classes/{class_id}/roster.csv"): IN_THE_CLASS,
    ("PUT", "/classes/{class_id}/roster.csv"): {COACH},
    ("GET", "/classes/{class_id}/scores"): IN_THE_CLASS,
    ("PUT", "/classes/{class_id}/scores/{athlete}"): {OWN, COACH},
    ("GET", "/classes/{class_id}/scores.csv"): IN_THE_CLASS,
    ("PUT", "/classes/{class_id}/scores.csv"): {COACH},
    ("GET", "/classes/{class_id}/table"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/wall"): {COACH},
    ("POST", "/classes/{class_id}/wall"): {COACH},
    ("GET", "/wall/{code}"): EVERYBODY,
    ("POST", "/wall/{code}/sign-in"): EVERYBODY,
    ("GET", "/classes/{class_id}/visits"): {COACH},
    ("POST", "/classes/{class_id}/visits/{visit_id}/confirm"): {COACH},
    ("POST", "/classes/{class_id}/recordings"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/recordings"): IN_THE_CLASS,
    ("GET", "/recordings/{recording_id}"): {OWN, COACH},
    ("DELETE", "/recordings/{recording_id}"): {OWN, COACH},
    ("GET", "/recordings/{recording_id}/bytes"): {OWN},
    ("GET", "/recordings/{recording_id}/columns"): {OWN, COACH},
    ("GET", "/recordings/{recording_id}/columns.parquet"): {OWN, COACH},
    ("GET", "/classes/{class_id}/result"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/result.csv"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/result.parquet"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/tables/{table}.csv"): IN_THE_CLASS,
    ("GET", "/people/{person_id}/over-time.csv"): {OWN, COACH},
    ("GET", "/plans/{plan_id}/over-time.csv"): {COACH},
    ("GET", "/classes/{class_id}/state"): IN_THE_CLASS,
    ("GET", "/classes/{class_id}/progress"): IN_THE_CLASS,
    ("POST", "/classes/{class_id}/pins"): {OWN, COACH},
    ("GET", "/classes/{class_id}/pins"): IN_THE_CLASS,
    ("DELETE", "/classes/{class_id}/pins/{pin_id}"): {COACH},
    ("GET", "/classes/{class_id}/questions"): IN_THE_CLASS,
    ("POST", "/classes/{class_id}/decisions"): {COACH},
    ("GET", "/classes/{class_id}/decisions"): IN_THE_CLASS,
    ("POST", "/classes/{class_id}/disputes"): {OWN, MATE},
    ("DELETE", "/classes/{class_id}/disputes/{dispute_id}"): {OWN},
}
# Where a classmate's name may stand in an answer to an athlete: who agreed to the class table,
# and the names to pick from on the wall.
NAMES_MATES = {("GET", "/classes/{class_id}/table"), ("GET", "/wall/{code}")}


class World:
    """A gym in which everything exists that a route can be about."""

    def __init__(self, gym: GymUnderTest, database: Path) -> None:
        self.gym = gym
        self.database = database
        self.changed = False
        gym.add("cy", "athlete")
        self.other_class_id = make_class(gym, "ada")
        self.class_id = make_class(gym, "ada", "bo")
        coach, ada = gym.client("coach"), gym.client("ada")
        body = {"mass_kg": 63.25, "birth_year": 1987}
        assert ada.patch(f"{API}/people/{gym.people['ada']}", json=body).is_success
        roster = {"athletes": [{"athlete": "ada", **body}, {"athlete": "bo"}]}
        assert coach.put(f"{API}/classes/{self.class_id}/roster", json=roster).is_success
        sent = upload(ada, self.class_id, ("row.csv", rower_csv(1)))
        self.recording: dict[str, Any] = sent.json()["files"][0]["recording"]
        mate = upload(gym.client("bo"), self.class_id, ("row.csv", rower_csv(2)))
        assert mate.status_code == 201
        for handle in ("ada", "bo"):
            path = f"{API}/classes/{self.class_id}/scores/{handle}"
            assert coach.put(path, json={"score": 33, "notes": f"said by {handle}"}).is_success
        pin = {"file": self.recording["file"], "owner": "ada"}
        self.pin_id = coach.post(f"{API}/classes/{self.class_id}/pins", json=pin).json()["id"]
        decision = {"athlete": "ada", "block": "main", "outcome": "stands", "reason": "asked"}
        assert coach.post(f"{API}/classes/{self.class_id}/decisions", json=decision).is_success
        said = {"block": "main", "reason": "the count was read out"}
        disputed = ada.post(f"{API}/classes/{self.class_id}/disputes", json=said)
        self.dispute_id = disputed.json()["id"]
        link = coach.post(f"{API}/people/{gym.people['ada']}/links")
        self.link_id = link.json()["id"]
        self.link = link.json()["url"].rsplit("/", 1)[1]
        self.token_id = ada.post(f"{API}/tokens", json={"name": "t"}).json()["id"]
        self.visit = gym.client("ada", visit=self.class_id)
        with gym.service.database.writing() as session:
            found = session.get_one(TrainingClass, self.class_id)
            self.plan_id = coach.get(f"{API}/plans").json()["items"][0]["id"]
            self.code = found.wall_code
            self.visit_id = session.query(SignIn).filter_by(class_id=self.class_id).one().id
            own = session.query(SignIn).filter_by(person_id=gym.people["ada"], class_id=None)
            self.sign_in_id = own.order_by(SignIn.id).limit(1).one().id
            session.add(
                Reconciliation(
                    class_id=found.id,
                    inputs_version=found.inputs_version,
                    inputs={},
                    engine_version=ENGINE_VERSION,
                    state="done",
                    document=json.dumps(document(self.recording["file"])),
                    digest="0" * 64,
                )
            )
        self.clients = {
            NOBODY: gym.client(),
            STRANGER: gym.client("stranger"),
            VISITOR: self.visit,
            OWN: ada,
            MATE: gym.client("bo"),
            OUTSIDER: gym.client("cy"),
            COACH: coach,
            OWNER: gym.client("owner"),
        }
        self.cookies = {kind: dict(client.cookies) for kind, client in self.clients.items()}
        store = gym.service.store
        self.bytes = {place: store.raw_get(place) for place in store.raw_names("bytes")}
        self.snapshot = sqlite3.connect(":memory:")
        with sqlite3.connect(database) as live:
            live.backup(self.snapshot)

    def reset(self) -> None:
        """Everything as at first: the database, the bytes, and each browser's sign-in."""
        if not self.changed:
            return
        self.changed = False
        for place, sealed in self.bytes.items():
            if not Path(self.gym.service.store.root, place).exists():
                self.gym.service.store.raw_put(place, sealed)
        with sqlite3.connect(self.database) as live:
            self.snapshot.backup(live)
        for kind, client in self.clients.items():
            client.cookies.clear()
            for name, value in self.cookies[kind].items():
                client.cookies.set(name, value)

    def ask(self, kind: str, method: str, path: str, *, absent: bool = False) -> httpx2.Response:
        """Ask for what exists, or for the like that does not."""
        self.changed = self.changed or method != "GET"
        values = {
            "class_id": self.class_id,
            "person_id": self.gym.people["ada"],
            "token_id": self.token_id,
            "link_id": self.link_id,
            "plan_id": self.plan_id,
            "recording_id": self.recording["id"],
            "pin_id": self.pin_id,
            "dispute_id": self.dispute_id,
            "visit_id": self.visit_id,
        }
        if absent:
            values = dict.fromkeys(values, ABSENT)
        values |= {
            "purpose": "recordings", "number": "1", "athlete": "ada", "code": self.code,
            "table": "sheet",
        }  # fmt: skip
        address = API + re.sub(r"\{(\w+)\}", lambda match: values[match[1]], path)
        return self.clients[kind].request(method, address, **self.content(method, path))

    def content(self, method: str, path: str) -> dict[str, Any]:
        """A body that would be accepted."""
        score_sheet = b"athlete,score\nada,34\n"
        folder = zip_of({
            "class.yaml": b"plan: plan.yaml\nstart: 2026-03-09T18:30:00+01:00\n",
            "plan.yaml": PLAN.encode(), "roster.csv": b"athlete\nada\n",
            "scores.csv": score_sheet, "recordings/ada.rower.csv": rower_csv(3),
        })  # fmt: skip
        pin = {"file": self.recording["file"], "block": "main", "start_s": 12.5}
        said = {"block": "main", "reason": "the count was read out"}
        decision = {"athlete": "ada", "block": "main", "outcome": "stands", "reason": "asked"}
        new_class = {"plan_id": self.plan_id, "start": "2026-03-10T18:30:00+01:00"}
        bodies: dict[tuple[str, str], dict[str, Any]] = {
            ("POST", "/sign-in"): {"json": {"mail": "no@body.example", "password": "wrong"}},
            ("POST", "/sign-in/link"): {"json": {"secret": "wrong"}},
            ("POST", "/sign-in/token"): {
                "json": {"mail": "no@body.example", "password": "wrong", "name": "t"}
            },
            ("PUT", "/me/consents/{purpose}"): {"json": {"agreed": True, "version": 1}},
            ("POST", "/tokens"): {"json": {"name": "another"}},
            ("POST", "/people"): {"json": {"name": "Dag Testperson"}},
            ("PATCH", "/people/{person_id}"): {"json": {"mass_kg": 71.5}},
            ("PUT", "/people/{person_id}/roles"): {"json": {"roles": ["athlete"]}},
            ("PATCH", "/gym"): {"json": {"retention_days": 400, "time_zone": "Europe/Oslo"}},
            ("PUT", "/me/preferences"): {"json": {"locale": "de_CH", "mass_unit": "kg"}},
            ("POST", "/plans"): {"json": {"text": PLAN}},
            ("POST", "/timeline"): {"json": {"text": PLAN}},
            ("PUT", "/plans/{plan_id}"): {"json": {"text": PLAN.replace("60s", "70s")}},
            ("POST", "/classes"): {"json": new_class},
            ("POST", "/class-folders"): {"files": {"folder": ("class.zip", folder)}},
            ("PATCH", "/classes/{class_id}"): {"json": {"place": "yard"}},
            ("PATCH", "/classes/{class_id}/starts"): {
                "json": {"starts": {"main": "2026-03-09T17:31:02Z"}}
            },
            ("PUT", "/classes/{class_id}/roster"): {
                "json": {"athletes": [{"athlete": "ada"}, {"athlete": "bo"}]}
            },
            ("PUT", "/classes/{class_id}/roster.csv"): {"content": b"athlete\nada\nbo\n"},
            ("PUT", "/classes/{class_id}/scores/{athlete}"): {"json": {"score": 35}},
            ("PUT", "/classes/{class_id}/scores.csv"): {"content": score_sheet},
            ("POST", "/wall/{code}/sign-in"): {"json": {"athlete": "ada"}},
            ("POST", "/classes/{class_id}/recordings"): {
                "files": [("files", ("row.csv", rower_csv(4)))]
            },
            ("POST", "/classes/{class_id}/pins"): {"json": pin},
            ("POST", "/classes/{class_id}/decisions"): {"json": decision},
            ("POST", "/classes/{class_id}/disputes"): {"json": said},
        }
        found = bodies.get((method, path), {})
        if "content" in found:
            return {**found, "headers": {"Content-Type": "text/csv"}}
        return found


def document(file: str) -> dict[str, Any]:
    def entry(handle: str) -> dict[str, Any]:
        reason = {"code": "other_athlete", "predicts": 1, "probability": 0.5, "text": "fits bo"}
        recording: dict[str, Any] = {
            "file": file, "source": "rower", "format": "csv", "status": "aligned",
            "first_sample": None, "samples": 1, "belongs_to": "bo", "probability": 0.9,
            "blocks": [], "problems": [],
        }  # fmt: skip
        score = {
            "block": "main", "measure": "calories", "logged": 33, "recorded": 20, "low": 19,
            "high": 21, "verdict": "doubtful", "flag": True, "explanations": [reason],
        }  # fmt: skip
        return {
            "athlete": handle, "recordings": [recording] if handle == "ada" else [],
            "intervals": [], "scores": [score], "advice": [],
        }  # fmt: skip

    return {
        "schema": 1, "title": "Harbour steps", "athletes": [entry("ada"), entry("bo")],
        "unassigned": [],
    }  # fmt: skip


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    data = tmp_path_factory.mktemp("walk")
    with open_gym(Settings(data=data, workers=0, attempts=10**6)) as gym:
        yield World(gym, data / "intervouch.db")


def routes(gym: GymUnderTest) -> list[tuple[str, str]]:
    paths = gym.app.openapi()["paths"]
    return [
        (method.upper(), path.removeprefix(API))
        for path, methods in paths.items()
        for method in methods
        if path.startswith(API)
    ]


def test_the_table_names_every_route_and_no_other(world: World) -> None:
    assert set(routes(world.gym)) == set(MAY)


@pytest.mark.parametrize(("method", "path"), sorted(MAY))
def test_each_kind_of_person_may_what_the_table_says(world: World, method: str, path: str) -> None:
    unlike = {}
    for kind in KINDS:
        world.reset()
        answer = world.ask(kind, method, path)
        allowed = kind in MAY[method, path]
        if not allowed:
            as_expected = answer.status_code == (401 if kind == NOBODY else 404)
        elif path.endswith(("/sign-in", "/sign-in/link", "/sign-in/token")) and "wall" not in path:
            as_expected = answer.status_code in (401, 404)  # wrong password, spent link
        else:
            as_expected = answer.is_success
        if not as_expected:
            unlike[kind] = (answer.status_code, answer.text[:300])
    assert not unlike


@pytest.mark.parametrize(("method", "path"), sorted(MAY))
def test_absent_and_forbidden_look_the_same(world: World, method: str, path: str) -> None:
    if "_id}" not in path:
        return
    for kind in sorted(SIGNED_IN - MAY[method, path]):
        world.reset()
        forbidden = world.ask(kind, method, path)
        absent = world.ask(kind, method, path, absent=True)
        assert (forbidden.status_code, forbidden.content) == (absent.status_code, absent.content)


@pytest.mark.parametrize(("method", "path"), sorted(MAY))
def test_no_answer_to_an_athlete_names_or_quotes_anybody_else(
    world: World, method: str, path: str
) -> None:
    if (method, path) in NAMES_MATES:
        return
    for kind in (VISITOR, OWN):
        world.reset()
        text = world.ask(kind, method, path).text
        for mark in ("Bo Testperson", "said by bo", '"bo"', "fits bo", world.gym.people["bo"]):
            assert mark not in text, f"{kind} reads {mark}"
        if kind == VISITOR:  # who only picked a name is told nothing of that body
            assert "63.25" not in text
            assert "1987" not in text


def test_the_class_table_shows_only_who_agreed(world: World) -> None:
    world.changed = True
    world.reset()
    path = f"{API}/classes/{world.class_id}/table"
    assert [r["athlete"] for r in world.clients[OWN].get(path).json()["items"]] == ["ada", "bo"]
    withdrawn = {"agreed": False, "version": 1}
    put = world.clients[MATE].put(f"{API}/me/consents/class-table", json=withdrawn)
    assert put.is_success
    assert [r["athlete"] for r in world.clients[OWN].get(path).json()["items"]] == ["ada"]
    assert [r["athlete"] for r in world.clients[MATE].get(path).json()["items"]] == ["ada", "bo"]
    assert [r["athlete"] for r in world.clients[VISITOR].get(path).json()["items"]] == []


@pytest.mark.parametrize(
    ("scope", "method", "path"),
    [
        ("read", "GET", "/me"),
        ("upload", "POST", "/classes/{class_id}/recordings"),
        ("write", "PATCH", "/classes/{class_id}"),
        ("people", "GET", "/people/{person_id}"),
    ],
)
def test_a_token_may_only_what_its_scopes_say(
    world: World, scope: str, method: str, path: str
) -> None:
    world.changed = True
    world.reset()
    others = {"read", "upload", "write", "people"} - {scope if scope != "people" else "read"}
    header = world.gym.token("coach", *sorted(others))
    world.clients[NOBODY].headers.update(header)
    try:
        assert world.ask(NOBODY, method, path).status_code == 403
    finally:
        del world.clients[NOBODY].headers["Authorization"]


def test_a_change_with_a_cookie_from_another_site_is_refused(world: World) -> None:
    world.changed = True
    world.reset()
    coach = world.clients[COACH]
    path = f"{API}/classes/{world.class_id}"
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "https://elsewhere.example"}):
        assert coach.patch(path, json={"place": "x"}, headers=headers).status_code == 403
    assert coach.patch(
        path, json={"place": "x"}, headers={"Origin": "http://testserver"}
    ).is_success


def test_the_coachs_word_opens_the_rest_to_a_visitor(world: World) -> None:
    world.changed = True
    world.reset()
    recording = f"{API}/recordings/{world.recording['id']}"
    assert world.visit.get(recording).status_code == 404
    path = f"{API}/classes/{world.class_id}/visits/{world.visit_id}/confirm"
    assert world.clients[COACH].post(path).is_success
    assert world.visit.get(recording).is_success


def test_a_new_code_ends_visits_that_nobody_confirmed(world: World) -> None:
    world.changed = True
    world.reset()
    assert world.visit.get(f"{API}/me").is_success
    assert world.clients[COACH].post(f"{API}/classes/{world.class_id}/wall").is_success
    assert world.visit.get(f"{API}/me").status_code == 401
    assert world.clients[NOBODY].get(f"{API}/wall/{world.code}").status_code == 404


# ---- pages: the same people, the same table

PAGES: dict[tuple[str, str], set[str]] = {
    ("GET", "/static/{name:path}"): EVERYBODY,
    ("GET", "/"): EVERYBODY,
    ("GET", "/sign-in"): EVERYBODY,
    ("POST", "/sign-in"): EVERYBODY,
    ("POST", "/sign-out"): SIGNED_IN,
    ("GET", "/in/{secret}"): EVERYBODY,
    ("POST", "/in/{secret}"): EVERYBODY,
    ("GET", "/wall/{code}"): EVERYBODY,
    ("POST", "/wall/{code}"): EVERYBODY,
    ("GET", "/classes"): SIGNED_IN,
    ("GET", "/classes/new"): {COACH, STRANGER},
    ("POST", "/classes"): {COACH},
    ("POST", "/class-folders"): {COACH, STRANGER},
    ("GET", "/classes/{class_id}"): IN_THE_CLASS,
    ("POST", "/classes/{class_id}/decisions"): {COACH},
    ("POST", "/classes/{class_id}/decisions/undo"): {COACH},
    ("POST", "/classes/{class_id}/owners"): {COACH},
    ("POST", "/classes/{class_id}/owners/{pin_id}/undo"): {COACH},
    ("GET", "/classes/{class_id}/board"): {COACH},
    ("POST", "/classes/{class_id}/board"): {COACH},
    ("GET", "/classes/{class_id}/stick"): {COACH},
    ("POST", "/classes/{class_id}/stick"): {COACH},
    ("GET", "/people/{person_id}/over-time"): {OWN, COACH},
    ("GET", "/plans/{plan_id}/over-time"): {COACH},
    ("GET", "/classes/{class_id}/upload"): IN_THE_CLASS,
    ("POST", "/classes/{class_id}/upload"): IN_THE_CLASS,
    ("POST", "/recordings/{recording_id}/delete"): {OWN, COACH},
    ("POST", "/recordings/{recording_id}/move"): {OWN},
    ("GET", "/classes/{class_id}/scores"): {COACH},
    ("POST", "/classes/{class_id}/scores"): {COACH},
    ("GET", "/classes/{class_id}/roster"): {COACH},
    ("POST", "/classes/{class_id}/roster"): {COACH},
    ("GET", "/classes/{class_id}/roster/sheet"): {COACH},
    ("POST", "/classes/{class_id}/roster/sheet"): {COACH},
    ("GET", "/classes/{class_id}/wall"): {COACH},
    ("POST", "/classes/{class_id}/wall"): {COACH},
    ("POST", "/classes/{class_id}/visits/{visit_id}/confirm"): {COACH},
    ("GET", "/plans"): SIGNED_IN,
    ("POST", "/plans/drawing"): {COACH, STRANGER},
    ("GET", "/plans/{plan_id}/versions"): {COACH},
    ("GET", "/plans/{plan_id}/versions/{number}"): {COACH},
    ("GET", "/clock/worker.js"): EVERYBODY,
    ("GET", "/clock/{class_id}"): {COACH},
    ("GET", "/classes/{class_id}/starts"): {COACH},
    ("POST", "/classes/{class_id}/starts"): {COACH},
    ("GET", "/plans/new"): {COACH, STRANGER},
    ("POST", "/plans/new"): {COACH, STRANGER},
    ("GET", "/plans/{plan_id}"): IN_THE_CLASS,
    ("POST", "/plans/{plan_id}"): {COACH},
    ("GET", "/classes/{class_id}/athletes/{athlete}"): {VISITOR, OWN, COACH},
    ("POST", "/classes/{class_id}/disputes"): {OWN, MATE},
    ("POST", "/classes/{class_id}/disputes/{dispute_id}/take-back"): {OWN},
    ("POST", "/classes/{class_id}/notes"): {OWN, MATE, COACH},
    ("GET", "/classes/{class_id}/recordings/{recording_id}"): {OWN, COACH},
    ("POST", "/classes/{class_id}/recordings/{recording_id}/pins"): {OWN, COACH},
    ("POST", "/classes/{class_id}/recordings/{recording_id}/pins/{pin_id}/undo"): {COACH},
    ("GET", "/manifest.webmanifest"): EVERYBODY,
    ("GET", "/share"): SIGNED_IN,
    ("POST", "/share"): WITH_AN_ACCOUNT,
    ("POST", "/share/drop"): WITH_AN_ACCOUNT,
    ("GET", "/bring-a-file"): SIGNED_IN,
    ("GET", "/you"): SIGNED_IN,
    ("POST", "/you/figures"): WITH_AN_ACCOUNT,
    ("POST", "/you/reading"): WITH_AN_ACCOUNT,
    ("POST", "/you/links"): WITH_AN_ACCOUNT,
    ("POST", "/you/sign-ins/{sign_in_id}/end"): {OWN},
    ("POST", "/you/keys"): WITH_AN_ACCOUNT,
    ("POST", "/you/keys/{token_id}/revoke"): {OWN},
    ("POST", "/you/consents/{purpose}"): SIGNED_IN,
    ("POST", "/you/sign-outs"): WITH_AN_ACCOUNT,
    ("POST", "/you/erasure"): WITH_AN_ACCOUNT,
    ("GET", "/people"): {COACH, OWNER, STRANGER},
    ("POST", "/people"): {COACH, OWNER, STRANGER},
    ("GET", "/people/{person_id}"): {COACH, OWNER},
    ("POST", "/people/{person_id}"): {COACH},
    ("POST", "/people/{person_id}/roles"): {OWNER},
    ("POST", "/people/{person_id}/links"): {COACH, OWNER},
    ("POST", "/people/{person_id}/sign-outs"): {OWNER},
    ("POST", "/people/{person_id}/erasure"): {OWNER},
    ("POST", "/links/{link_id}/revoke"): {COACH},
    ("GET", "/gym"): {OWNER, STRANGER},
    ("POST", "/gym"): {OWNER, STRANGER},
    ("GET", "/audit"): {OWNER, STRANGER},
}
# Where who agreed to the class's table stands in it.
CLASS_TABLE = ("/classes/{class_id}", "/classes/{class_id}/athletes/{athlete}")
LAST_OWNERS = {("POST", "/you/erasure"): {STRANGER, OWNER}}


def page_routes() -> set[tuple[str, str]]:
    return {
        (method, str(getattr(route, "path")))  # noqa: B009  of a page, not of every route
        for part in PARTS
        for route in part.router.routes
        for method in getattr(route, "methods", ())
        if method != "HEAD"
    }


def page_form(world: World, method: str, path: str) -> dict[str, Any]:
    folder = world.content("POST", "/class-folders")["files"]
    forms: dict[str, dict[str, Any]] = {
        "/sign-in": {"mail": "no@body.example", "password": "wrong"},
        "/wall/{code}": {"athlete": "ada"},
        "/classes": {"plan_id": world.plan_id, "day": "2026-03-10", "time": "18:30"},
        "/classes/{class_id}/decisions": {
            "athlete": "ada", "block": "main", "outcome": "stands", "reason": "asked",
        },
        "/classes/{class_id}/decisions/undo": {"athlete": "ada", "block": "main"},
        "/classes/{class_id}/owners": {"file": world.recording["file"], "owner": "bo"},
        "/classes/{class_id}/scores": {"text": "athlete,score\nada,34\n"},
        "/classes/{class_id}/roster": {"athlete": ["ada", "bo"], "names": "Eli Testperson"},
        "/classes/{class_id}/roster/sheet": {"text": "athlete\nada\nbo\n"},
        "/plans/new": {"text": PLAN},
        "/plans/drawing": {"text": PLAN},
        "/classes/{class_id}/starts": {"start-0": "18:31:02"},
        "/plans/{plan_id}": {"text": PLAN + "# again\n"},
        "/you/consents/{purpose}": {"version": "1", "agreed": "yes"},
        "/recordings/{recording_id}/move": {"class_id": world.other_class_id},
        "/classes/{class_id}/disputes": {"block": "main", "reason": "the count was read out"},
        "/classes/{class_id}/recordings/{recording_id}/pins": {"block": "main", "start": "0:12"},
        "/you/figures": {"name": "Ada Testperson", "mass_kg": "63"},
        "/you/reading": {"locale": "de_DE", "mass_unit": "kg"},
        "/you/keys": {"name": "board", "scopes": "read"},
        "/you/erasure": {"sure": "erase"},
        "/people": {"name": "Dag Testperson"},
        "/people/{person_id}/erasure": {"sure": "erase"},
        "/people/{person_id}": {"name": "Ada Testperson", "mass": "63,5"},
        "/people/{person_id}/roles": {"role": ["athlete", "coach"]},
        "/gym": {"name": "Quay Hall", "retention_days": "4000", "zone": "Europe/Oslo"},
    }  # fmt: skip
    if method == "GET":
        return {}
    if path == "/class-folders":
        return {"files": folder, "data": {"stated": "recordings"}}
    if path == "/classes/{class_id}/stick":
        return {"files": [("files", ("row.csv", rower_csv(6)))]}
    if path == "/share":
        return {"files": [("files", ("row.csv", rower_csv(6)))]}
    if path == "/classes/{class_id}/upload":
        return {"files": [("files", ("row.csv", rower_csv(5)))], "data": {"source": "rower"}}
    return {"data": forms.get(path, {})}


def ask_page(world: World, kind: str, method: str, path: str) -> httpx2.Response:
    world.changed = True
    values = {
        "class_id": world.class_id, "person_id": world.gym.people["ada"], "plan_id": world.plan_id,
        "recording_id": world.recording["id"], "visit_id": world.visit_id, "code": world.code,
        "purpose": "recordings", "secret": world.link, "name": "page.css",
        "pin_id": world.pin_id, "dispute_id": world.dispute_id, "athlete": "ada",
        "token_id": world.token_id, "sign_in_id": world.sign_in_id,
        "number": "1", "link_id": world.link_id,
    }  # fmt: skip
    address = re.sub(r"\{(\w+)(?::path)?\}", lambda match: values[match[1]], path)
    form = page_form(world, method, path)
    return world.clients[kind].request(method, address, follow_redirects=False, **form)


def test_the_table_names_every_page_and_no_other() -> None:
    assert page_routes() == set(PAGES)


@pytest.mark.parametrize(("method", "path"), sorted(PAGES))
def test_each_kind_of_person_may_on_pages_what_the_table_says(
    world: World, method: str, path: str
) -> None:
    unlike = {}
    for kind in KINDS:
        world.reset()
        answer = ask_page(world, kind, method, path)
        to_sign_in = answer.status_code == 303 and answer.headers["location"] == "/sign-in"
        if kind in LAST_OWNERS.get((method, path), ()):
            as_expected = answer.status_code == 409
        elif kind in PAGES[method, path]:
            as_expected = answer.status_code in (200, 303) and (not to_sign_in or path == "/")
        else:
            as_expected = to_sign_in if kind == NOBODY else answer.status_code == 404
        if not as_expected:
            unlike[kind] = (answer.status_code, answer.text[:300])
        if kind in (VISITOR, OWN) and "wall" not in path and path not in CLASS_TABLE:
            for mark in ("Bo Testperson", "said by bo", "fits bo"):
                assert mark not in answer.text, f"{kind} reads {mark}"
    assert not unlike
