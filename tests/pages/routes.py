"""Every page of the service, found by its routes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from api.pages.endpoints import PARTS
from tests.pages.served import Served

NOT_PAGES = {"/", "/static/{name:path}"}  # a way on, and files

PAGES = sorted(
    route.path
    for part in PARTS
    for route in part.router.routes
    if "GET" in getattr(route, "methods", ()) and route.path not in NOT_PAGES
)
READERS = ("coach", "owner", "a03", None)


def path_of(route: str, values: Mapping[str, str]) -> str:
    """A route's path, with a value for each of its names."""
    return re.sub(r"\{(\w+)\}", lambda match: values[match[1]], route)


def read_by(place: Served, values: Mapping[str, str]) -> Iterator[tuple[str, str | None]]:
    """Every page with each of the readers who sees it."""
    clients = {who: place.gym.client(who) for who in READERS}
    for route in PAGES:
        for who, client in clients.items():
            answer = client.get(path_of(route, values), follow_redirects=False)
            if answer.status_code == 200 and "text/html" in answer.headers["content-type"]:
                yield route, who
