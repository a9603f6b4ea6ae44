"""People over HTTP: signing in, tokens, people, links, consent, how they read."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from api.addresses import cookie_is_secure, link_address, public_address
from api.http import (
    COOKIE,
    CursorNow,
    Keeper,
    LimitNow,
    OnceNow,
    Reader,
    Sender,
    ServiceNow,
    Writer,
    declared,
    page_of,
)
from api.language import Preferences
from api.people import service as people
from api.people.codes import code_svg
from api.people.consents import answers
from api.people.erasure import erase_person, export_person
from api.people.schemas import (
    ConsentAnswer,
    ConsentBody,
    ConsentList,
    DoneAnswer,
    LinkAnswer,
    LinkList,
    LinkSignInBody,
    LiveLinkAnswer,
    MeAnswer,
    NewPerson,
    NewToken,
    PasswordToken,
    PeoplePage,
    PersonAnswer,
    PersonChange,
    PreferencesAnswer,
    PreferencesBody,
    PurposeName,
    RolesBody,
    SignInBody,
    TokenAnswer,
    TokenList,
)
from api.people.sight import visible_people, visible_tokens
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
from api.storage.model import ApiToken, Gym, Person
from api.storage.moments import now

router = APIRouter(tags=["people"])

PersonId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A person's identifier.")]
LinkId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A link's identifier.")]
TokenId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A token's identifier.")]


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


def person_answer(session: Session, subject: Subject, person: Person) -> PersonAnswer:
    """Describe somebody; the body's figures only to coaches and to who surely is that person."""
    own = person.id == subject.person_id and not subject.visiting
    figures = subject.coaches or own
    body = {name: getattr(person, name) if figures else None for name in people.BODY}
    return PersonAnswer(
        id=person.id,
        handle=person.handle,
        name=person.name,
        mail=person.mail if own or subject.coaches or subject.owns else None,
        roles=sorted(person_roles(session, person.id)),  # type: ignore[arg-type]
        made_at=person.made_at,
        **body,
    )


@router.get("/people", summary="People of the gym", responses=declared(401, 403, 422))
def list_people(
    service: ServiceNow, subject: Reader, cursor: CursorNow = None, limit: LimitNow = 50
) -> PeoplePage:
    """Coaches and owners see the gym's people; everybody sees themselves."""
    with service.database.reading() as session:
        rows, following = page_of(session, visible_people(subject), Person.id, cursor, limit)
        return PeoplePage(
            items=[person_answer(session, subject, row) for row in rows], next=following
        )


@router.post(
    "/people",
    status_code=201,
    summary="Add somebody",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
    response_model=PersonAnswer,
)
def add_person(subject: Keeper, once: OnceNow, body: NewPerson) -> Response:
    """Coaches add athletes; owners add anybody."""

    def act(session: Session) -> PersonAnswer:
        leads = set(body.roles) - {"athlete"}
        if not (subject.owns or (subject.coaches and not leads)):
            raise NotHere
        person = people.add_person(
            session,
            gym_id=subject.gym_id,
            actor=subject.audit_mark,
            name=body.name,
            handle=body.handle,
            mail=body.mail,
            roles=body.roles,
            body=body.model_dump(include=set(people.BODY)),
        )
        return person_answer(session, subject, person)

    return once.run(subject, body, act)


@router.get("/people/{person_id}", summary="One person", responses=declared(401, 403, 404, 422))
def read_person(service: ServiceNow, subject: Reader, person_id: PersonId) -> PersonAnswer:
    """Describe somebody who may be seen."""
    with service.database.reading() as session:
        return person_answer(session, subject, people.person_seen(session, subject, person_id))


@router.patch(
    "/people/{person_id}",
    summary="Change what is known of somebody",
    responses=declared(400, 401, 403, 404, 413, 422),
)
def change_person(
    service: ServiceNow, subject: Writer, person_id: PersonId, body: PersonChange
) -> PersonAnswer:
    """Change a name or the body's figures that the next roster begins with."""
    with service.database.writing() as session:
        person = people.change_person(
            session, subject, person_id, body.model_dump(exclude_unset=True)
        )
        session.flush()
        return person_answer(session, subject, person)


@router.delete(
    "/people/{person_id}",
    summary="Erase somebody",
    responses=declared(401, 403, 404, 409, 422),
)
def erase(service: ServiceNow, subject: Keeper, person_id: PersonId) -> DoneAnswer:
    """Erase a person and all that is theirs, for good: the person's or an owner's to do."""
    erase_person(service, subject, person_id)
    return DoneAnswer()


@router.get(
    "/people/{person_id}/export",
    summary="Everything that is kept of me",
    response_class=Response,
    responses={
        200: {"content": {"application/zip": {}}, "description": "A zip of everything"},
        **declared(401, 403, 404, 422),
    },
)
def export(service: ServiceNow, subject: Reader, person_id: PersonId) -> Response:
    """Everything that is kept of the person, their files as uploaded included; their own to ask."""
    data = export_person(service, subject, person_id)
    return Response(
        data,
        media_type="application/zip",
        headers={"Content-Disposition": 'attachment; filename="everything-of-mine.zip"'},
    )


@router.put(
    "/people/{person_id}/roles",
    summary="Say what somebody is in the gym",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
)
def set_roles(
    service: ServiceNow, subject: Keeper, person_id: PersonId, body: RolesBody
) -> PersonAnswer:
    """An owner's to do."""
    with service.database.writing() as session:
        person = people.set_roles(session, subject, person_id, body.roles)
        return person_answer(session, subject, person)


@router.post(
    "/people/{person_id}/links",
    status_code=201,
    summary="Make a personal link",
    responses=declared(401, 403, 404, 422),
    response_model=LinkAnswer,
)
def make_link(
    request: Request, service: ServiceNow, subject: Keeper, once: OnceNow, person_id: PersonId
) -> Response:
    """A link, as text and as a code, that signs one phone in once. It runs out soon."""

    def act(session: Session) -> LinkAnswer:
        link, secret = people.invite(session, service, subject, person_id)
        address = link_address(public_address(request, service.settings), secret)
        return LinkAnswer(
            id=link.id,
            url=address,
            svg=code_svg(address, "Personal link"),
            expires_at=link.expires_at,
        )

    return once.run(subject, None, act)


@router.get("/links", summary="Links that are out", responses=declared(401, 403))
def list_links(service: ServiceNow, subject: Keeper) -> LinkList:
    """Those that the person made and nobody has used yet; without their secrets."""
    with service.database.reading() as session:
        return LinkList(
            items=[
                LiveLinkAnswer(
                    id=link.id,
                    person_id=person.id,
                    name=person.name,
                    kind=link.kind,  # type: ignore[arg-type]
                    made_at=link.made_at,
                    expires_at=link.expires_at,
                )
                for link, person in people.live_links(session, subject)
            ]
        )


@router.delete("/links/{link_id}", summary="Revoke a link", responses=declared(401, 403, 404, 422))
def revoke_link(service: ServiceNow, subject: Keeper, link_id: LinkId) -> DoneAnswer:
    """Make a link useless that the person made."""
    with service.database.writing() as session:
        people.revoke_link(session, subject, link_id)
    return DoneAnswer()


@router.delete(
    "/people/{person_id}/sign-ins",
    summary="Sign somebody out everywhere",
    responses=declared(401, 403, 404, 422),
)
def end_sign_ins(service: ServiceNow, subject: Keeper, person_id: PersonId) -> DoneAnswer:
    """End every sign-in and link of the person: their own, or an owner's to do."""
    with service.database.writing() as session:
        people.end_sign_ins(session, subject, person_id)
    return DoneAnswer()
