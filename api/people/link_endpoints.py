"""Links to sign in by, over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy.orm import Session

from api.addresses import link_address, public_address
from api.http import Keeper, OnceNow, ServiceNow, declared
from api.people import service as people
from api.people.codes import code_svg
from api.people.endpoints import PersonId
from api.people.schemas import DoneAnswer, LinkAnswer, LinkList, LiveLinkAnswer

router = APIRouter(tags=["people"])

LinkId = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="A link's identifier.")]


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
