"""Pages over HTTP: what the API can do, for people with a browser. They work without scripts."""

from __future__ import annotations

from fastapi import APIRouter

from api.pages import (
    board_page,
    class_page,
    classes_page,
    clock_page,
    entrance,
    gym_page,
    over_time_page,
    own_sheet_page,
    people_pages,
    plan_pages,
    plan_versions_page,
    question_page,
    recording_page,
    roster_page,
    scores_page,
    share_page,
    stick_page,
    upload_page,
    wall_page,
    you_page,
)

PARTS = (
    entrance,
    classes_page,
    class_page,
    question_page,
    roster_page,
    scores_page,
    board_page,
    stick_page,
    over_time_page,
    wall_page,
    upload_page,
    own_sheet_page,
    recording_page,
    share_page,
    plan_pages,
    plan_versions_page,
    clock_page,
    people_pages,
    gym_page,
    you_page,
)

router = APIRouter()
for part in PARTS:
    router.include_router(part.router)
