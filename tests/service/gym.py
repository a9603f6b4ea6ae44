"""A gym to test with: people who can ask, a plan, a class, small recordings of our own making."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.app import create_app
from api.http import COOKIE
from api.people.consents import PURPOSES, note_answer
from api.people.service import add_person, add_token
from api.people.signing_in import open_sign_in
from api.results.reconcile import bring_up_to_date
from api.service import Service
from api.settings import Settings
from api.storage.model import Gym, Person
from api.work.stale import stale_classes

API = "/api/v1"
START = datetime(2026, 3, 9, 17, 30, tzinfo=UTC)

PLAN = """\
title: Harbour steps
options: [prescribed, lighter]
blocks:
  - name: main
    rounds: 3
    steps:
      - work: 60s
        tasks:
          - {movement: step-over, reps: 8}
          - {movement: machine, most: calories, intended: 20s..40s}
      - rest: 60s
    score: {measure: calories, take: total}
"""


@dataclass
class GymUnderTest:
    """A running application without a network, and who may ask it."""

    app: FastAPI
    service: Service
    gym_id: str
    people: dict[str, str] = field(default_factory=dict)

    def client(self, name: str | None = None, *, visit: str | None = None) -> TestClient:
        """A browser: of somebody signed in, of a visitor to a class, or of nobody."""
        client = TestClient(self.app, base_url="http://testserver", raise_server_exceptions=False)
        if name is not None:
            with self.service.database.writing() as session:
                secret = open_sign_in(
                    session, self.service, person_id=self.people[name], visit_class_id=visit
                )
            client.cookies.set(COOKIE, secret)
        return client

    def token(self, name: str, *scopes: str) -> dict[str, str]:
        """The header of a program of somebody's."""
        with self.service.database.writing() as session:
            person = session.get_one(Person, self.people[name])
            _, secret = add_token(
                session, person=person, name="test", scopes=scopes or ("read",), days=1
            )
        return {"Authorization": f"Bearer {secret}"}

    def add(self, name: str, *roles: str, gym_id: str | None = None, agrees: bool = True) -> str:
        """Somebody new, who agrees to everything where not said otherwise."""
        with self.service.database.writing() as session:
            person = add_person(
                session,
                gym_id=gym_id or self.gym_id,
                actor=None,
                name=f"{name.title()} Testperson",
                handle=name,
                mail=f"{name}@gym.example" if set(roles) - {"athlete"} else None,
                roles=roles,
                body={},
            )
            if agrees:
                for purpose in PURPOSES:
                    note_answer(session, person_id=person.id, purpose=purpose.name, agreed=True)
            self.people[name] = person.id
            return person.id

    def work(self) -> None:
        """Do what the worker would do."""
        while True:
            with self.service.database.reading() as session:
                stale = list(session.scalars(stale_classes()))
            if not stale:
                return
            for class_id in stale:
                bring_up_to_date(self.service, class_id)


@contextmanager
def open_gym(settings: Settings) -> Iterator[GymUnderTest]:
    """An owner `owner`, a coach `coach`, athletes `ada` and `bo`, and a stranger of another gym."""
    app = create_app(settings)
    service: Service = app.state.service
    with service.database.writing() as session:
        ours, theirs = Gym(name="Quay Hall"), Gym(name="Elsewhere")
        session.add_all([ours, theirs])
        session.flush()
        ids = ours.id, theirs.id
    gym = GymUnderTest(app, service, ids[0])
    gym.add("owner", "owner")
    gym.add("coach", "coach")
    gym.add("ada", "athlete")
    gym.add("bo", "athlete")
    gym.add("stranger", "athlete", "coach", "owner", gym_id=ids[1])
    try:
        yield gym
    finally:
        service.database.close()


def make_class(gym: GymUnderTest, *handles: str) -> str:
    """A class of the plan above, with a roster; gives its identifier."""
    coach = gym.client("coach")
    plan = coach.post(f"{API}/plans", json={"text": PLAN})
    assert plan.status_code == 201, plan.text
    made = coach.post(
        f"{API}/classes", json={"plan_id": plan.json()["id"], "start": START.isoformat()}
    )
    assert made.status_code == 201, made.text
    class_id: str = made.json()["id"]
    roster = {"athletes": [{"athlete": handle} for handle in handles or ("ada", "bo")]}
    assert coach.put(f"{API}/classes/{class_id}/roster", json=roster).status_code == 200
    return class_id


def rower_csv(seed: int = 0, *, start: datetime = START, rounds: int = 3) -> bytes:
    """A small rower file for the plan above: 60 s of which the last 35 are rowed, 60 s of rest."""
    rng = np.random.default_rng(seed)
    lines = ["time,power (W),cadence (rpm),calories"]
    count = 0.0
    power_w = 180 + 40 * rng.random()
    for second in range(rounds * 120 + 60):
        rows = second % 120 in range(25, 60) and second < rounds * 120
        watts = round(power_w + 5 * rng.standard_normal()) if rows else 0
        count += (4 * 0.8604 * watts + 300) / 3600 if rows else 0
        moment = (start + timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{moment},{watts},{26 if rows else 0},{int(count)}")
    return ("\n".join(lines) + "\n").encode()


def watch_csv(seed: int = 0, *, start: datetime = START) -> bytes:
    """A small heart-rate file for the plan above: three rounds that the heart answers 8 s late."""
    rng = np.random.default_rng(seed)
    lines = ["time,heart rate (bpm)"]
    bpm = 95.0
    for second in range(420):
        works = second >= 8 and (second - 8) % 120 < 60 and second < 368
        goal = 165.0 if works else 110.0
        bpm += (goal - bpm) / 30 + 0.4 * rng.standard_normal()
        moment = (start + timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{moment},{round(bpm)}")
    return ("\n".join(lines) + "\n").encode()


def upload(client: TestClient, class_id: str, *files: tuple[str, bytes], **form: Any) -> Any:
    """Send files; gives the answer."""
    return client.post(
        f"{API}/classes/{class_id}/recordings",
        files=[("files", (name, data)) for name, data in files],
        data=form or None,
    )


def zip_of(files: dict[str, bytes]) -> bytes:
    """A zip of files."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return stream.getvalue()
