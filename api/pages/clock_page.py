"""Pages: the clock for the gym's screen, and the starts that it records.

Without scripts the clock's page is the timeline in words. The script runs from what stands in it:
each block and each step is there once, with its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from fastapi import APIRouter, Request, Response

from api.classes import service as classes
from api.classes.endpoints import ClassId, class_answer
from api.classes.schemas import ClassAnswer
from api.http import Reader, ServiceNow, Writer, language_of
from api.pages.entrance import static
from api.pages.forms import FormNow, go
from api.pages.plan_drawing import DrawnBlock, drawn_plan
from api.pages.templates import me_of, page
from api.problems import Fault, NotHere, Refused

router = APIRouter()


@dataclass(frozen=True)
class Begins:
    """When a block will begin by the clock on the wall, from the earliest to the latest."""

    earliest: datetime
    latest: datetime


def begins(found: ClassAnswer, block: DrawnBlock) -> Begins:
    """When a block of a class will begin."""
    low_s, high_s = block.begins_s
    return Begins(found.start + timedelta(seconds=low_s), found.start + timedelta(seconds=high_s))


@router.get("/clock/worker.js")
def worker(request: Request) -> Response:
    """What keeps the clock's page for when there is no network; its reach is /clock/ only."""
    return static(request, "clock_worker.js")


@router.get("/clock/{class_id}")
def clock_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """The clock of a class; a coach's to run."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        row = classes.seen_class(session, subject, class_id)
        found = class_answer(session, subject, row)
        drawn = drawn_plan(classes.class_plan(session, row), language_of(request))
        return page(
            request,
            "clock",
            me=me_of(session, subject),
            found=found,
            drawn=drawn,
            begins=[begins(found, block) for block in drawn.blocks],
            starts_ms={block: start.timestamp() * 1000 for block, start in found.starts.items()},
        )


@router.get("/classes/{class_id}/starts")
def starts_page(
    request: Request, service: ServiceNow, subject: Reader, class_id: ClassId
) -> Response:
    """When the blocks began: as the clock recorded it, to correct or to clear."""
    if not subject.coaches:
        raise NotHere
    with service.database.reading() as session:
        row = classes.seen_class(session, subject, class_id)
        plan = classes.class_plan(session, row)
        return page(
            request,
            "starts",
            me=me_of(session, subject),
            found=class_answer(session, subject, row),
            blocks=[block.name for block in plan.timed_blocks],
        )


@router.post("/classes/{class_id}/starts")
def keep_starts(service: ServiceNow, subject: Writer, class_id: ClassId, form: FormNow) -> Response:
    """Keep what a coach changed; a blank field clears, an untouched one stays the clock's."""
    with service.database.writing() as session:
        row = classes.led_class(session, subject, class_id)
        found = class_answer(session, subject, row)
        plan = classes.class_plan(session, row)
        changes: dict[str, datetime | None] = {}
        for number, block in enumerate(plan.timed_blocks):
            text = str(form.get(f"start-{number}", "")).strip()
            before = found.starts.get(block.name)
            if text != (before.strftime("%H:%M:%S") if before else ""):
                changes[block.name] = moment_on_day(found.start, text) if text else None
        if changes:
            classes.change_starts(session, service, subject, class_id, changes, by_hand=True)
    service.work.wake()
    return go(f"/classes/{class_id}", "kept")


def moment_on_day(start: datetime, text: str) -> datetime:
    """The moment nearest to a class's start at which its wall clock shows a time of day."""
    try:
        clock = time.fromisoformat(text if text[1:2].isdigit() else f"0{text}")
    except ValueError as error:
        what = "Write hours, minutes and seconds, such as 18:41:32."
        raise Refused(what, code="no_time", faults=[Fault("start", what, "time")]) from error
    there = datetime.combine(start.date(), clock, start.tzinfo)
    days = (there + timedelta(days=step) for step in (-1, 0, 1))
    return min(days, key=lambda moment: abs(moment - start))
