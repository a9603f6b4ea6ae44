"""What a person may read of a class's result."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes.service import class_state, seen_class
from api.people.sight import visible_recordings
from api.people.subject import Subject
from api.problems import NotReady
from api.results.drawings import Drawings, RecordingEvidence, unpacked
from api.results.schemas import StateAnswer
from api.service import Service
from api.storage.keys import SealBroken
from api.storage.model import Reconciliation, Recording, TrainingClass, Uploader

# Stands for anybody else of the class where an athlete may not read the name; no handle is blank.
SOMEBODY = ""
OTHER = "It fits a recording of somebody else in the class."


@dataclass(frozen=True)
class Seen:
    """A result as the person may read it; `whole` is the document's own text, for coaches."""

    document: dict[str, Any]
    whole: str | None
    run: Reconciliation

    @property
    def text(self) -> str:
        """The document as JSON: the engine's own bytes where nothing had to be left out."""
        if self.whole is not None:
            return self.whole
        return json.dumps(self.document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def latest_result(session: Session, class_id: str) -> Reconciliation | None:
    """The class's result: the newest whole one, also where a newer one is being made."""
    return session.scalars(
        select(Reconciliation)
        .where(
            Reconciliation.class_id == class_id,
            Reconciliation.state == "done",
            Reconciliation.document.is_not(None),
        )
        .order_by(Reconciliation.inputs_version.desc(), Reconciliation.id.desc())
        .limit(1)
    ).one_or_none()


def state_answer(session: Session, found: TrainingClass) -> StateAnswer:
    """Say how far the class is."""
    run = class_state(session, found)
    if run is None:
        return StateAnswer(
            state="waiting", stage="", done=0, total=0, problem=None, finished_at=None
        )
    return StateAnswer(
        state=run.state,  # type: ignore[arg-type]
        stage=run.stage if run.state == "working" else "",
        done=run.done,
        total=run.total,
        problem=run.problem,
        finished_at=run.finished_at,
    )


def seen_result(session: Session, subject: Subject, class_id: str) -> Seen:
    """The result, as much of it as the person may read.

    Raises NotHere where the class is not theirs to see, NotReady where there is no result yet.
    """
    found = seen_class(session, subject, class_id)
    run = latest_result(session, found.id)
    if run is None or run.document is None:
        raise NotReady(
            "The class is being worked out: look again in a moment.",
            developer="There is no result yet: watch /progress, or ask for /state.",
        )
    document = json.loads(run.document)
    if subject.coaches:
        return Seen(document, run.document, run)
    own = [own_entry(entry, subject.handle) for entry in document["athletes"]
           if entry["athlete"] == subject.handle]  # fmt: skip
    if subject.visiting:
        own = [visit_entry(session, subject, class_id, document, entry) for entry in own]
    return Seen(document | {"athletes": own, "unassigned": []}, None, run)


def own_entry(entry: dict[str, Any], handle: str) -> dict[str, Any]:
    """An athlete's entry without the name of anybody else."""
    recordings = []
    for recording in entry["recordings"]:
        owner = recording["belongs_to"]
        owners = owner if isinstance(owner, list) else [owner]
        recordings.append(recording | {"belongs_to": handle if handle in owners else None})
    scores = [
        score
        | {
            "explanations": [
                reason | {"text": OTHER} if reason["code"] == "other_athlete" else reason
                for reason in score["explanations"]
            ]
        }
        for score in entry["scores"]
    ]
    return entry | {"recordings": recordings, "scores": scores}


def visit_entry(
    session: Session,
    subject: Subject,
    class_id: str,
    document: dict[str, Any],
    entry: dict[str, Any],
) -> dict[str, Any]:
    """What somebody here by the code on the wall sees: their own upload of this visit.

    The steps and the score too, where they rest on nothing else.
    """
    mine = set(
        session.scalars(
            visible_recordings(subject)
            .where(Recording.class_id == class_id)
            .with_only_columns(Recording.file)
        )
    )
    entries = [r for athlete in document["athletes"] for r in athlete["recordings"]]
    entries += document["unassigned"]
    rests_on = {
        recording["file"].partition("/")[0]
        for recording in entries
        if subject.handle in as_list(recording["belongs_to"])
    }
    rests_on |= set(
        session.scalars(
            select(Recording.file)
            .join(Uploader, Uploader.recording_id == Recording.id)
            .where(Recording.class_id == class_id, Uploader.person_id == subject.person_id)
        )
    )
    shown = entry | {
        "recordings": [r for r in entry["recordings"] if r["file"].partition("/")[0] in mine]
    }
    if mine and rests_on <= mine:
        return shown
    return shown | {"intervals": [], "scores": [], "advice": []}


def as_list(owner: str | list[str] | None) -> list[str]:
    """Owners as a list, whatever their number."""
    if owner is None:
        return []
    return owner if isinstance(owner, list) else [owner]


def drawings_beside(service: Service, gym_id: str, run: Reconciliation) -> Drawings:
    """What was drawn with a result; nothing where it cannot be opened, or has another form."""
    if run.sheet is None:
        return Drawings()
    try:
        data = service.keys.open(f"sheets {gym_id}", run.class_id, run.sheet)
    except SealBroken:
        return Drawings()
    return unpacked(data) or Drawings()


def seen_drawings(service: Service, session: Session, subject: Subject, seen: Seen) -> Drawings:
    """What is drawn of a class, as much of it as the person may see.

    An athlete sees their own picture and what tells of their own uploads, without the name of
    anybody else. A visitor's picture has to rest on this visit alone.
    """
    drawings = drawings_beside(service, subject.gym_id, seen.run)
    if subject.coaches:
        return drawings
    files = set(
        session.scalars(
            visible_recordings(subject)
            .where(Recording.class_id == seen.run.class_id)
            .with_only_columns(Recording.file)
        )
    )
    whole = any(entry["intervals"] for entry in seen.document["athletes"])
    return Drawings(
        {
            handle: drawn
            for handle, drawn in drawings.athletes.items()
            if handle == subject.handle and (whole or not subject.visiting)
        },
        {
            file: own_evidence(evidence, subject.handle)
            for file, evidence in drawings.recordings.items()
            if file.partition("/")[0] in files
        },
    )


def own_evidence(evidence: RecordingEvidence, handle: str) -> RecordingEvidence:
    """A recording's evidence with everybody else in the class as one nameless somebody."""
    odds: dict[str | None, float] = {}
    for owner, share in evidence.odds:
        whose = owner if owner in (handle, None) else SOMEBODY
        odds[whose] = odds.get(whose, 0.0) + share
    owners = (owner if owner == handle else SOMEBODY for owner in evidence.owners)
    ranked = sorted(odds.items(), key=lambda each: -each[1])
    return replace(evidence, owners=tuple(dict.fromkeys(owners)), odds=tuple(ranked))
