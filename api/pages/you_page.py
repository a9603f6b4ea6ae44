"""Pages: the person who asks: what they agreed to, everything of theirs, and how to leave."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from api.http import Keeper, Reader, Sender, ServiceNow
from api.pages.forms import go
from api.pages.templates import me_of, page
from api.people import service as people
from api.people.endpoints import consent_list, person_answer
from api.people.erasure import erase_person
from api.people.schemas import PurposeName
from api.storage.model import Gym, Person

router = APIRouter()


@router.get("/you")
def you_page(request: Request, service: ServiceNow, subject: Reader) -> Response:
    """What the person agreed to, and everything of theirs."""
    with service.database.reading() as session:
        person = session.get_one(Person, subject.person_id)
        return page(
            request,
            "you",
            me=me_of(session, subject),
            person=person_answer(session, subject, person),
            gym=session.get_one(Gym, subject.gym_id).name,
            consents=consent_list(session, person.id).items,
        )


@router.post("/you/consents/{purpose}")
def answer(
    service: ServiceNow,
    subject: Sender,
    purpose: PurposeName,
    version: Annotated[int, Form(ge=1, le=1000)],
    agreed: Annotated[str, Form()],
) -> Response:
    """Agree, or take it back."""
    people.settle_consent(
        service, subject, purpose=purpose, version=version, agreed=agreed == "yes"
    )
    return go("/you", "kept")


@router.post("/you/sign-outs")
def sign_out_everywhere(service: ServiceNow, subject: Keeper) -> Response:
    """Sign out everywhere."""
    with service.database.writing() as session:
        people.end_sign_ins(session, subject, subject.person_id)
    return go("/sign-in", "signed-out")


@router.post("/you/erasure")
def erase_me(service: ServiceNow, subject: Keeper, sure: Annotated[str, Form()] = "") -> Response:
    """Erase the person who asks."""
    if sure != "erase":
        return go("/you", "sure")
    erase_person(service, subject, subject.person_id)
    return go("/sign-in", "erased")
