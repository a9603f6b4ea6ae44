"""Gyms whose people read in their languages."""

from tests.service.conftest import (  # noqa: F401  fixtures
    gym,
    postgres,
    postgres_server,
    postgres_template,
    quick_passwords,
    settings,
    sqlite_gym,
)
