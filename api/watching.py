"""The application as it is reached: every request counted, timed and logged by its route."""

from __future__ import annotations

import json
import logging
import secrets
import time
from typing import Any

from fastapi import FastAPI
from starlette.datastructures import MutableHeaders
from starlette.types import Message, Receive, Scope, Send

from api.service import Service

log = logging.getLogger("intervouch.requests")

SECURE = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
}
TOO_LARGE = {
    "type": "urn:intervouch:problem:too_large",
    "title": "Too large",
    "status": 413,
    "code": "too_large",
    "detail": "That is more than can be sent at once: send fewer or smaller files.",
    "developer": "The body is longer than INTERVOUCH_UPLOAD_BYTES.",
    "errors": [],
}


class WatchedApp(FastAPI):
    """FastAPI with what every answer carries, those of its own limits included."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request; what is logged is the route, never the address."""
        if scope["type"] != "http":
            await super().__call__(scope, receive, send)
            return
        began = time.perf_counter()
        number = secrets.token_hex(6)
        status = 500
        told = False

        async def send_watched(message: Message) -> None:
            nonlocal status, told
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(raw=list(message["headers"]))
                told = status == 413 and headers.get("content-type", "").startswith("text/plain")
                if told:  # the body limit of the framework answers in plain text
                    headers = MutableHeaders({"content-type": "application/problem+json"})
                for name, value in SECURE.items():
                    headers.setdefault(name, value)
                headers["X-Request"] = number
                message = {**message, "headers": headers.raw}
            elif told and message["type"] == "http.response.body":
                last = not message.get("more_body", False)
                body = json.dumps(TOO_LARGE).encode() if last else b""
                message = {**message, "body": body}
            await send(message)

        try:
            await super().__call__(scope, receive, send_watched)
        finally:
            self.note(scope, status, time.perf_counter() - began, number)

    def note(self, scope: Scope, status: int, seconds: float, number: str) -> None:
        """Count and log what was answered."""
        service: Service = self.state.service
        route: Any = scope.get("route")
        path = getattr(route, "path", "none")
        method = scope["method"] if route is not None else "any"
        service.metrics.requests.labels(path, method, str(status)).inc()
        service.metrics.request_seconds.labels(path, method).observe(seconds)
        log.info(
            "answered",
            extra={
                "route": path,
                "method": method,
                "status": status,
                "ms": round(seconds * 1000, 1),
                "request": number,
            },
        )
