"""Pages: one recording, what tells where it belongs, and fixing that by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes import taking_part
from api.classes.endpoints import ClassId, class_answer
from api.folder.sheets import read_seconds
from api.http import Reader, Sender, ServiceNow, language_of
from api.language import Language
from api.pages import evidence_words
from api.pages.class_words import in_hundred
from api.pages.file_words import words_for
from api.pages.forms import go
from api.pages.templates import me_of, page
from api.people.sight import own_recordings, visible_pins
from api.people.subject import Subject
from api.problems import Fault, NotHere, NotReady, Refused
from api.questions import service as questions
from api.questions.endpoints import PinId, pin_answer
from api.questions.schemas import FURTHEST_S, PinAnswer
from api.recordings.endpoints import RecordingId
from api.recordings.service import recording_answer, seen_recording
from api.results.drawings import BlockEvidence, Drawings, RecordingEvidence
from api.results.reading import recording_result
from api.results.service import seen_drawings, seen_result, state_answer
from api.service import Service
from api.sheet import words
from api.sheet.explained_page import LIKELIHOOD_HEIGHT
from api.sheet.picture import COLUMNS, HEIGHT
from api.storage.model import Pin, Recording, TrainingClass
from reconcile.plan import Plan
from reconcile.result import RecordingResult

router = APIRouter()


@dataclass(frozen=True)
class Part:
    """A file, or one member of a zip: what came of it, what tells, and what is fixed by hand."""

    member: str
    result: RecordingResult
    evidence: RecordingEvidence | None
    blocks: tuple[PartBlock, ...]
    owner: str
    owner_pin: PinAnswer | None
    to_do: tuple[str, ...]
    to_know: tuple[str, ...]


@dataclass(frozen=True)
class PartBlock:
    """One timed block of the plan on a recording.

    evidence: None where the block has no place on it. bands: kind, x and width of each step, and
    bells, in per cent of the picture; none on a recording of something else. start_s: of the
    likeliest place. undoable: by who looks.
    """

    name: str
    evidence: BlockEvidence | None
    places: tuple[evidence_words.Place, ...]
    sources: tuple[str, ...]
    sentences: tuple[str, ...]
    bands: tuple[tuple[str, float, float], ...]
    bells: tuple[float, ...]
    start_s: float | None
    start: str
    pin: PinAnswer | None
    undoable: bool


@router.get("/classes/{class_id}/recordings/{recording_id}")
def recording_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    recording_id: RecordingId,
) -> Response:
    """What tells where a recording belongs; to its uploader and to coaches."""
    with service.database.reading() as session:
        row = recording_of(session, subject, class_id, recording_id)
        found = classes.seen_class(session, subject, class_id)
        state = state_answer(session, found)
        roster = taking_part.roster_rows(session, subject, class_id)
        answer = recording_answer(session, row)
        language = language_of(request)
        names = {person.handle: person.name for _, person in roster}
        return page(
            request,
            "recording",
            me=me_of(session, subject),
            found=class_answer(session, subject, found),
            state=state,
            fresh=state.state in ("done", "failed"),
            row=answer,
            names=names,
            handed_in=[names.get(handle, handle) for handle in answer.athletes],
            in_hundred=partial(in_hundred, language),
            may_pin=not subject.visiting,
            may_have=session.scalar(own_recordings(subject).where(Recording.id == row.id)),
            parts=parts_of(language, session, service, subject, found, row, names),
            words=words,
            columns=COLUMNS,
            height=HEIGHT,
            likelihood_height=LIKELIHOOD_HEIGHT,
            clock_text=evidence_words.clock_text,
        )


def recording_of(session: Session, subject: Subject, class_id: str, recording_id: str) -> Recording:
    """The recording, where it is of this class and the person may see it; raises NotHere."""
    row = seen_recording(session, subject, recording_id)
    if row.class_id != class_id:
        raise NotHere
    return row


def parts_of(
    language: Language, session: Session, service: Service, subject: Subject,
    found: TrainingClass, row: Recording, names: dict[str, str],
) -> tuple[Part, ...]:  # fmt: skip
    """The file's entries in the result; empty where there is none yet."""
    try:
        seen = seen_result(session, subject, found.id)
    except NotReady:
        return ()
    drawings = seen_drawings(service, session, subject, seen)
    entries = [r for athlete in seen.document["athletes"] for r in athlete["recordings"]]
    pins = {
        pin.id: (pin, pin_answer(session, subject, pin))
        for pin in session.scalars(
            visible_pins(subject, found.id).where(
                Pin.undone_at.is_(None), Pin.recording_id == row.id
            ).order_by(Pin.id)
        )
    }  # fmt: skip
    plan = classes.class_plan(session, found)
    return tuple(
        part_of(language, subject, plan, recording_result(entry), drawings, pins, names, found)
        for entry in [*entries, *seen.document["unassigned"]]
        if entry["file"].partition("/")[0] == row.file
    )


