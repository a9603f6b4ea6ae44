"""Identifiers, secrets and their hashes."""

from __future__ import annotations

import hashlib
import secrets
import time

# Without 0, 1, i, l, o, which are mistaken for each other when a code is typed from a wall.
CODE_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"


def new_id() -> str:
    """32 hexadecimal digits: milliseconds since 1970, then 80 random bits; sorts by time."""
    return f"{time.time_ns() // 1_000_000:012x}{secrets.token_hex(10)}"


def new_secret() -> str:
    """Make 256 random bits as text that may stand in an address."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """Make ten letters and digits that can be typed from a wall: 49 bits."""
    return "".join(secrets.choice(CODE_LETTERS) for _ in range(10))


def secret_hash(secret: str) -> str:
    """SHA-256 of a random secret; enough, for there are 256 bits to guess."""
    return hashlib.sha256(secret.encode()).hexdigest()
