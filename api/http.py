"""What every endpoint shares: who asks, answers to errors, repeated requests, pages of a list."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Callable, Sequence
from typing import Annotated, Any, TypeVar
from urllib.parse import urlsplit

from fastapi import Depends, Header, Query, Request, Response, Security
from fastapi.responses import JSONResponse
from fastapi.security import APIKeyCookie, HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api.language import Language, Preferences, accepted_locale, language
from api.people.signing_in import subject_by_sign_in, subject_by_token
from api.people.subject import Subject
from api.problems import CrossSite, KeyReused, NotSignedIn, Refused, ScopeNeeded, ServiceError
from api.service import Service
from api.storage.model import Done

COOKIE = "intervouch"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
PROBLEM_TYPE = "application/problem+json"

cookie_scheme = APIKeyCookie(
    name=COOKIE, scheme_name="sign-in", description="A person's sign-in.", auto_error=False
)
token_scheme = HTTPBearer(scheme_name="token", description="A program's token.", auto_error=False)


class Strict(BaseModel):
    """A request's body: exact types, no unknown member, no NaN."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


class Answer(BaseModel):
    """An answer's body."""

    model_config = ConfigDict(frozen=True)


class FaultAnswer(Answer):
    """One thing that is wrong."""

    where: str = Field(examples=["body.start"])
    what: str = Field(examples=["Input should have timezone info"])
    kind: str = Field(examples=["timezone_aware"])


class ProblemAnswer(BaseModel):
    """What went wrong (RFC 9457): `detail` for people, `developer` for programs' authors."""

    model_config = ConfigDict(extra="allow")

    type: str = Field(examples=["urn:intervouch:problem:not_here"])
    title: str = Field(examples=["Not here"])
    status: int = Field(examples=[404])
    code: str = Field(examples=["not_here"])
    detail: str = Field(examples=["There is nothing here that you may see."])
    developer: str = Field(
        examples=["The object does not exist, or this person may not see or change it."]
    )
    errors: list[FaultAnswer] = []


