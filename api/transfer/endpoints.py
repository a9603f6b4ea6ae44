"""Class folders over HTTP."""

from __future__ import annotations

import hashlib
from typing import Annotated

from fastapi import APIRouter, File, Form, Response, UploadFile
from sqlalchemy.orm import Session

from api.classes.endpoints import ClassId, class_answer
from api.classes.schemas import ClassAnswer
from api.http import OnceNow, Reader, ServiceNow, Writer, declared
from api.people.schemas import PurposeName
from api.problems import NotHere
from api.transfer.service import class_folder, read_zip, take_in

router = APIRouter(tags=["class folders"])


@router.get(
    "/classes/{class_id}/folder",
    summary="The class as a class folder",
    response_class=Response,
    responses={
        200: {"content": {"application/zip": {}}, "description": "A zip of the class folder"},
        **declared(401, 403, 404, 422),
    },
)
def export_folder(service: ServiceNow, subject: Reader, class_id: ClassId) -> Response:
    """Everything of the class as `intervouch check` reads it; a coach's to take.

    Files go along of those who agreed to it; `left-out.csv` lists the others.
    """
    return Response(
        class_folder(service, subject, class_id),
        media_type="application/zip",
        headers={"Content-Disposition": 'attachment; filename="class.zip"'},
    )


@router.post(
    "/class-folders",
    status_code=201,
    summary="A class folder as a class",
    responses=declared(400, 401, 403, 404, 409, 413, 422),
    response_model=ClassAnswer,
)
def import_folder(
    service: ServiceNow,
    subject: Writer,
    once: OnceNow,
    folder: Annotated[UploadFile, File(description="A zip of a class folder.")],
    stated: Annotated[
        list[PurposeName],
        Form(description="What the athletes agreed to, as the coach states."),
    ] = ["recordings"],  # noqa: B006  FastAPI copies it
) -> Response:
    """Make a class of a folder. Whom the gym does not know is added as an athlete."""
    if not subject.coaches:
        raise NotHere
    data = folder.file.read()
    read = read_zip(service, data)

    def act(session: Session) -> ClassAnswer:
        found = take_in(session, service, subject, read, list(dict.fromkeys(stated)))
        return class_answer(session, subject, found)

    return once.run(subject, hashlib.sha256(data).hexdigest() + ",".join(stated), act)
