"""The service's one key, what is derived from it, and what is sealed with those."""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from api.settings import Settings

KEY_BYTES = 32
NONCE_BYTES = 12  # NIST SP 800-38D, section 5.2.1.1: 96 bits recommended


class UnusableKey(Exception):  # noqa: N818
    """The key is missing or not what it should be."""


class SealBroken(Exception):  # noqa: N818
    """Sealed bytes were changed, or belong elsewhere."""


@dataclass(frozen=True)
class Keys:
    """Derives a key for each purpose from the one secret (HKDF, RFC 5869)."""

    secret: bytes

    def derive(self, purpose: str) -> bytes:
        """Derive 32 bytes for one purpose."""
        return HKDF(SHA256(), KEY_BYTES, salt=None, info=purpose.encode()).derive(self.secret)

    def seal(self, purpose: str, place: str, data: bytes) -> bytes:
        """AES-256-GCM (NIST SP 800-38D); `place` is bound in, so bytes cannot be moved about."""
        nonce = secrets.token_bytes(NONCE_BYTES)
        return nonce + AESGCM(self.derive(purpose)).encrypt(nonce, data, place.encode())

    def open(self, purpose: str, place: str, sealed: bytes) -> bytes:
        """Undo `seal`; raises SealBroken where the bytes or their place do not fit."""
        try:
            return AESGCM(self.derive(purpose)).decrypt(
                sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], place.encode()
            )
        except (InvalidTag, ValueError) as error:
            raise SealBroken(f"{place} is damaged, or sealed with another key") from error

    def mark(self, purpose: str, text: str) -> str:
        """One-way keyed hash (HMAC-SHA-256, RFC 2104) as hexadecimal digits."""
        return hmac.new(self.derive(purpose), text.encode(), hashlib.sha256).hexdigest()


def load_keys(settings: Settings) -> Keys:
    """The key from the settings, or from its file in the data folder, made where there is none."""
    given = settings.key.get_secret_value()
    if given:
        return Keys(key_bytes(given, "INTERVOUCH_KEY"))
    path = settings.data / "key"
    settings.data.mkdir(parents=True, exist_ok=True)
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return Keys(key_bytes(path.read_text(encoding="ascii").strip(), str(path)))
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        secret = secrets.token_bytes(KEY_BYTES)
        file.write(secret.hex() + "\n")
        file.flush()
        os.fsync(file.fileno())
    return Keys(secret)


def key_bytes(text: str, where: str) -> bytes:
    """Read 64 hexadecimal digits; raises UnusableKey for anything else."""
    try:
        secret = bytes.fromhex(text)
    except ValueError as error:
        raise UnusableKey(f"{where} must be 64 hexadecimal digits") from error
    if len(secret) != KEY_BYTES:
        raise UnusableKey(f"{where} has {len(text)} characters, it must be 64 hexadecimal digits")
    return secret


def key_path(settings: Settings) -> Path | None:
    """The file of the key; None where the settings give it."""
    return None if settings.key.get_secret_value() else settings.data / "key"
