"""Tokens for programs over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from api.http import Keeper, OnceNow, Reader, ServiceNow, declared
from api.people import service as people
from api.people.own_endpoints import machine_of
from api.people.schemas import DoneAnswer, NewToken, PasswordToken, TokenAnswer, TokenList
from api.people.sight import visible_tokens
from api.people.signing_in import check_password
from api.problems import NotHere
from api.storage.model import ApiToken, Person
from api.storage.moments import now

router = APIRouter(tags=["people"])

TokenId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A token's identifier.")]


@router.post(
    "/sign-in/token",
    status_code=201,
    summary="Make a token with a password",
    responses=declared(400, 401, 413, 422, 429),
)
def make_token_by_password(
    request: Request, service: ServiceNow, body: PasswordToken
) -> TokenAnswer:
    """Make a token for a program; the secret is shown once."""
    person_id = check_password(
        service, mail=body.mail, password=body.password, machine=machine_of(request)
    )
    with service.database.writing() as session:
        person = session.get_one(Person, person_id)
        token, secret = people.add_token(
            session, person=person, name=body.name, scopes=body.scopes, days=body.days
        )
    return token_answer(token, secret)


@router.post(
    "/tokens",
    status_code=201,
    summary="Make a token",
    responses=declared(400, 401, 403, 404, 413, 422),
    response_model=TokenAnswer,
)
def make_token(subject: Keeper, once: OnceNow, body: NewToken) -> Response:
    """Make a token for a program, with no more scopes than asked by; the secret is shown once."""

    def act(session: Session) -> TokenAnswer:
        if subject.visiting or not set(body.scopes) <= subject.scopes:
            raise NotHere
        person = session.get_one(Person, subject.person_id)
        token, secret = people.add_token(
            session, person=person, name=body.name, scopes=body.scopes, days=body.days
        )
        return token_answer(token, secret)

    return once.run(subject, body, act)


def token_answer(token: ApiToken, secret: str | None = None) -> TokenAnswer:
    """Describe a token."""
    return TokenAnswer(
        id=token.id,
        name=token.name,
        scopes=token.scopes,  # type: ignore[arg-type]
        expires_at=token.expires_at,
        secret=secret,
    )


@router.get("/tokens", summary="My tokens", responses=declared(401, 403))
def list_tokens(service: ServiceNow, subject: Reader) -> TokenList:
    """The person's own tokens that are alive."""
    with service.database.reading() as session:
        rows = session.scalars(
            visible_tokens(subject)
            .where(ApiToken.revoked_at.is_(None), ApiToken.expires_at > now())
            .order_by(ApiToken.id)
        )
        return TokenList(items=[token_answer(row) for row in rows])


@router.delete(
    "/tokens/{token_id}", summary="Revoke a token", responses=declared(401, 403, 404, 422)
)
def revoke_token(service: ServiceNow, subject: Keeper, token_id: TokenId) -> DoneAnswer:
    """Make one of the person's own tokens useless."""
    with service.database.writing() as session:
        people.revoke_token(session, subject, token_id)
    return DoneAnswer()
