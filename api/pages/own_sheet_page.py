"""Pages: an athlete's own sheet of a class, and what they can say to it."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer
from api.classes.schemas import ClassAnswer
from api.classes.score_endpoints import AthleteHandle, table_rows
from api.http import Reader, Sender, ServiceNow, language_of
from api.pages import own_words
from api.pages.advice_words import advice_sentences
from api.pages.class_words import in_hundred
from api.pages.earlier import earlier_classes, mean_power, summed
from api.pages.forms import go
from api.pages.own_sheet import OwnBlock, OwnFile, own_blocks, own_files
from api.pages.plan_words import SCORES
from api.pages.share_page import classes_around
from api.pages.templates import me_of, page
from api.people.consents import answer_of
from api.people.sight import class_table_people, visible_pins, visible_recordings
from api.people.subject import Subject
from api.problems import NotHere, NotReady
from api.questions import disputes
from api.questions.endpoints import DisputeId, decision_answer, pin_answer
from api.questions.service import standing_decisions
from api.results.drawings import Drawings
from api.results.reading import athlete_result
from api.results.record import logged_of
from api.results.service import Seen, seen_drawings, seen_result, state_answer
from api.service import Service
from api.sheet import words
from api.sheet.picture import COLUMNS, HEIGHT
from api.storage.model import Person, Pin, Recording, TrainingClass, Uploader
from api.storage.moments import with_offset
from reconcile.classes import ClassRecord
from reconcile.plan import Plan
from reconcile.result import AthleteResult
from reconcile.score.notes import filled_in

router = APIRouter()


@router.get("/classes/{class_id}/athletes/{athlete}")
def athlete_page(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    athlete: AthleteHandle,
) -> Response:
    """One athlete's sheet: to a coach anybody's, to others their own."""
    with service.database.reading() as session:
        return own_sheet(request, session, service, subject, class_id, athlete)


def own_sheet(
    request: Request, session: Session, service: Service, subject: Subject, class_id: str,
    handle: str | None = None,
) -> Response:  # fmt: skip
    """Draw an athlete's sheet of a class: the person's own where nobody is named."""
    found = classes.seen_class(session, subject, class_id)
    person = sheet_person(session, subject, class_id, handle or subject.handle)
    state = state_answer(session, found)
    own = person.id == subject.person_id
    language = language_of(request)
    try:
        seen: Seen | None = seen_result(session, subject, class_id)
    except NotReady:
        seen = None
    return page(
        request,
        "own_sheet",
        me=me_of(session, subject),
        found=class_answer(session, subject, found),
        state=state,
        fresh=state.state in ("done", "failed"),
        person=person,
        own=own,
        visiting=subject.visiting,
        agreed=answer_of(session, person.id, "recordings"),
        table=table_rows(session, subject, class_id) if own else [],
        words=words,
        outcomes=own_words.OUTCOMES,
        machines=own_words.MACHINES,
        takes={take: language.text(said) for take, said in own_words.TAKES.items()},
        method_words=partial(own_words.method_words, language),
        score_words=lambda rule: language.text(SCORES[rule.measure, rule.take]),
        in_hundred=partial(in_hundred, language),
        columns=COLUMNS,
        height=HEIGHT,
        **sheet_values(request, session, service, subject, found, person, seen),
    )


def sheet_person(session: Session, subject: Subject, class_id: str, handle: str) -> Person:
    """Whose sheet it is: somebody of the class; raises NotHere for who may not see it."""
    if not subject.coaches and handle != subject.handle:
        raise NotHere
    if handle == subject.handle and not subject.coaches:
        return session.get_one(Person, subject.person_id)
    person = session.scalar(class_table_people(subject, class_id).where(Person.handle == handle))
    if person is None:
        raise NotHere
    return person


def sheet_values(
    request: Request, session: Session, service: Service, subject: Subject, found: TrainingClass,
    person: Person, seen: Seen | None,
) -> dict[str, Any]:  # fmt: skip
    """What the result says of one athlete, as far as the person who looks may see."""
    plan = classes.class_plan(session, found)
    entries = seen.document["athletes"] if seen is not None else []
    entry = next((each for each in entries if each["athlete"] == person.handle), None)
    athlete = athlete_result(entry) if entry is not None else None
    drawings = seen_drawings(service, session, subject, seen) if seen is not None else Drawings()
    return {
        "blocks": blocks_of(session, subject, found, plan, person, athlete),
        "drawn": drawings.athletes.get(person.handle),
        "steps": athlete.intervals if athlete is not None else (),
        "energy": summed(athlete.intervals) if athlete is not None else None,
        "power_w": mean_power(athlete.intervals) if athlete is not None else None,
        "advice": advice_sentences(language_of(request), plan, athlete) if athlete else (),
        "files": (files := files_of(session, subject, found, person, athlete, drawings)),
        "elsewhere": elsewhere(session, subject, person, files),
        "earlier": ()
        if subject.visiting
        else earlier_classes(session, subject, found, person.id, person.handle),
    }


def blocks_of(
    session: Session, subject: Subject, found: TrainingClass, plan: Plan, person: Person,
    athlete: AthleteResult | None,
) -> tuple[OwnBlock, ...]:  # fmt: skip
    """The timed blocks with what was logged, recorded and said of them."""
    rows = [
        row
        for row, handle in classes.score_rows(session, subject, found.id, replaced=True)
        if handle == person.handle
    ]
    decided = standing_decisions(session, subject, found.id)
    disputed = disputes.standing_disputes(session, subject, found.id)
    record = ClassRecord(
        plan=plan,
        start=with_offset(found.start, found.start_offset_s),
        start_tolerance_s=found.start_tolerance_s,
        athletes=(),
        scores=tuple(logged_of(row, person.handle) for row in rows if row.replaced_at is None),
        uploads=(),
    )
    return own_blocks(
        record,
        athlete or AthleteResult(person.handle, (), (), (), ()),
        rows,
        person.id,
        {block: decision_answer(*row) for (who, block), row in decided.items()
         if who == person.handle},
        {block: decision_answer(*row) for (who, block), row in disputed.items()
         if who == person.handle},
    )  # fmt: skip


def files_of(
    session: Session, subject: Subject, found: TrainingClass, person: Person,
    athlete: AthleteResult | None, drawings: Drawings,
) -> tuple[OwnFile, ...]:  # fmt: skip
    """The person's files, with what came of them."""
    uploads = session.execute(
        visible_recordings(subject)
        .where(
            Recording.class_id == found.id,
            Recording.id.in_(select(Uploader.recording_id).where(Uploader.person_id == person.id)),
        )
        .order_by(Recording.id)
        .with_only_columns(Recording.file, Recording.id)
    )
    pins = session.scalars(
        visible_pins(subject, found.id).where(Pin.undone_at.is_(None)).order_by(Pin.id)
    )
    return own_files(
        athlete,
        {row.file: row.id for row in uploads},
        drawings.recordings,
        [pin_answer(session, subject, pin) for pin in pins],
        found.start,
        person.handle,
    )


