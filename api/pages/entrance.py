"""Pages: the beginning, style and script, and every way to sign in."""

from __future__ import annotations

import hashlib
import importlib.resources
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from api.classes.wall_endpoints import WallCode
from api.http import COOKIE, Reader, ServiceNow, etag_of, from_this_site, matches
from api.pages.forms import go, when
from api.pages.templates import page
from api.people import service as people
from api.people.own_endpoints import machine_of, set_cookie
from api.people.signing_in import (
    check_password,
    close_sign_in,
    live_link,
    open_sign_in,
    subject_by_sign_in,
    use_link,
    wall_class,
    wall_people,
)
from api.problems import CrossSite, NotHere, NotSignedIn
from api.service import Service
from api.storage.model import Gym, Person, PlanVersion

router = APIRouter()


STATIC = Path(str(importlib.resources.files("api.pages"))) / "static"
KINDS = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}


@router.get("/static/{name:path}")
def static(request: Request, name: str) -> Response:
    """The pages' own style, scripts and pictures: a file of `static/`, and no other."""
    file = STATIC / name
    if file not in set(STATIC.rglob("*.*")) or file.suffix not in KINDS:
        raise NotHere
    content = file.read_bytes()
    etag = etag_of(hashlib.sha256(content).hexdigest())
    headers = {"ETag": etag, "Cache-Control": "max-age=300", "X-Content-Type-Options": "nosniff"}
    if matches(request, etag):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=KINDS[file.suffix], headers=headers)


@router.get("/")
def beginning(request: Request) -> Response:
    """To the classes, or to the sign-in."""
    return go("/classes" if request.cookies.get(COOKIE) else "/sign-in")


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    """Ask for mail and password."""
    return page(request, "sign_in")


@router.post("/sign-in")
def sign_in(
    request: Request,
    service: ServiceNow,
    mail: Annotated[str, Form(max_length=254)],
    password: Annotated[str, Form(max_length=200)],
) -> Response:
    """Sign in, or ask again."""
    if not from_this_site(request, service):
        raise CrossSite
    try:
        person_id = check_password(
            service, mail=mail, password=password, machine=machine_of(request)
        )
    except NotSignedIn:
        return go("/sign-in", "wrong-password")
    with service.database.writing() as session:
        secret = open_sign_in(session, service, person_id=person_id)
    answer = go("/classes")
    set_cookie(request, answer, service, secret)
    return answer


@router.post("/sign-out")
def sign_out(service: ServiceNow, subject: Reader) -> Response:
    """Sign out here."""
    with service.database.writing() as session:
        close_sign_in(session, subject)
    answer = go("/sign-in", "signed-out")
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.get("/in/{secret}")
def link_page(request: Request, service: ServiceNow, secret: str) -> Response:
    """Say whom the link is for; looking does not use it up."""
    with service.database.reading() as session:
        link = live_link(session, secret)
        person = session.get_one(Person, link.person_id)
        gym = session.get_one(Gym, link.gym_id).name
        return page(request, "link", name=person.name, gym=gym, invite=link.kind == "invite")


@router.post("/in/{secret}")
def link_used(
    request: Request,
    service: ServiceNow,
    secret: str,
    password: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Use the link up."""
    if not from_this_site(request, service):
        raise CrossSite
    with service.database.writing() as session:
        link = use_link(session, secret)
        if link.kind == "invite":
            people.set_password(session, link.person_id, password)
        cookie = open_sign_in(session, service, person_id=link.person_id)
    answer = go("/classes")
    set_cookie(request, answer, service, cookie)
    return answer


@router.get("/wall/{code}")
def wall_page(request: Request, service: ServiceNow, code: WallCode) -> Response:
    """The names to pick from."""
    with service.database.reading() as session:
        found = wall_class(session, code)
        names = [(person.handle, person.name) for person in wall_people(session, found.id)]
        title = session.get_one(PlanVersion, found.plan_version_id).title
        return page(request, "wall", title=title, when=when(found), athletes=names)


@router.post("/wall/{code}")
def wall_picked(
    request: Request, service: ServiceNow, code: WallCode, athlete: Annotated[str, Form()]
) -> Response:
    """Sign in for this class."""
    if not from_this_site(request, service):
        raise CrossSite
    with service.database.writing() as session:
        found = wall_class(session, code)
        person = next((p for p in wall_people(session, found.id) if p.handle == athlete), None)
        if person is None:
            raise NotHere
        kept = request.cookies.get(COOKIE)
        if kept and signed_in_as(service, kept, person.id):
            return go(f"/classes/{found.id}/upload")
        secret = open_sign_in(session, service, person_id=person.id, visit_class_id=found.id)
    answer = go(f"/classes/{found.id}/upload")
    set_cookie(request, answer, service, secret)
    return answer


def signed_in_as(service: Service, cookie: str, person_id: str) -> bool:
    """Whether a phone is this person's already, and needs no visit."""
    with service.database.reading() as session:
        try:
            subject = subject_by_sign_in(session, cookie)
        except NotSignedIn:
            return False
    return subject.person_id == person_id and not subject.visiting
