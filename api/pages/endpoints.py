"""Pages over HTTP: what the API can do, for people with a browser. They work without scripts."""

from __future__ import annotations

from fastapi import APIRouter

from api.pages import class_pages, entrance, people_pages, plan_pages, upload_page

PARTS = (entrance, class_pages, upload_page, plan_pages, people_pages)

router = APIRouter()
for part in PARTS:
    router.include_router(part.router)
