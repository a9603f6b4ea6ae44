"""What a service must outlast: many uploads at once, and being killed at any moment.

`python -m tests.service.soak` runs both at full size on both databases; the tests run them small.
Everything happens on 127.0.0.1 and ends by itself.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2
from sqlalchemy import select

from api.app import open_service
from api.people.consents import note_answer
from api.people.service import add_person, add_token
from api.people.signing_in import open_sign_in
from api.results.record import class_record, read_inputs
from api.results.service import latest_result
from api.service import Service
from api.settings import Settings
from api.storage.database import migrate
from api.storage.model import Gym, Recording, Score
from reconcile.document import document_text
from reconcile.engine import reconcile_class
from tests.service.database_server import free_port, new_database, running_server
from tests.service.gym import API, PLAN, START, rower_csv

STARTS_WITHIN_S = 60.0
WORKED_OFF_WITHIN_S = 1200.0
DATABASES = ("sqlite", "postgresql")
KINDS = ("kills", "uploads")


@dataclass
class Running:
    """A service in processes of its own: the server, and a worker beside it on PostgreSQL."""

    data: Path
    database: str
    port: int = field(default_factory=free_port)
    server: subprocess.Popen[bytes] | None = None
    worker: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def settings(self) -> Settings:
        return Settings(data=self.data, database=self.database)

    def start(self) -> None:
        """Start what does not run, and wait until the server answers."""
        if self.server is None or self.server.poll() is not None:
            self.server = self.process("serve", "--port", str(self.port))
        if self.database and (self.worker is None or self.worker.poll() is not None):
            self.worker = self.process("work")
        until = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < until:
            try:
                if httpx2.get(f"{self.address}/ready", timeout=2).is_success:
                    return
            except httpx2.HTTPError:
                time.sleep(0.1)
        raise AssertionError("the server did not start: " + self.log.read_text()[-2000:])

    @property
    def environment(self) -> dict[str, str]:
        return os.environ | {"INTERVOUCH_DATABASE": self.database, "INTERVOUCH_STALLED_S": "2"}

    def process(self, *command: str) -> subprocess.Popen[bytes]:
        workers = "0" if self.database and command[0] == "serve" else "1"
        environment = self.environment | {"INTERVOUCH_WORKERS": workers}
        with self.log.open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "api.command.main", *command, "--data", str(self.data)],
                env=environment, stdout=log, stderr=log,
            )  # fmt: skip

    @property
    def log(self) -> Path:
        return self.data.parent / "log"

    def kill(self, chance: random.Random) -> str:
        """Kill -9 the server, the worker, or both."""
        victims = [process for process in (self.server, self.worker) if process is not None]
        chosen = victims if chance.random() < 0.3 else [chance.choice(victims)]
        for process in chosen:
            process.send_signal(signal.SIGKILL)
            process.wait()
        return f"{len(chosen)} of {len(victims)} processes"

    def stop(self) -> None:
        """End gracefully; who does not listen is killed."""
        for process in (self.server, self.worker):
            if process is not None and process.poll() is None:
                process.terminate()
                try:
                    process.wait(30)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()


@dataclass
class Cast:
    """A gym in the making: a coach's token, athletes' cookies, a class."""

    coach: dict[str, str]
    athletes: dict[str, dict[str, str]]
    class_id: str


@contextmanager
def service_of(running: Running) -> Iterator[Service]:
    """The same service, opened from here."""
    service = open_service(running.settings)
    try:
        yield service
    finally:
        service.database.close()


def set_up(running: Running, athletes: int) -> Cast:
    """A gym with athletes who agreed, and a class with all of them."""
    migrate(running.settings)
    with service_of(running) as service, service.database.writing() as session:
        gym = Gym(name="Soak")
        session.add(gym)
        session.flush()
        who: dict[str, Any] = {}
        for handle in ("coach", *(f"a{n:02d}" for n in range(1, athletes + 1))):
            role = "coach" if handle == "coach" else "athlete"
            who[handle] = add_person(
                session, gym_id=gym.id, actor=None, name=handle, handle=handle, mail=None,
                roles=(role,), body={},
            )  # fmt: skip
            note_answer(session, person_id=who[handle].id, purpose="recordings", agreed=True)
        scopes = ("read", "upload", "write")
        _, secret = add_token(session, person=who["coach"], name="t", scopes=scopes, days=1)
        cookies = {
            handle: {"Cookie": f"intervouch={open_sign_in(session, service, person_id=p.id)}"}
            for handle, p in who.items()
            if handle != "coach"
        }
    coach = {"Authorization": f"Bearer {secret}"}
    running.start()
    with httpx2.Client(base_url=running.address + API, headers=coach, timeout=60) as client:
        plan = client.post("/plans", json={"text": PLAN}).json()
        made = client.post("/classes", json={"plan_id": plan["id"], "start": START.isoformat()})
        class_id = made.json()["id"]
        roster = {"athletes": [{"athlete": handle} for handle in cookies]}
        assert client.put(f"/classes/{class_id}/roster", json=roster).is_success
    return Cast(coach, cookies, class_id)


def wait_until_done(running: Running, cast: Cast) -> None:
    """Wait until the class's result rests on everything that is there."""
    until = time.monotonic() + WORKED_OFF_WITHIN_S
    while time.monotonic() < until:
        with httpx2.Client(headers=cast.coach, timeout=60) as client:
            state = client.get(f"{running.address}{API}/classes/{cast.class_id}/state").json()
        if state["state"] in ("done", "failed"):
            assert state["state"] == "done", state
            return
        time.sleep(0.2)
    raise AssertionError("the class was not worked out: " + running.log.read_text()[-2000:])


