"""What the service can refuse, as one family of errors; each becomes one problem+json answer.

ServiceError
├── NotSignedIn      `not_signed_in`      401  nobody, or somebody unknown
├── ScopeNeeded      `scope_needed`       403  the token may not do this
├── ConsentNeeded    `consent_needed`     403  the athlete has not agreed
├── CrossSite        `cross_site`         403  a form on another site sent this
├── NotHere          `not_here`           404  absent, or not this person's to see: the same
├── NotReady         `not_ready`          409  no result yet
├── Conflict         `conflict`           409  it clashes with what is there
├── TooLarge         `too_large`          413  more bytes than a request may carry
├── Refused          (its own code)       422  understood, and not acceptable
├── KeyReused        `key_reused`         422  an idempotency key of another request
└── TooManyAttempts  `too_many_attempts`  429  wait
"""

# ruff: noqa: N818  the names say what happened, as the codes do

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from reconcile.sentence import Sentence, deferred


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong in a request: where, what, of what kind. Never the value itself."""

    where: str
    what: str
    kind: str


class ServiceError(Exception):
    """What is wrong, once for the person and once for whoever wrote the program.

    Args:
        detail: one sentence that an athlete understands.
        developer: one sentence with the exact cause; the detail where left out.
        faults: the places, where there are several.
        facts: further members of the answer.
    """

    code: ClassVar[str] = "refused"
    title: ClassVar[str] = deferred("This cannot be done")

    def __init__(
        self,
        detail: str,
        *,
        developer: str | None = None,
        code: str | None = None,
        faults: Sequence[Fault] = (),
        facts: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.detail = detail
        self.developer = developer or detail
        self.kind = code or self.code
        self.faults = tuple(faults)
        self.facts = dict(facts or {})


class NotSignedIn(ServiceError):
    """Nobody is signed in, or what was shown is wrong or has run out."""

    code = "not_signed_in"
    title = deferred("Sign in first")

    def __init__(
        self,
        detail: str = deferred("Sign in first: open your personal link, or use your password."),
    ) -> None:
        super().__init__(
            detail,
            developer="Send a session cookie, or `Authorization: Bearer TOKEN` with a live token.",
        )


class ScopeNeeded(ServiceError):
    """The token was not made for this."""

    code = "scope_needed"
    title = deferred("The token does not allow this")

    def __init__(self, scope: str) -> None:
        super().__init__(
            deferred("This program was not given leave to do that."),
            developer=f"The token lacks the scope `{scope}`: make one that has it.",
            facts={"scope": scope},
        )


class ConsentNeeded(ServiceError):
    """The athlete has not agreed to this use."""

    code = "consent_needed"
    title = deferred("Not agreed to")


class CrossSite(ServiceError):
    """A request with a cookie, sent by another site's page."""

    code = "cross_site"
    title = deferred("Sent from another site")

    def __init__(self) -> None:
        super().__init__(
            deferred("This came from another web site, so it was not done."),
            developer="A change with a cookie needs `Origin` or `Sec-Fetch-Site` of this site.",
        )


class NotHere(ServiceError):
    """Absent and forbidden look the same."""

    code = "not_here"
    title = deferred("Not here")

    def __init__(self) -> None:
        super().__init__(
            deferred("There is nothing here that you may see."),
            developer="The object does not exist, or this person may not see or change it.",
        )


class NotReady(ServiceError):
    """The class has no result yet."""

    code = "not_ready"
    title = deferred("No result yet")


class Conflict(ServiceError):
    """It clashes with what is there."""

    code = "conflict"
    title = deferred("It clashes with what is there")


class TooLarge(ServiceError):
    """More bytes than one request may carry."""

    code = "too_large"
    title = deferred("Too large")


class Refused(ServiceError):
    """Understood, and not acceptable as it is."""

    code = "refused"
    title = deferred("Not acceptable as it is")


class KeyReused(ServiceError):
    """The idempotency key stands for another request."""

    code = "key_reused"
    title = deferred("The key stands for another request")

    def __init__(self) -> None:
        super().__init__(
            deferred("This was sent twice with different contents, so it was not done."),
            developer="`Idempotency-Key` was used before with another body: take a new key.",
        )


class TooManyAttempts(ServiceError):
    """Too many wrong passwords."""

    code = "too_many_attempts"
    title = deferred("Too many attempts")

    def __init__(self, wait_s: int) -> None:
        super().__init__(
            Sentence(
                "Too many wrong passwords: try again in {minutes} minutes.",
                minutes=max(1, wait_s // 60),
            ),
            developer=f"Throttled: retry after {wait_s} s.",
            facts={"wait_s": wait_s},
        )


STATUS: dict[type[ServiceError], int] = {
    NotSignedIn: 401,
    ScopeNeeded: 403,
    ConsentNeeded: 403,
    CrossSite: 403,
    NotHere: 404,
    NotReady: 409,
    Conflict: 409,
    TooLarge: 413,
    Refused: 422,
    KeyReused: 422,
    TooManyAttempts: 429,
}
