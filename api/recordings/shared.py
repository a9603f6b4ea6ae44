"""Files that another app on a phone handed over, held until their owner says which class.

They lie sealed, one bundle a person: a new one takes the place of the one before, and a day later
they are gone.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from datetime import datetime, timedelta

from api.people.subject import Subject
from api.problems import NotHere
from api.recordings.files import SentFile, plain_name
from api.service import Service
from api.storage.keys import SealBroken
from api.storage.moments import now
from api.storage.store import BytesMissing

SHARED = "shared"
HELD_FOR = timedelta(days=1)


def hold(service: Service, subject: Subject, files: Sequence[SentFile]) -> None:
    """Hold files for somebody who is signed in; raises NotHere for who came by the wall."""
    if subject.visiting:
        raise NotHere
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        names = [plain_name(file.name) for file in files]
        archive.writestr("held.json", json.dumps({"at": now().isoformat(), "names": names}))
        for number, file in enumerate(files):
            archive.writestr(str(number), file.data)
    service.store.put(subject.gym_id, SHARED, subject.person_id, stream.getvalue())


def shared_files(service: Service, subject: Subject) -> list[SentFile]:
    """What is held for the person; nothing once its time is over."""
    if subject.visiting:
        return []
    try:
        data = service.store.get(subject.gym_id, SHARED, subject.person_id)
    except (BytesMissing, SealBroken):
        return []
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        held = json.loads(archive.read("held.json"))
        if now() - datetime.fromisoformat(held["at"]) > HELD_FOR:
            return []
        return [
            SentFile(name, archive.read(str(number))) for number, name in enumerate(held["names"])
        ]


def drop_shared(service: Service, subject: Subject) -> None:
    """Forget what is held for the person."""
    service.store.drop(subject.gym_id, SHARED, subject.person_id)


def sweep_shared(service: Service) -> None:
    """Forget whatever has been held for longer than it may be."""
    for place in list(service.store.raw_names(SHARED)):
        _, gym_id, _, person_id = place.split("/")
        since = held_since(service, gym_id, person_id)
        if since is None or now() - since > HELD_FOR:
            service.store.drop(gym_id, SHARED, person_id)


def held_since(service: Service, gym_id: str, person_id: str) -> datetime | None:
    """Since when a bundle is held; None where it cannot be read."""
    try:
        data = service.store.get(gym_id, SHARED, person_id)
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return datetime.fromisoformat(json.loads(archive.read("held.json"))["at"])
    except (BytesMissing, SealBroken, zipfile.BadZipFile, KeyError, ValueError):
        return None
