"""Tokens that a card or a cup carries: an HMAC of server key, id and revision, so that any can be printed again.

Cup tokens (60 bits) only lead the way; sitting and place tokens (130 bits) let somebody in.
"""

from __future__ import annotations

import base64
import hmac
import os
import secrets
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

CUP_LENGTH = 12
JOIN_LENGTH = 26
ATTEMPT_CODE_LENGTH = 8


class Tokens:
    """Makes and compares tokens under one server key."""

    def __init__(self, key: bytes) -> None:
        if len(key) < 32:
            raise ValueError(f"key must hold at least 32 bytes, but has {len(key)}")
        self._key = key

    def cup(self, serving_id: str, revision: int) -> str:
        """The token in a cup's QR code: 12 upper-case base32 characters."""
        return self._made("cup", serving_id, revision)[:CUP_LENGTH]

    def sitting(self, sitting_id: str, revision: int) -> str:
        """The token that lets tasters join a sitting: 26 upper-case base32 characters."""
        return self._made("sitting", sitting_id, revision)[:JOIN_LENGTH]

    def opens_sitting(self, token: str, sitting_id: str, revision: int) -> bool:
        """Whether `token`, in any case, is the sitting's."""
        return hmac.compare_digest(token.upper().encode(), self.sitting(sitting_id, revision).encode())

    def place(self, place_id: str, revision: int) -> str:
        """The token on the join card of one place: 26 upper-case base32 characters."""
        return self._made("place", place_id, revision)[:JOIN_LENGTH]

    def opens_place(self, token: str, place_id: str, revision: int) -> bool:
        """Whether `token`, in any case, is the place's."""
        return hmac.compare_digest(token.upper().encode(), self.place(place_id, revision).encode())

    def attempt(self, attempt_id: str) -> str:
        """The secret that a taster's cookie carries."""
        return self._made("attempt", attempt_id, 1)

    def opens_attempt(self, token: str, attempt_id: str) -> bool:
        """Whether `token` is the attempt's."""
        return hmac.compare_digest(token.encode(), self.attempt(attempt_id).encode())

    def attempt_code(self, attempt_id: str) -> str:
        """The short code, to be typed, that continues an attempt on another phone: 8 characters, 40 bits.

        It lets somebody in, so that tries must be limited where it is typed.
        """
        return self._made("attempt code", attempt_id, 1)[:ATTEMPT_CODE_LENGTH]

    def first_start_code(self) -> str:
        """The code that lets the first organiser set a password; the terminal shows it."""
        return self._made("first start", "", 1)[:CUP_LENGTH]

    def is_first_start_code(self, code: str) -> bool:
        """Whether `code` is the one the terminal shows."""
        return hmac.compare_digest(code.strip().upper().encode(), self.first_start_code().encode())

    def cookie_key(self) -> str:
        """The key that signs the cookies of organisers, analysts and kitchens."""
        return self._made("cookies", "", 1)

    def _made(self, purpose: str, name: str, revision: int) -> str:
        message = f"{purpose}\n{name}\n{revision}".encode()
        return base64.b32encode(hmac.digest(self._key, message, "sha256")).decode("ascii").rstrip("=")


def server_key(folder: Path) -> bytes:
    """The server's key from `folder`, made at first use and readable by its owner only."""
    path = folder / "server.key"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(32))
    return path.read_bytes()
