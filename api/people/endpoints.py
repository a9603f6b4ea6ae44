"""People over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response
from sqlalchemy.orm import Session

from api.http import (
    CursorNow,
    Keeper,
    LimitNow,
    OnceNow,
    Reader,
    ServiceNow,
    Writer,
    declared,
    page_of,
)
from api.people import service as people
from api.people.erasure import erase_person, export_person
from api.people.schemas import (
    DoneAnswer,
    NewPerson,
    PeoplePage,
    PersonAnswer,
    PersonChange,
    RolesBody,
)
from api.people.sight import visible_people
from api.people.signing_in import person_roles
from api.people.subject import Subject
from api.problems import NotHere
from api.storage.model import Person

router = APIRouter(tags=["people"])

PersonId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A person's identifier.")]


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
