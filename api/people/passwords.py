"""Passwords: argon2id, and a pause after too many wrong ones."""

from __future__ import annotations

import math
from datetime import timedelta

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from api.language import Sentence
from api.problems import Fault, Refused, TooManyAttempts
from api.storage.keys import Keys
from api.storage.model import Attempt
from api.storage.moments import now

HASHER = PasswordHasher()  # argon2id with the parameters of RFC 9106, section 4, second choice
# Checked where nobody has the mail address, so that the answer takes as long.
NOBODY_HASH = HASHER.hash("nobody's password")
SHORTEST = 12
LONGEST = 200
# From one machine there may be many people; a whole gym shares one address.
MACHINE_FACTOR = 6


def password_hash(password: str) -> str:
    """Hash for keeping; raises Refused for one that is too short or too long."""
    if not SHORTEST <= len(password) <= LONGEST:
        what = Sentence(
            "A password has from {shortest} to {longest} characters.",
            shortest=SHORTEST,
            longest=LONGEST,
        )
        raise Refused(what, code="weak_password", faults=[Fault("password", what, "length")])
    return HASHER.hash(password)


def password_fits(kept: str | None, password: str) -> bool:
    """Whether the password is the one that was hashed; takes as long where there is none."""
    try:
        HASHER.verify(kept or NOBODY_HASH, password)
    except (VerificationError, InvalidHashError):
        return False
    return kept is not None


def attempt_marks(keys: Keys, mail: str, machine: str) -> tuple[tuple[str, int], ...]:
    """What attempts are counted by: the address (factor 1) and the machine, as keyed hashes."""
    return (
        (keys.mark("attempts", f"mail {mail.strip().lower()}"), 1),
        (keys.mark("attempts", f"machine {machine}"), MACHINE_FACTOR),
    )


def check_throttle(
    session: Session, marks: tuple[tuple[str, int], ...], *, attempts: int, minutes: int
) -> None:
    """Raise TooManyAttempts where there were too many wrong ones lately."""
    since = now() - timedelta(minutes=minutes)
    for mark, factor in marks:
        recent = session.execute(
            select(func.count(), func.min(Attempt.at)).where(
                Attempt.about == mark, Attempt.at > since
            )
        ).one()
        if recent[0] >= attempts * factor:
            wait = timedelta(minutes=minutes) - (now() - recent[1])
            raise TooManyAttempts(max(1, math.ceil(wait.total_seconds())))


def note_attempt(session: Session, marks: tuple[tuple[str, int], ...], *, minutes: int) -> None:
    """Count a wrong password, and forget those that no longer matter."""
    session.execute(delete(Attempt).where(Attempt.at < now() - timedelta(minutes=minutes)))
    session.add_all(Attempt(about=mark) for mark, _ in marks)


def forget_attempts(session: Session, marks: tuple[tuple[str, int], ...]) -> None:
    """A right password ends the count for its address."""
    session.execute(delete(Attempt).where(Attempt.about == marks[0][0]))
