"""Public addresses: in links, in codes, and whether cookies need HTTPS."""

from __future__ import annotations

from fastapi import Request

from api.settings import Settings


def public_address(request: Request | None, settings: Settings) -> str:
    """Give the address that people reach the service by: as set, else as this request came."""
    if settings.address:
        return settings.address.rstrip("/")
    return str(request.base_url).rstrip("/") if request else "http://127.0.0.1:8000"


def link_address(base: str, secret: str) -> str:
    """Give the address of a personal link; opening it asks, only the button there uses it up."""
    return f"{base}/in/{secret}"


def wall_address(base: str, code: str) -> str:
    """Give the address of the code on the wall."""
    return f"{base}/wall/{code}"


def cookie_is_secure(request: Request, settings: Settings) -> bool:
    """Whether the cookie may travel over HTTPS only."""
    return settings.address.startswith("https://") or request.url.scheme == "https"
