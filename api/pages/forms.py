"""What every page shares: forms, where to go on to, how an error is told."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Form, Request, Response
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData

from api.http import language_of
from api.pages.templates import page
from api.problems import (
    NotSignedIn,
    ServiceError,
)
from api.storage.model import (
    TrainingClass,
)
from api.storage.moments import with_offset


async def form_of(request: Request) -> AsyncIterator[FormData]:
    """The form that was sent, whatever its fields; its files are closed after the answer."""
    async with request.form(max_files=200, max_fields=2000) as form:
        yield form


FormNow = Annotated[FormData, Depends(form_of)]
Text = Annotated[str, Form(max_length=100_000)]


def go(address: str, said: str = "") -> Response:
    """Go on to a page, which says what was done."""
    return RedirectResponse(f"{address}?said={said}" if said else address, status_code=303)


def page_error(request: Request, error: ServiceError, status: int) -> Response:
    """Tell an error as a page; whoever is not signed in is asked to."""
    if isinstance(error, NotSignedIn) and not request.url.path.startswith("/sign-in"):
        return go("/sign-in")
    text = language_of(request).text
    return page(
        request, "error", status=status, title=text(error.title), detail=text(error.detail),
        faults=[replace(fault, what=text(fault.what)) for fault in error.faults],
    )  # fmt: skip


def when(found: TrainingClass) -> datetime:
    """When a class was, by the clock on its wall."""
    return with_offset(found.start, found.start_offset_s)
