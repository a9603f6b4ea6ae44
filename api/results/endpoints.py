"""Results over HTTP: JSON, CSV, Parquet, and how far the work is."""

from __future__ import annotations

import hashlib
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any, Literal

import anyio
from anyio.to_thread import run_sync
from fastapi import APIRouter, Header, Path, Request, Response
from fastapi.responses import StreamingResponse

from api.classes.endpoints import ClassId
from api.classes.service import seen_class
from api.http import Reader, ServiceNow, declared, etag_of, matches
from api.people.subject import Subject
from api.problems import ServiceError
from api.results.class_tables import TABLES, class_told, table_text
from api.results.schemas import ResultAnswer, StateAnswer
from api.results.service import seen_result, state_answer
from api.results.tables import result_parquet, result_sheet
from api.service import Service

router = APIRouter(tags=["results"])

LOOK_EVERY_S = 0.25
LONGEST_LOOK_S = 600.0

TableName = Annotated[
    Literal["sheet", "scores", "done", "energy", "files"],
    Path(description="Which of the class's tables."),
]
Tag = Annotated[
    str | None,
    Header(alias="If-None-Match", description="The ETag of the result that you have."),
]
NOT_CHANGED: dict[int | str, dict[str, Any]] = {
    304: {"description": "The result is the one that you have"}
}


def tagged(request: Request, body: bytes, kind: str, state: str) -> Response:
    """Send a result with its tag, or say that it is the one that is there already."""
    etag = etag_of(hashlib.sha256(body).hexdigest())
    headers = {
        "ETag": etag,
        "Cache-Control": "private, no-cache",
        "Intervouch-State": state,
    }
    if matches(request, etag):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=kind, headers=headers)


@router.get(
    "/classes/{class_id}/result",
    summary="The result",
    response_model=ResultAnswer,
    responses={**NOT_CHANGED, **declared(401, 403, 404, 409, 422)},
)
def read_result(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    tag: Tag = None,  # noqa: ARG001  read from the request
) -> Response:
    """The result document. A coach reads the class's, an athlete their own part of it.

    The header `Intervouch-State` says whether a newer one is being made.
    """
    with service.database.reading() as session:
        seen = seen_result(session, subject, class_id)
        state = state_answer(session, seen_class(session, subject, class_id)).state
    return tagged(request, seen.text.encode(), "application/json", state)


@router.get(
    "/classes/{class_id}/result.csv",
    summary="The result as a sheet",
    response_class=Response,
    responses={
        200: {"content": {"text/csv": {}}, "description": "One row a step (CSV)"},
        **NOT_CHANGED,
        **declared(401, 403, 404, 409, 422),
    },
)
def read_sheet(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    tag: Tag = None,  # noqa: ARG001
) -> Response:
    """Every step of every athlete that the person may see."""
    with service.database.reading() as session:
        seen = seen_result(session, subject, class_id)
        state = state_answer(session, seen_class(session, subject, class_id)).state
    return tagged(request, result_sheet(seen.document).encode(), "text/csv", state)


@router.get(
    "/classes/{class_id}/result.parquet",
    summary="The result as Parquet",
    response_class=Response,
    responses={
        200: {"content": {"application/vnd.apache.parquet": {}}, "description": "A table"},
        **NOT_CHANGED,
        **declared(401, 403, 404, 409, 422),
    },
)
def read_parquet(
    request: Request,
    service: ServiceNow,
    subject: Reader,
    class_id: ClassId,
    tag: Tag = None,  # noqa: ARG001
) -> Response:
    """The same rows with types."""
    with service.database.reading() as session:
        seen = seen_result(session, subject, class_id)
        state = state_answer(session, seen_class(session, subject, class_id)).state
    kind = "application/vnd.apache.parquet"
    return tagged(request, result_parquet(seen.document), kind, state)


@router.get(
    "/classes/{class_id}/tables/{table}.csv",
    summary="A table of the class",
    response_class=Response,
    responses={
        200: {"content": {"text/csv": {}}, "description": "A table (CSV)"},
        **declared(401, 403, 404, 409, 422),
    },
)
def read_table(
    service: ServiceNow, subject: Reader, class_id: ClassId, table: TableName
) -> Response:
    """A table as the pages show it, with every digit: an athlete's holds their own rows."""
    with service.database.reading() as session:
        told = class_told(session, subject, class_id)
    name = f"{told.record.start:%Y-%m-%d}-{table}.csv"
    return sheet_answer(table_text(TABLES[table](told)), name)


def sheet_answer(text: str, name: str) -> Response:
    """Send a table to be kept as a file."""
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "private, no-store",
    }
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.get(
    "/classes/{class_id}/state",
    summary="How far the work is",
    responses=declared(401, 403, 404, 422),
)
def read_state(service: ServiceNow, subject: Reader, class_id: ClassId) -> StateAnswer:
    """Waiting, working (with progress), done, or failed."""
    with service.database.reading() as session:
        return state_answer(session, seen_class(session, subject, class_id))


@router.get(
    "/classes/{class_id}/progress",
    summary="How far the work is, as it goes",
    response_class=StreamingResponse,
    responses={
        200: {
            "content": {"text/event-stream": {}},
            "description": "Server-sent events named `state`, until the work is done",
        },
        **declared(401, 403, 404, 422),
    },
)
async def follow(service: ServiceNow, subject: Reader, class_id: ClassId) -> StreamingResponse:
    """An event each time that the state changes; ends with `done` or `failed`."""
    first = await run_sync(look, service, subject, class_id)
    return StreamingResponse(
        events(service, subject, class_id, first),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
    )


def look(service: Service, subject: Subject, class_id: str) -> StateAnswer:
    """The state now."""
    with service.database.reading() as session:
        return state_answer(session, seen_class(session, subject, class_id))


async def events(
    service: Service, subject: Subject, class_id: str, first: StateAnswer
) -> AsyncIterator[str]:
    """Lines of the stream (WHATWG HTML, 9.2 Server-sent events)."""
    seen = first
    yield event_text(seen)
    with anyio.move_on_after(LONGEST_LOOK_S):
        while seen.state in ("waiting", "working"):
            await anyio.sleep(LOOK_EVERY_S)
            try:
                found = await run_sync(look, service, subject, class_id)
            except ServiceError:
                return
            if found != seen:
                seen = found
                yield event_text(seen)


def event_text(state: StateAnswer) -> str:
    """Write one event."""
    return f"event: state\ndata: {json.dumps(state.model_dump(mode='json'))}\n\n"