def declared(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Describe errors of an endpoint for its OpenAPI description."""
    words = {
        400: "The request cannot be read",
        401: "Nobody is signed in",
        403: "The token, the agreement or the place of sending does not allow it",
        404: "Absent, or not this person's to see",
        409: "It clashes with what is there",
        413: "More bytes than one request may carry",
        415: "Another kind of content was expected",
        422: "Understood, and not acceptable",
        429: "Too many attempts",
    }
    return {
        status: {
            "description": words[status],
            "content": {PROBLEM_TYPE: {"schema": ProblemAnswer.model_json_schema()}},
        }
        for status in statuses
    }


def problem_answer(
    status: int,
    code: str,
    title: str,
    detail: str,
    developer: str,
    errors: Sequence[dict[str, str]] = (),
    **facts: Any,
) -> JSONResponse:
    """Make a problem+json answer."""
    headers = {}
    if status == 401:
        headers["WWW-Authenticate"] = "Bearer"
    if "wait_s" in facts:
        headers["Retry-After"] = str(facts["wait_s"])
    return JSONResponse(
        {
            "type": f"urn:intervouch:problem:{code}",
            "title": title,
            "status": status,
            "code": code,
            "detail": detail,
            "developer": developer,
            "errors": list(errors),
            **facts,
        },
        status_code=status,
        media_type=PROBLEM_TYPE,
        headers=headers,
    )


def error_answer(error: ServiceError, status: int) -> JSONResponse:
    """Make the answer to one of the service's own errors."""
    return problem_answer(
        status,
        error.kind,
        error.title,
        error.detail,
        error.developer,
        [{"where": f.where, "what": f.what, "kind": f.kind} for f in error.faults],
        **error.facts,
    )


def service_of(request: Request) -> Service:
    """Give the running service."""
    service: Service = request.app.state.service
    return service


ServiceNow = Annotated[Service, Depends(service_of)]


def from_this_site(request: Request, service: Service) -> bool:
    """Whether a browser says that the request comes from a page of this service."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    if origin is None:
        return True  # no browser that keeps cookies leaves both out
    hosts = {request.headers.get("host", ""), urlsplit(service.settings.address).netloc}
    return urlsplit(origin).netloc in hosts


def asks(scope: str) -> Callable[..., Subject]:
    """Make the dependency that says who asks, and refuses where the means lacks the scope."""

    def subject(
        request: Request,
        service: ServiceNow,
        secret: Annotated[str | None, Security(cookie_scheme)],
        bearer: Annotated[HTTPAuthorizationCredentials | None, Security(token_scheme)],
    ) -> Subject:
        with service.database.reading() as session:
            if bearer is not None:
                found = subject_by_token(session, bearer.credentials)
            elif "authorization" in request.headers or not secret:
                raise NotSignedIn
            else:
                found = subject_by_sign_in(session, secret)
        changes = bearer is None and request.method not in SAFE_METHODS
        if changes and not from_this_site(request, service):
            raise CrossSite
        if scope not in found.scopes:
            raise ScopeNeeded(scope)
        request.state.preferences = found.preferences
        return found

    return subject


def language_of(request: Request) -> Language:
    """Return the language to answer in: as the person set it, else as their browser asks."""
    chosen: Preferences = getattr(request.state, "preferences", Preferences())
    locale = chosen.locale or accepted_locale(request.headers.get("accept-language", ""))
    return language(locale, chosen.mass_unit or "kg")


Reader = Annotated[Subject, Depends(asks("read"))]
Sender = Annotated[Subject, Depends(asks("upload"))]
Writer = Annotated[Subject, Depends(asks("write"))]
Keeper = Annotated[Subject, Depends(asks("people"))]

A = TypeVar("A", bound=BaseModel)
RowT = TypeVar("RowT")

KEY_HEADER = Header(
    alias="Idempotency-Key",
    description="A value of your own, once for each action: repeating the request does it once.",
    min_length=1,
    max_length=255,
    pattern=r"^[\x21-\x7e]+$",
    examples=["7f1e0c52-upload-1"],
)


class Once:
    """Does an action once for each idempotency key, and gives the first answer again."""

    def __init__(self, request: Request, service: Service, key: str | None) -> None:
        self.request = request
        self.service = service
        self.key = key

    def run(
        self,
        subject: Subject,
        content: BaseModel | str | None,
        act: Callable[[Session], A],
        *,
        status: int = 201,
    ) -> Response:
        """Do it in one transaction with the note that it was done.

        Args:
            subject: who asks; keys of different people never meet.
            content: what was sent, to tell a repetition from another request.
            act: what to do; its answer is what is sent, and sent again.
            status: of a success.

        Raises:
            KeyReused: the key stands for other contents.
        """
        if self.key is None:
            with self.service.database.writing() as session:
                answer = act(session)
            self.service.work.wake()
            return json_answer(answer.model_dump_json(), status)
        for last_try in (False, True):
            try:
                answer_text, status = self.run_keyed(subject, content, act, status)
            except IntegrityError:
                if last_try:
                    raise
            else:
                break
        self.service.work.wake()
        return json_answer(answer_text, status)

    def run_keyed(
        self,
        subject: Subject,
        content: BaseModel | str | None,
        act: Callable[[Session], A],
        status: int,
    ) -> tuple[str, int]:
        """Look for the key, or act and note it; two at once meet at the key's uniqueness."""
        text = content.model_dump_json() if isinstance(content, BaseModel) else (content or "")
        path = f"{self.request.method} {self.request.url.path}?{self.request.url.query}\n"
        fingerprint = hashlib.sha256((path + text).encode()).hexdigest()
        place = f"{subject.key} {self.key}"
        with self.service.database.writing() as session:
            done = session.scalar(
                select(Done).where(Done.subject == subject.key, Done.idempotency_key == self.key)
            )
            if done is not None:
                if done.fingerprint != fingerprint:
                    raise KeyReused
                return (
                    self.service.keys.open("answers", place, done.answer).decode(),
                    done.status,
                )
            answer = act(session).model_dump_json()
            session.add(
                Done(
                    gym_id=subject.gym_id,
                    subject=subject.key,
                    idempotency_key=self.key or "",
                    fingerprint=fingerprint,
                    status=status,
                    answer=self.service.keys.seal("answers", place, answer.encode()),
                )
            )
        return answer, status


def once_of(
    request: Request, service: ServiceNow, key: Annotated[str | None, KEY_HEADER] = None
) -> Once:
    """Give what does an action once."""
    return Once(request, service, key)


OnceNow = Annotated[Once, Depends(once_of)]


def json_answer(text: str, status: int) -> Response:
    """Send JSON text as it is."""
    return Response(text, status_code=status, media_type="application/json")


LimitNow = Annotated[int, Query(ge=1, le=200, description="How many at most.")]
CursorNow = Annotated[
    str | None,
    Query(max_length=200, description="The `next` of the page before; left out for the first."),
]


def cursor_text(identifier: str) -> str:
    """Make the cursor of the page after the row with this identifier."""
    return base64.urlsafe_b64encode(json.dumps([identifier]).encode()).decode().rstrip("=")


def cursor_identifier(cursor: str) -> str:
    """Read a cursor; raises Refused for one that the service did not make."""
    try:
        padded = cursor.encode("ascii") + b"=" * (-len(cursor) % 4)
        (identifier,) = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
    except (ValueError, TypeError, binascii.Error) as error:
        raise bad_cursor() from error
    if not isinstance(identifier, str) or not identifier.isalnum():
        raise bad_cursor()
    return identifier


def bad_cursor() -> Refused:
    """Say that a cursor is not one."""
    return Refused(
        "That page of the list cannot be found.",
        developer="`cursor` is not the `next` of an earlier page.",
        code="bad_cursor",
    )


def page_of(
    session: Session, rows: Select[RowT], key: Any, cursor: str | None, limit: int
) -> tuple[list[RowT], str | None]:
    """One page of a list, newest first, and the cursor of the next (None at the end)."""
    if cursor is not None:
        rows = rows.where(key < cursor_identifier(cursor))
    found = list(session.scalars(rows.order_by(key.desc()).limit(limit + 1)))
    more = len(found) > limit
    found = found[:limit]
    last = getattr(found[-1], key.key) if more else None
    return found, cursor_text(last) if last else None


def etag_of(digest: str) -> str:
    """Make an entity tag of a digest."""
    return f'"{digest[:32]}"'


def matches(request: Request, etag: str) -> bool:
    """Whether the request says that it has this already."""
    given = request.headers.get("if-none-match", "")
    tags = [tag.strip().removeprefix("W/") for tag in given.split(",")]
    return "*" in tags or etag in tags
