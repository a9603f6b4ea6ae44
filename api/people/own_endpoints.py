"""Signing in over HTTP, and what is one's own: how one reads, what one agreed to."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from api.addresses import cookie_is_secure
from api.http import COOKIE, Reader, Sender, ServiceNow, Writer, declared
from api.language import Preferences
from api.people import service as people
from api.people.consents import answers
from api.people.schemas import (
    ConsentAnswer,
    ConsentBody,
    ConsentList,
    DoneAnswer,
    LinkSignInBody,
    MeAnswer,
    PreferencesAnswer,
    PreferencesBody,
    PurposeName,
    SignInBody,
)
from api.people.signing_in import (
    check_password,
    close_sign_in,
    open_sign_in,
    person_roles,
    use_link,
)
from api.people.subject import Subject
from api.problems import NotHere
from api.service import Service
from api.storage.model import Gym, Person

router = APIRouter(tags=["people"])


def machine_of(request: Request) -> str:
    """Where a request came from."""
    return request.client.host if request.client else "unknown"


def set_cookie(request: Request, response: Response, service: Service, secret: str) -> None:
    """Give the sign-in to a browser: not readable by scripts, not sent from other sites."""
    response.set_cookie(
        COOKIE,
        secret,
        max_age=service.settings.session_days * 86400,
        httponly=True,
        samesite="lax",
        secure=cookie_is_secure(request, service.settings),
        path="/",
    )


def me_answer(session: Session, person_id: str, subject: Subject | None = None) -> MeAnswer:
    """Say who is signed in."""
    person = session.get_one(Person, person_id)
    roles = subject.roles if subject else person_roles(session, person.id)
    scopes = subject.scopes if subject else {"read", "upload", "write", "people"}
    return MeAnswer(
        id=person.id,
        handle=person.handle,
        name=person.name,
        roles=sorted(roles),  # type: ignore[arg-type]
        scopes=sorted(scopes),  # type: ignore[arg-type]
        gym=session.get_one(Gym, person.gym_id).name,
        visiting=subject.visiting if subject else False,
    )


@router.post(
    "/sign-in", summary="Sign in with a password", responses=declared(400, 401, 413, 422, 429)
)
def sign_in(
    request: Request, response: Response, service: ServiceNow, body: SignInBody
) -> MeAnswer:
    """Sign in; the answer sets a cookie."""
    person_id = check_password(
        service, mail=body.mail, password=body.password, machine=machine_of(request)
    )
    with service.database.writing() as session:
        secret = open_sign_in(session, service, person_id=person_id)
        answer = me_answer(session, person_id)
    set_cookie(request, response, service, secret)
    return answer


@router.post(
    "/sign-in/link", summary="Sign in with a personal link", responses=declared(400, 404, 413, 422)
)
def sign_in_by_link(
    request: Request, response: Response, service: ServiceNow, body: LinkSignInBody
) -> MeAnswer:
    """Use a link up, once; the answer sets a cookie. An invited coach sets a password with it."""
    with service.database.writing() as session:
        link = use_link(session, body.secret)
        if body.password is not None:
            if link.kind != "invite":
                raise NotHere
            people.set_password(session, link.person_id, body.password)
        secret = open_sign_in(session, service, person_id=link.person_id)
        answer = me_answer(session, link.person_id)
    set_cookie(request, response, service, secret)
    return answer


@router.post("/sign-out", summary="Sign out here", responses=declared(401, 403))
def sign_out(response: Response, service: ServiceNow, subject: Reader) -> DoneAnswer:
    """End this sign-in. A token is revoked, not signed out."""
    with service.database.writing() as session:
        close_sign_in(session, subject)
    response.delete_cookie(COOKIE, path="/")
    return DoneAnswer()


@router.get("/me", summary="Who is signed in", responses=declared(401, 403))
def me(service: ServiceNow, subject: Reader) -> MeAnswer:
    """Say who is signed in, and what they may do."""
    with service.database.reading() as session:
        return me_answer(session, subject.person_id, subject)


@router.get("/me/preferences", summary="How I read", responses=declared(401, 403))
def read_preferences(subject: Reader) -> PreferencesAnswer:
    """The language and the unit of mass that the person chose."""
    chosen = subject.preferences
    return PreferencesAnswer(locale=chosen.locale, mass_unit=chosen.mass_unit)


@router.put(
    "/me/preferences",
    summary="Choose how I read",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def set_preferences(
    service: ServiceNow, subject: Writer, body: PreferencesBody
) -> PreferencesAnswer:
    """Choose a language and a unit of mass for the pages."""
    with service.database.writing() as session:
        people.set_preferences(session, subject, Preferences(body.locale, body.mass_unit))
    return PreferencesAnswer(locale=body.locale, mass_unit=body.mass_unit)


@router.get("/me/consents", summary="What I agreed to", responses=declared(401, 403))
def list_consents(service: ServiceNow, subject: Reader) -> ConsentList:
    """Every question of consent in plain words, and the last answer."""
    with service.database.reading() as session:
        return consent_list(session, subject.person_id)


def consent_list(session: Session, person_id: str) -> ConsentList:
    """Every question and the person's last answer."""
    return ConsentList(
        items=[
            ConsentAnswer(
                purpose=answer.purpose.name,  # type: ignore[arg-type]
                version=answer.purpose.version,
                words=answer.purpose.words,
                agreed=answer.agreed,
                at=answer.at,
                stated_by_coach=answer.stated_by is not None,
            )
            for answer in answers(session, person_id)
        ]
    )


@router.put(
    "/me/consents/{purpose}",
    summary="Agree, or withdraw",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def answer_consent(
    service: ServiceNow, subject: Sender, purpose: PurposeName, body: ConsentBody
) -> ConsentList:
    """Answer a question of consent; withdrawing takes effect at once."""
    people.settle_consent(
        service, subject, purpose=purpose, version=body.version, agreed=body.agreed
    )
    with service.database.reading() as session:
        return consent_list(session, subject.person_id)