def elsewhere(
    session: Session, subject: Subject, person: Person, files: tuple[OwnFile, ...]
) -> dict[str, list[ClassAnswer]]:
    """For each of one's own files that does not fit: the classes held around when it was made."""
    if subject.visiting or person.id != subject.person_id:
        return {}
    return {
        file.file: [
            class_answer(session, subject, row)
            for part in file.parts
            if part.result.status == "unmatched" and part.result.first_sample is not None
            for row in classes_around(session, subject, part.result.first_sample)
        ]
        for file in files
    }


@router.post("/classes/{class_id}/disputes")
def dispute(
    service: ServiceNow,
    subject: Sender,
    class_id: ClassId,
    block: Annotated[str, Form(max_length=200)],
    reason: Annotated[str, Form(min_length=1, max_length=500)],
) -> Response:
    """Say that a verdict is wrong, and why; the coach is asked to look."""
    with service.database.writing() as session:
        disputes.dispute(session, subject, class_id, block=block, reason=reason)
    return go(sheet_address(subject, class_id), "told")


@router.post("/classes/{class_id}/disputes/{dispute_id}/take-back")
def take_back(
    service: ServiceNow, subject: Sender, class_id: ClassId, dispute_id: DisputeId
) -> Response:
    """Take back what one said of a verdict."""
    with service.database.writing() as session:
        classes.seen_class(session, subject, class_id)
        disputes.take_back(session, subject, class_id, dispute_id)
    return go(sheet_address(subject, class_id), "undone")


@router.post("/classes/{class_id}/notes")
def confirm_notes(service: ServiceNow, subject: Sender, class_id: ClassId) -> Response:
    """Confirm what was read in one's notes: blank fields of machine and load take it over."""
    if subject.visiting:
        raise NotHere
    with service.database.writing() as session:
        plan = classes.class_plan(session, classes.seen_class(session, subject, class_id))
        rounds = {block.name: block.rounds for block in plan.timed_blocks}
        rows = classes.score_rows(session, subject, class_id, replaced=False)
        for row in [row for row, handle in rows if handle == subject.handle]:
            logged = logged_of(row, subject.handle)
            block = classes.scored_block(plan, logged.block)
            whole = filled_in(logged, rounds[block]) if block is not None else logged
            classes.log_score(session, service, subject, class_id, subject.handle, whole)
    service.work.wake()
    return go(sheet_address(subject, class_id), "kept")


def sheet_address(subject: Subject, class_id: str) -> str:
    """Where a person's own sheet is: a coach who trains has the class's at the shorter one."""
    base = f"/classes/{class_id}"
    return f"{base}/athletes/{subject.handle}" if subject.coaches else base
