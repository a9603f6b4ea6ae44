"""Who is asking: a person of one gym, by a sign-in or a program's token."""

from __future__ import annotations

from dataclasses import dataclass

from api.language import Preferences

SCOPES = ("read", "upload", "write", "people")
ROLES = ("athlete", "coach", "owner")


@dataclass(frozen=True)
class Subject:
    """A person as one request sees them.

    audit_mark: stands for the person in the audit log.
    scopes: what the means of signing in allows; a sign-in by a person allows all.
    sign_in_id: the sign-in, None for a program's token.
    visit_class_id: the one class that an unconfirmed sign-in by the code on the wall is for.
    key: stands for the means of signing in where a request's repetition is to be recognised.
    preferences: the person's language and unit of mass.
    """

    gym_id: str
    person_id: str
    audit_mark: str
    handle: str
    roles: frozenset[str]
    scopes: frozenset[str]
    sign_in_id: str | None
    visit_class_id: str | None
    key: str
    preferences: Preferences

    @property
    def coaches(self) -> bool:
        """Whether the person is a coach, and not here by the code on the wall."""
        return "coach" in self.roles and self.visit_class_id is None

    @property
    def owns(self) -> bool:
        """Whether the person owns the gym, and is not here by the code on the wall."""
        return "owner" in self.roles and self.visit_class_id is None

    @property
    def visiting(self) -> bool:
        """Whether the person is here by the code on the wall only."""
        return self.visit_class_id is not None