def part_of(
    language: Language, subject: Subject, plan: Plan, result: RecordingResult,
    drawings: Drawings, pins: dict[str, tuple[Pin, PinAnswer]], names: dict[str, str],
    found: TrainingClass,
) -> Part:  # fmt: skip
    """One recording."""
    told = drawings.recordings.get(result.file)
    own = [pair for pair in pins.values() if pair[1].file == result.file]
    to_do, to_know = words_for([problem.code for problem in result.problems])
    owner_pins = [answer for pin, answer in own if pin.owner_id is not None]
    return Part(
        member=result.file.partition("/")[2],
        result=result,
        evidence=told,
        blocks=tuple(
            block_of(language, subject, block.name, result, told, own, found)
            for block in plan.timed_blocks
        ),
        owner="" if told is None else evidence_words.owner_sentence(language, told, names),
        owner_pin=owner_pins[-1] if owner_pins else None,
        to_do=to_do,
        to_know=to_know,
    )


def block_of(
    language: Language, subject: Subject, name: str, result: RecordingResult,
    told: RecordingEvidence | None, pins: list[tuple[Pin, PinAnswer]], found: TrainingClass,
) -> PartBlock:  # fmt: skip
    """One block on a recording."""
    evidence = next((b for b in told.blocks if b.block == name), None) if told else None
    pinned = [pair for pair in pins if pair[0].block == name]
    pin = pinned[-1] if pinned else None
    start_s = evidence.candidates[0].start_s if evidence else None
    first = result.first_sample
    if first is not None:
        first = first + timedelta(seconds=found.start_offset_s)
    bands: list[tuple[str, float, float]] = []
    bells: list[float] = []
    if evidence and told and start_s is not None and told.status != "unmatched":
        wide = told.end_s - told.start_s

        def across(seconds: float) -> float:
            return round((seconds + start_s - told.start_s) / wide * 100, 2)

        bells = [across(begin) for _, begin, _ in evidence.steps]
        bells.append(across(evidence.steps[-1][2]))
        bands = [
            (kind, across(begin), round((end - begin) / wide * 100, 2))
            for kind, begin, end in evidence.steps
        ]
    return PartBlock(
        name=name,
        evidence=evidence,
        places=evidence_words.places(language, evidence, first) if evidence else (),
        sources=tuple(
            language.text(evidence_words.SOURCES.get(source, source))
            for source in (evidence.candidates[0].says if evidence else ())
        ),
        sentences=tuple(
            filter(
                None,
                (
                    evidence_words.clock_sentence(language, evidence),
                    evidence_words.heart_sentence(language, evidence),
                ),
            )
        )
        if evidence
        else (),
        bands=tuple(bands),
        bells=tuple(bells),
        start_s=start_s,
        start="" if start_s is None else evidence_words.clock_text(start_s),
        pin=pin[1] if pin else None,
        undoable=pin is not None and questions.may_undo(subject, pin[0]),
    )


@router.post("/classes/{class_id}/recordings/{recording_id}/pins")
def pin(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    recording_id: RecordingId,
    member: Annotated[str, Form(max_length=255)] = "",
    block: Annotated[str, Form(max_length=200)] = "",
    start: Annotated[str, Form(max_length=20)] = "",
    owner: Annotated[str, Form(max_length=64)] = "",
) -> Response:
    """Fix by hand where a block begins, or (a coach) whose the recording is."""
    with service.database.writing() as session:
        row = recording_of(session, subject, class_id, recording_id)
        questions.add_pin(
            session, service, subject, class_id,
            file=f"{row.file}/{member}" if member else row.file,
            block=block or None,
            start_s=typed_start(start) if block else None,
            owner=owner or None,
        )  # fmt: skip
    service.work.wake()
    return go(f"/classes/{class_id}/recordings/{recording_id}", "pinned")


def typed_start(text: str) -> float:
    """Seconds from the first sample, as typed: "12:51.5", "771" or "-3"; raises Refused."""
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    value = read_seconds(plain.removeprefix("-"))
    if value is None or not 0 <= value <= FURTHEST_S:
        what = "Write the start in minutes and seconds after the first sample, such as 12:51."
        raise Refused(what, code="no_start", faults=[Fault("start", what, "time")])
    return round(-value if plain.startswith("-") else value, 6)


@router.post("/classes/{class_id}/recordings/{recording_id}/pins/{pin_id}/undo")
def undo(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    recording_id: RecordingId,
    pin_id: PinId,
) -> Response:
    """Undo what was fixed by hand."""
    with service.database.writing() as session:
        recording_of(session, subject, class_id, recording_id)
        questions.undo_pin(session, service, subject, class_id, pin_id)
    service.work.wake()
    return go(f"/classes/{class_id}/recordings/{recording_id}", "undone")
