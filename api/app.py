"""The application: endpoints, pages, what every answer carries, and how errors are told."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime
from typing import Any, Protocol

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.middleware.gzip import GZipMiddleware
from fastapi.responses import PlainTextResponse
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.types import Lifespan

from api.classes.endpoints import router as classes_router
from api.classes.roster_endpoints import router as roster_router
from api.classes.score_endpoints import router as scores_router
from api.classes.wall_endpoints import router as wall_router
from api.http import Answer, ServiceNow, error_answer, problem_answer
from api.metrics import Metrics
from api.over_time.endpoints import router as over_time_router
from api.pages.endpoints import router as pages_router
from api.pages.forms import page_error
from api.people.endpoints import router as people_router
from api.people.gym_endpoints import router as gym_router
from api.people.link_endpoints import router as links_router
from api.people.own_endpoints import router as own_router
from api.people.token_endpoints import router as tokens_router
from api.plans.endpoints import router as plans_router
from api.problems import STATUS, NotHere, ServiceError
from api.questions.endpoints import router as questions_router
from api.recordings.endpoints import router as recordings_router
from api.results.endpoints import router as results_router
from api.service import Service
from api.settings import LOOPBACK, Settings
from api.storage.database import migrate, open_database
from api.storage.keys import load_keys
from api.storage.moments import now
from api.storage.store import Store
from api.transfer.endpoints import router as transfer_router
from api.watching import WatchedApp
from api.work.embedded import Bell, EmbeddedWorker
from api.work.engine import ENGINE_VERSION

log = logging.getLogger("intervouch")

API = "/api/v1"
ABOUT = """\
What a class's plan prescribed, what its athletes logged, what their devices recorded, and whether
these agree. Sign in with a session cookie (`POST /api/v1/sign-in`) or a token
(`POST /api/v1/sign-in/token`, then `Authorization: Bearer TOKEN`).

Absent and forbidden look the same: 404. Every error is a problem+json (RFC 9457) with one sentence
for people (`detail`) and one for programs' authors (`developer`). Not a medical device: sensors
err, and a flag is a question.
"""


class TimeAnswer(Answer):
    """The service's clock."""

    now: datetime


class Worker(Protocol):
    """Whoever works in the background."""

    def start(self) -> None:
        """Begin."""

    def stop(self) -> None:
        """End."""


def open_service(settings: Settings) -> Service:
    """Open the parts of a service over a database that has its tables."""
    keys = load_keys(settings)
    if settings.on_postgresql:
        from api.work.queue import Queue

        work: Any = Queue(settings)
    else:
        work = Bell()
    return Service(
        settings=settings,
        database=open_database(settings),
        keys=keys,
        store=Store(settings.store_url, keys),
        work=work,
        metrics=Metrics(),
    )


def worker_of(service: Service, workers: int) -> Worker | None:
    """The background worker that suits the database; None where it runs elsewhere."""
    if not workers:
        return None
    if service.settings.on_postgresql:
        from api.work.queue import QueueWorker

        return QueueWorker(service, concurrency=workers)
    assert isinstance(service.work, Bell)
    return EmbeddedWorker(service, service.work)


def create_app(settings: Settings | None = None) -> FastAPI:
    """Make the application; its tables are brought up to date, its worker begins with it."""
    settings = settings or Settings()
    migrate(settings)
    service = open_service(settings)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        worker = worker_of(service, settings.workers)
        if worker is not None:
            worker.start()
        yield
        if worker is not None:
            worker.stop()
        service.database.close()

    app = bare_app(settings, life)
    app.state.service = service
    return app


def bare_app(settings: Settings, life: Lifespan[FastAPI] | None = None) -> FastAPI:
    """Put routes, limits and errors together; enough to be described, without a service behind."""
    app = WatchedApp(
        title="intervouch",
        version=ENGINE_VERSION,
        summary="Reconciles what a class's devices recorded with its plan and its logged scores",
        description=ABOUT,
        lifespan=life,
        docs_url=None,
        redoc_url=None,
        max_body_size=settings.upload_bytes,
    )
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=6)
    for router in (
        own_router,
        tokens_router,
        people_router,
        links_router,
        gym_router,
        plans_router,
        transfer_router,
        classes_router,
        roster_router,
        scores_router,
        wall_router,
        recordings_router,
        results_router,
        questions_router,
        over_time_router,
    ):
        app.include_router(router, prefix=API)
    app.include_router(pages_router, include_in_schema=False)
    add_health(app)
    add_errors(app)
    return app


