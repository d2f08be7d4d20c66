"""The seal: a commitment to everything decided, a locked key, and a chain of events.

Commitment: SHA-256 over the canonical JSON of plan, deal, labels, key and seed with a nonce of 256 bits.
Lock: a random 256-bit data key encrypts the secret with AES-GCM (NIST SP 800-38D); the data key is wrapped
twice, under the passphrase and under the recovery code, each stretched with scrypt (RFC 7914).
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import unicodedata
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

SHORTEST_PASSPHRASE = 10
_SCRYPT = {"n": 2**15, "r": 8, "p": 1}
_RECOVERY_ALPHABET = "ABCDEFGHJKMNPQRSTVWXYZ23456789"  # no letter that reads as a digit
GENESIS = "0" * 64


class WrongPassphraseError(ValueError):
    """The passphrase or recovery code does not open this seal."""


def canonical_json(value: Any) -> bytes:
    """`value` as JSON in one form only: sorted keys, no blanks, UTF-8, no not-a-number."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def digest(value: Any) -> str:
    """SHA-256 over the canonical JSON, in hexadecimal."""
    return hashlib.sha256(canonical_json(value)).hexdigest()


def new_nonce() -> str:
    """256 random bits in hexadecimal."""
    return secrets.token_hex(32)


def new_recovery_code() -> str:
    """Some 147 random bits in six groups of five characters, to be kept on paper."""
    groups = ("".join(secrets.choice(_RECOVERY_ALPHABET) for _ in range(5)) for _ in range(6))
    return "-".join(groups)


def commitment(contents: dict[str, Any]) -> str:
    """The published fingerprint of everything sealed; `contents` must hold a nonce of 128 bits or more."""
    if len(str(contents.get("nonce", ""))) < 32:
        raise ValueError(
            "contents must hold a nonce of at least 128 bits, or few products make the key guessable"
        )
    return digest(contents)


def lock(secret: dict[str, Any], passphrase: str, recovery_code: str) -> dict[str, Any]:
    """`secret` encrypted so that either the passphrase (both parts `joined`) or the recovery code opens it."""
    data_key = AESGCM.generate_key(bit_length=256)
    return {
        "version": 1,
        "parts": 2 if "\0" in passphrase else 1,
        "secret": _encrypt(data_key, canonical_json(secret)),
        "by_passphrase": _wrap(data_key, passphrase),
        "by_recovery_code": _wrap(data_key, _spoken(recovery_code)),
    }


def unlock(locked: dict[str, Any], phrase: str) -> dict[str, Any]:
    """The secret; `phrase` is the passphrase or the recovery code. WrongPassphraseError otherwise."""
    for name, candidate in (("by_passphrase", phrase), ("by_recovery_code", _spoken(phrase))):
        try:
            data_key = _unwrap(locked[name], candidate)
        except InvalidTag:
            continue
        opened: dict[str, Any] = json.loads(_decrypt(data_key, locked["secret"]))
        return opened
    raise WrongPassphraseError(
        "This passphrase does not open the seal. Check for capitals and blanks, then try again."
    )


def joined(first: str, second: str) -> str:
    """The phrase that opens a seal of two parts: what either person typed, in order. One part stays as it is."""
    return f"{first}\0{second}" if second else first


def is_recovery_code(typed: str) -> bool:
    """Whether this has the form of a recovery code, as opposed to a passphrase."""
    return len(_spoken(typed)) == 30 and set(_spoken(typed)) <= set(_RECOVERY_ALPHABET)


def _spoken(code: str) -> str:
    return "".join(code.upper().split()).replace("-", "")


def _stretch(phrase: str, salt: bytes) -> bytes:
    typed = unicodedata.normalize("NFC", phrase)  # keyboards compose accents differently (RFC 8265, 4.2.2)
    return Scrypt(salt=salt, length=32, **_SCRYPT).derive(typed.encode("utf-8"))


def _wrap(data_key: bytes, phrase: str) -> dict[str, str]:
    salt = secrets.token_bytes(16)
    return {"salt": _text(salt), **_encrypt(_stretch(phrase, salt), data_key)}


def _unwrap(wrapped: dict[str, str], phrase: str) -> bytes:
    return _decrypt(_stretch(phrase, _bytes(wrapped["salt"])), wrapped)


def _encrypt(key: bytes, message: bytes) -> dict[str, str]:
    nonce = secrets.token_bytes(12)
    return {"nonce": _text(nonce), "ciphertext": _text(AESGCM(key).encrypt(nonce, message, None))}


def _decrypt(key: bytes, box: dict[str, str]) -> bytes:
    return AESGCM(key).decrypt(_bytes(box["nonce"]), _bytes(box["ciphertext"]), None)


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, validate=True)


@dataclass(frozen=True, slots=True)
class Event:
    """One link of a study's chain. at: UTC in ISO 8601; detail: plain JSON types."""

    number: int
    at: str
    actor: str
    kind: str
    detail: dict[str, Any]
    previous: str
    hash: str


def link(number: int, at: str, actor: str, kind: str, detail: dict[str, Any], previous: str) -> Event:
    """The next event of a chain whose last hash is `previous` (GENESIS for the first)."""
    body = {"number": number, "at": at, "actor": actor, "kind": kind, "detail": detail, "previous": previous}
    return Event(number, at, actor, kind, detail, previous, digest(body))


def first_broken(events: list[Event]) -> int | None:
    """The number of the first event that does not follow from the ones before it; None when all do."""
    previous = GENESIS
    for number, event in enumerate(events, start=1):
        expected = link(number, event.at, event.actor, event.kind, event.detail, previous)
        if event != expected:
            return number
        previous = event.hash
    return None
