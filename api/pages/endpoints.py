"""Pages."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import PlainTextResponse

from api.problems import ServiceError

router = APIRouter()


def page_error(_request: Request, error: ServiceError, status: int) -> Response:
    """Tell an error as a page."""
    return PlainTextResponse(error.detail, status_code=status)