def add_health(app: FastAPI) -> None:
    """Health, readiness, time and metrics."""

    @app.get("/health", tags=["service"], summary="Alive")
    def health() -> dict[str, str]:
        """Say that the process answers."""
        return {"status": "alive"}

    @app.get(
        "/ready",
        tags=["service"],
        summary="Ready",
        responses={503: {"description": "Not ready"}},
    )
    def ready(service: ServiceNow, response: Response) -> dict[str, str]:
        """Say whether the database answers."""
        try:
            fine = service.database.answers()
        except SQLAlchemyError:
            fine = False
        if not fine:
            response.status_code = 503
        return {"status": "ready" if fine else "the database does not answer"}

    @app.get(f"{API}/time", tags=["service"], summary="What time it is", response_model=TimeAnswer)
    def time() -> TimeAnswer:
        """The service's clock, for a clock in the gym to go by."""
        return TimeAnswer(now=now())

    @app.get("/metrics", include_in_schema=False)
    def metrics(service: ServiceNow, request: Request) -> Response:
        """Counts for Prometheus: to this machine, or to who shows the token of the settings."""
        token = service.settings.metrics_token.get_secret_value()
        shown = request.headers.get("authorization", "").removeprefix("Bearer ")
        here = request.client is not None and request.client.host in LOOPBACK
        forwarded = "x-forwarded-for" in request.headers
        if not ((here and not forwarded) or (token and secrets.compare_digest(shown, token))):
            raise HTTPException(404)
        return PlainTextResponse(service.metrics.text(), media_type="text/plain; version=0.0.4")


def add_errors(app: FastAPI) -> None:
    """One place in which errors become answers."""

    @app.exception_handler(ServiceError)
    async def own_error(request: Request, error: ServiceError) -> Response:
        status = next(code for kind, code in STATUS.items() if isinstance(error, kind))
        if not request.url.path.startswith(API):
            return page_error(request, error, status)
        return error_answer(error, status)

    @app.exception_handler(RequestValidationError)
    async def invalid(_request: Request, error: RequestValidationError) -> Response:
        faults = [
            {
                "where": ".".join(str(part) for part in found["loc"])[:200],
                "what": fault_words(found),
                "kind": str(found["type"]),
            }
            for found in error.errors()
        ]
        return problem_answer(
            422,
            "invalid",
            "Not as it has to be",
            "Something in what was sent is not as it has to be.",
            "See `errors`: where, what, and of what kind; values are not repeated.",
            faults,
        )

    @app.exception_handler(StarletteHTTPException)
    async def http_error(request: Request, error: StarletteHTTPException) -> Response:
        words = {
            400: ("unreadable", "It cannot be read", "What was sent cannot be read."),
            404: ("not_here", "Not here", "There is nothing here that you may see."),
            405: ("wrong_method", "Not so", "That cannot be done here."),
            413: ("too_large", "Too large", "That is more than can be sent at once."),
            415: ("wrong_kind", "Another kind", "That is not the kind of content expected here."),
        }
        code, title, detail = words.get(
            error.status_code, ("failed", "It failed", "That did not work.")
        )
        answer = problem_answer(error.status_code, code, title, detail, str(error.detail)[:200])
        for name, value in (error.headers or {}).items():
            answer.headers[name] = value
        if not request.url.path.startswith(API) and error.status_code == 404:
            return page_error(request, NotHere(), 404)
        if error.status_code == 405:
            answer.headers["Allow"] = ", ".join(allowed_methods(app, request.url.path))
        return answer

    @app.exception_handler(Exception)
    async def unexpected(_request: Request, error: Exception) -> Response:
        log.error("unexpected", exc_info=error)
        return problem_answer(
            500, "failed", "It failed", "That did not work; it is our fault.", "See the log."
        )


def allowed_methods(app: FastAPI, path: str) -> list[str]:
    """Every method that a path takes; the router itself tells those of its first route only."""
    found = {
        method.upper()
        for template, methods in app.openapi()["paths"].items()
        if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", template), path)
        for method in methods
    }
    return sorted(found)


def fault_words(found: dict[str, Any]) -> str:
    """What is wrong, without the value: pydantic's message, unless it holds what was sent."""
    if found["type"] in ("value_error", "assertion_error", "json_invalid", "union_tag_invalid"):
        return {"json_invalid": "not JSON"}.get(found["type"], "not a value that is taken here")
    return str(found["msg"])[:200]
