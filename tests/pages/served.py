"""A gym with the fictional class in it, behind a real server: for tests, pictures and the bench."""

from __future__ import annotations

import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page
from sqlalchemy import select

from api.app import create_app
from api.demo.folder import write_demo_folder
from api.http import COOKIE
from api.people.consents import PURPOSES
from api.people.signing_in import make_link, open_sign_in, subject_by_sign_in
from api.settings import Settings
from api.storage.model import Gym, Person, Plan, Recording, TrainingClass
from api.transfer.service import read_zip, take_in
from tests.service.database_server import free_port
from tests.service.gym import GymUnderTest, open_gym, zip_of

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}

NAMES = (
    "Runa Fjell", "Ivo Marsh", "Maren Holt", "Tadeo Quill", "Annelise Brandt-Okonjo", "Pim Vos",
    "Sólveig Aðalsteinsdóttir", "Kofi Lund", "Bea Hart", "Jun Arden",
)  # fmt: skip


@dataclass(frozen=True)
class Served:
    """A running server, and what is in it.

    class_id: the fictional class. athlete: the handle of one of its athletes, who agreed to
    everything. Whoever is named in `gym.people` can be signed in; its athletes are by handle.
    """

    gym: GymUnderTest
    address: str
    class_id: str
    athlete: str = "a03"

    def context(
        self, browser: Browser, who: str | None, screen: dict[str, Any] = DESK, **options: Any
    ) -> BrowserContext:
        """A browser of its own, somebody signed in; options are Playwright's."""
        context = browser.new_context(viewport=dict(screen), **({"locale": "en-GB"} | options))  # type: ignore[arg-type]  # a plain dict
        context.set_default_timeout(10_000)
        if who is not None:
            context.add_cookies([{"name": COOKIE, "value": self.cookie(who), "url": self.address}])
        return context

    def page(
        self, browser: Browser, who: str | None, screen: dict[str, Any] = DESK, **options: Any
    ) -> Page:
        """A page of such a browser."""
        return self.context(browser, who, screen, **options).new_page()

    def cookie(self, who: str, *, visit: str | None = None) -> str:
        """The secret of a sign-in; visit: by the code on the wall of this class."""
        with self.gym.service.database.writing() as session:
            return open_sign_in(
                session, self.gym.service, person_id=self.gym.people[who], visit_class_id=visit
            )

    def url(self, path: str) -> str:
        """A path's address."""
        return f"{self.address}{path}"


def lay_demo(data: Path) -> None:
    """Make a gym with the fictional class, worked out; people have names, not only handles."""
    with open_gym(Settings(data=data, workers=0)) as gym, tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_demo_folder(folder)
        lay_files(gym, folder, NAMES)


def lay_files(gym: GymUnderTest, folder: Path, names: tuple[str, ...]) -> None:
    """Take a class folder in as the coach, name its athletes, and work it out."""
    service = gym.service
    files = {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
    taken = read_zip(service, zip_of(files))
    with service.database.writing() as session:
        secret = open_sign_in(session, service, person_id=gym.people["coach"])
        coach = subject_by_sign_in(session, secret)
        take_in(session, service, coach, taken, [purpose.name for purpose in PURPOSES])
        handles = [athlete.athlete for athlete in taken.record.athletes]
        for handle, name in zip(handles, names, strict=False):
            person = session.scalar(
                select(Person).where(Person.gym_id == gym.gym_id, Person.handle == handle)
            )
            assert person is not None
            person.name = name
    gym.work()


@contextmanager
def opened(data: Path, workers: int) -> Iterator[tuple[GymUnderTest, str]]:
    """A copy of a gym's data, open: who is in it, and its oldest class."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name) / "data"
        shutil.copytree(data, copy)
        app = create_app(Settings(data=copy, workers=workers))
        service = app.state.service
        with service.database.reading() as session:
            gym_id = session.scalars(select(Gym.id).where(Gym.name == "Quay Hall")).one()
            people = session.scalars(select(Person).where(Person.gym_id == gym_id))
            gym = GymUnderTest(app, service, gym_id, {row.handle: row.id for row in people})
            class_id = session.scalars(select(TrainingClass.id).order_by(TrainingClass.id)).first()
            assert class_id is not None
        try:
            yield gym, class_id
        finally:
            service.database.close()


@contextmanager
def served(data: Path, workers: int = 0) -> Iterator[Served]:
    """A server over a copy of a gym's data, which stays as it was; workers: reconciling ones."""
    with opened(data, workers) as (gym, class_id):
        config = uvicorn.Config(gym.app, port=free_port(), log_level="error", ws="none")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield Served(gym, f"http://127.0.0.1:{config.port}", class_id)
        finally:
            server.should_exit = True
            thread.join()


def in_addresses(place: Served) -> dict[str, str]:
    """One of each kind of thing that a page's address names."""
    with place.gym.service.database.writing() as session:
        recording = session.scalars(
            select(Recording).where(Recording.file.startswith(f"{place.athlete}."))
        ).first()
        plan = session.scalars(select(Plan.id).order_by(Plan.id)).first()
        found = session.get_one(TrainingClass, place.class_id)
        assert recording is not None
        assert plan is not None
        coach = session.get_one(Person, place.gym.people["coach"])
        _, secret = make_link(session, place.gym.service, person=coach, kind="invite", made_by=None)
        return {
            "secret": secret,
            "number": "1",
            "athlete": place.athlete,
            "class_id": place.class_id,
            "recording_id": recording.id,
            "plan_id": plan,
            "person_id": place.gym.people[place.athlete],
            "code": found.wall_code,
        }