def check_result(running: Running, cast: Cast) -> None:
    """The result that stands is the one that a single run over the same inputs gives."""
    with service_of(running) as service:
        with service.database.reading() as session:
            inputs = read_inputs(session, cast.class_id)
            run = latest_result(session, cast.class_id)
        assert inputs is not None
        assert run is not None
        assert run.inputs_version == inputs.found.inputs_version
        assert run.document == document_text(reconcile_class(class_record(service, inputs)))


# ---- many at once


def upload_at_once(running: Running, *, clients: int, files: int) -> str:
    """Every client uploads its files, all at once; all are there once, and the result is right."""
    cast = set_up(running, clients)
    began = time.monotonic()

    def send(number: int, handle: str) -> list[str]:
        sent = []
        with httpx2.Client(headers=cast.athletes[handle], timeout=120) as client:
            for n in range(files):
                data = rower_csv(1000 * number + n, rounds=1)
                answer = client.post(
                    f"{running.address}{API}/classes/{cast.class_id}/recordings",
                    files=[("files", (f"{n}.csv", data))],
                )
                assert answer.status_code == 201, answer.text
                sent.append(hashlib.sha256(data).hexdigest())
        return sent

    with ThreadPoolExecutor(clients) as pool:
        sent = [sha for shas in pool.map(send, range(clients), cast.athletes) for sha in shas]
    seconds = time.monotonic() - began
    wait_until_done(running, cast)
    whole = time.monotonic() - began
    with service_of(running) as service, service.database.reading() as session:
        kept = list(session.scalars(select(Recording.sha256)))
    assert sorted(kept) == sorted(sent)
    check_result(running, cast)
    return (
        f"{clients} clients x {files} files: {len(sent)} uploads in {seconds:.1f} s "
        f"({len(sent) / seconds:.0f} a second), worked out {whole - seconds:.1f} s later"
    )


# ---- killed at any moment


def kill_again_and_again(running: Running, *, kills: int, seed: int) -> str:
    """Upload and log while the processes are killed; what was acknowledged is there afterwards."""
    cast = set_up(running, 3)
    chance = random.Random(seed)
    acknowledged: dict[str, str] = {}
    scores: dict[str, list[float]] = {handle: [] for handle in cast.athletes}
    stop = threading.Event()
    failures: list[str] = []

    def live(handle: str, number: int) -> None:
        """Send files and scores until told to stop; try again where the server is gone."""
        count = 0
        while not stop.is_set():
            data = rower_csv(1000 * number + count % 3, rounds=1 + count % 2)
            score = float(count % 50 + 1)
            try:
                with httpx2.Client(headers=cast.athletes[handle], timeout=30) as client:
                    base = f"{running.address}{API}/classes/{cast.class_id}"
                    sent = client.post(f"{base}/recordings", files=[("files", ("r.csv", data))])
                    if sent.is_success:
                        acknowledged[hashlib.sha256(data).hexdigest()] = handle
                    logged = client.put(f"{base}/scores/{handle}", json={"score": score})
                    if logged.is_success:
                        scores[handle].append(score)
                    seen = client.get(f"{base}/result")
                    if seen.status_code == 200:
                        json.loads(seen.content)
                    failures.extend(
                        f"{answer.status_code} {answer.text[:200]}"
                        for answer in (sent, logged, seen)
                        if answer.status_code not in (200, 201, 409)
                    )
            except httpx2.HTTPError:
                stop.wait(0.1)
            count += 1

    threads = [
        threading.Thread(target=live, args=(handle, number))
        for number, handle in enumerate(cast.athletes)
    ]
    for thread in threads:
        thread.start()
    try:
        for _ in range(kills):
            time.sleep(chance.uniform(0.05, 1.5))
            running.kill(chance)
            running.start()
    finally:
        stop.set()
        for thread in threads:
            thread.join(60)
    assert failures == []
    wait_until_done(running, cast)
    with service_of(running) as service:
        with service.database.reading() as session:
            rows = {row.sha256: row for row in session.scalars(select(Recording))}
            kept = set(session.scalars(select(Score.score)))
        assert set(acknowledged) <= set(rows)
        for sha, row in rows.items():
            assert hashlib.sha256(service.store.get(row.gym_id, "bytes", sha)).hexdigest() == sha
        assert {score for logged in scores.values() for score in logged} <= kept
    check_result(running, cast)
    count = sum(len(logged) for logged in scores.values())
    return f"{kills} kills: {len(acknowledged)} files and {count} scores acknowledged, all there"


def main() -> int:
    """Run both at full size on both databases, and say what came of it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--clients", type=int, default=16)
    parser.add_argument("--files", type=int, default=50)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    parser.add_argument("--on", nargs="+", default=DATABASES, choices=DATABASES)
    parser.add_argument("--what", nargs="+", default=KINDS, choices=KINDS)
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}", flush=True)
    with running_server() as server:
        for database in chosen.on:
            for what in chosen.what:
                with tempfile.TemporaryDirectory() as place:
                    address = new_database(server) if database == "postgresql" else ""
                    running = Running(Path(place) / "data", address)
                    try:
                        if what == "kills":
                            said = kill_again_and_again(
                                running, kills=chosen.kills, seed=chosen.seed
                            )
                        else:
                            said = upload_at_once(
                                running, clients=chosen.clients, files=chosen.files
                            )
                    finally:
                        running.stop()
                print(f"{database}: {said}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
