"""Every setting of the service: from the environment, `INTERVOUCH_` before each name."""

from __future__ import annotations

from pathlib import Path
from typing import Self
from urllib.parse import urlsplit

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict

from reconcile.sentence import Sentence

LOOPBACK = ("127.0.0.1", "localhost", "::1")


class Settings(BaseSettings):
    """How this service runs; none of it needs to be set.

    data: the folder of the SQLite database, the uploaded bytes, the cache and the key.
    database: where the database is; SQLite in the data folder where left out.
    store: where uploaded bytes lie (any fsspec address); a folder in `data` where left out.
    key: 64 hexadecimal digits from which all keys are derived; a file in `data` where left out.
    address: the public address, for links and codes.
    workers: reconciling workers inside the server; 0 where `intervouch work` runs elsewhere.
    upload_bytes: the most that one request may carry.
    session_days, link_minutes, visit_hours: how long a sign-in, a personal link and a sign-in
        by the code on the wall last.
    attempts, attempt_minutes: how many wrong passwords in how long before a pause.
    metrics_token: who shows it may read /metrics from elsewhere; this machine always may.
    """

    model_config = SettingsConfigDict(env_prefix="INTERVOUCH_", extra="ignore", frozen=True)

    data: Path = Path("intervouch-data")
    database: str = ""
    store: str = ""
    key: SecretStr = SecretStr("")
    address: str = ""
    workers: int = Field(default=1, ge=0, le=16)
    upload_bytes: int = Field(default=64 * 2**20, ge=1024)
    session_days: int = Field(default=30, ge=1)
    link_minutes: int = Field(default=30, ge=1)
    visit_hours: int = Field(default=12, ge=1)
    attempts: int = Field(default=5, ge=1)
    attempt_minutes: int = Field(default=15, ge=1)
    stalled_s: float = Field(default=20.0, gt=0)
    metrics_token: SecretStr = SecretStr("")
    log_level: str = "INFO"

    def over(self, **changes: object) -> Self:
        """The same settings with some replaced, as a command's options do."""
        return type(self).model_validate({**self.model_dump(), **changes})

    @property
    def database_url(self) -> str:
        """The SQLAlchemy address of the database."""
        if not self.database:
            return f"sqlite:///{(self.data / 'intervouch.db').as_posix()}"
        for prefix in ("postgresql://", "postgres://"):
            if self.database.startswith(prefix):
                return "postgresql+psycopg://" + self.database.removeprefix(prefix)
        return self.database

    @property
    def on_postgresql(self) -> bool:
        """Whether the database is PostgreSQL."""
        return self.database_url.startswith("postgresql")

    @property
    def store_url(self) -> str:
        """The fsspec address of the uploaded bytes."""
        return self.store or (self.data / "store").absolute().as_posix()

    @property
    def address_warning(self) -> str | None:
        """What is wrong with the public address; None where nothing is."""
        parts = urlsplit(self.address)
        if self.address and parts.scheme == "http" and parts.hostname not in LOOPBACK:
            return Sentence(
                "INTERVOUCH_ADDRESS is {address}: over plain HTTP anybody on the way can read "
                "links, passwords and heart data. Put HTTPS before the service and give its "
                "https:// address.",
                address=self.address,
            )
        return None
