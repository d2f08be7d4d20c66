"""The seal: the building blocks against published values, the lock, and a chain in which every change is found."""

from __future__ import annotations

import copy
import hashlib
import json
import unicodedata
from dataclasses import replace
from typing import Any

import pytest
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from hypothesis import given
from hypothesis import strategies as st

from panel.study import seal
from panel.study.seal import (
    GENESIS,
    Event,
    WrongPassphraseError,
    canonical_json,
    commitment,
    digest,
    first_broken,
    link,
    lock,
    new_nonce,
    new_recovery_code,
    unlock,
)

SECRET = {"key": {"s1": {"name": "Cooker Nº 1 – “Überkocher”"}}, "seed": "0f" * 16, "nonce": "ab" * 32}
PASSPHRASE = "steam rises at seven"

# ---- building blocks against published values


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        pytest.param(
            b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
            id="FIPS 180-4 example, one block (NIST example values for SHA-256, message abc)",
        ),
        pytest.param(
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            id="FIPS 180-4 example, two blocks (NIST example values for SHA-256, 448 bits)",
        ),
    ],
)  # fmt: skip
def test_the_hash_is_sha_256(message: bytes, expected: str) -> None:
    assert hashlib.sha256(message).hexdigest() == expected


def test_a_digest_is_sha_256_over_the_canonical_json() -> None:
    """FIPS 180-4's function over bytes written out by hand."""
    written = '{"a":[1,2.5,null,true],"b":"ü"}'.encode()
    assert digest({"b": "ü", "a": [1, 2.5, None, True]}) == hashlib.sha256(written).hexdigest()


@pytest.mark.parametrize(
    ("password", "salt", "n", "r", "p", "expected"),
    [
        pytest.param(
            b"", b"", 16, 1, 1,
            "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
            "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906",
            id="RFC 7914 section 12, first vector",
        ),
        pytest.param(
            b"password", b"NaCl", 1024, 8, 16,
            "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
            "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640",
            id="RFC 7914 section 12, second vector",
        ),
        pytest.param(
            b"pleaseletmein", b"SodiumChloride", 16384, 8, 1,
            "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
            "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887",
            id="RFC 7914 section 12, third vector",
        ),
    ],
)  # fmt: skip
def test_the_library_stretches_as_the_standard_says(
    password: bytes, salt: bytes, n: int, r: int, p: int, expected: str
) -> None:
    assert Scrypt(salt=salt, length=64, n=n, r=r, p=p).derive(password).hex() == expected


def test_the_library_encrypts_as_the_standard_says() -> None:
    """McGrew & Viega, The Galois/Counter Mode of Operation, appendix B, test case 14 (AES-256, zeros)."""
    sealed = AESGCM(bytes(32)).encrypt(bytes(12), bytes(16), None)
    assert sealed.hex() == "cea7403d4d606b6e074ec5d3baf39d18" + "d0d1c8a799996bf0265b98b5d48ab919"


def test_the_stretching_costs_as_much_as_is_advised() -> None:
    """RFC 7914 section 2 advises r = 8, p = 1; 32 MiB a guess (128 · N · r) is a rule of thumb, no source."""
    assert (seal._SCRYPT["r"], seal._SCRYPT["p"]) == (8, 1)
    assert 128 * seal._SCRYPT["n"] * seal._SCRYPT["r"] >= 32 * 2**20


# ---- canonical form and commitment

PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(
        st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(
        st.text(st.characters(exclude_categories=["Cs"]), max_size=8), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


def shuffled_keys(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: shuffled_keys(value[key]) for key in reversed(list(value))}
    return [shuffled_keys(item) for item in value] if isinstance(value, list) else value


@given(PLAIN)
def test_one_value_has_one_form_whatever_the_order_of_its_keys(value: Any) -> None:
    assert canonical_json(value) == canonical_json(shuffled_keys(value))


@given(PLAIN)
def test_the_form_survives_being_written_and_read(value: Any) -> None:
    assert canonical_json(json.loads(canonical_json(value))) == canonical_json(value)


@pytest.mark.parametrize("number", [float("nan"), float("inf")], ids=str)
def test_what_is_no_number_cannot_be_sealed(number: float) -> None:
    with pytest.raises(ValueError, match="JSON"):
        canonical_json({"value": number})


def test_a_commitment_needs_a_nonce_that_nobody_can_guess() -> None:
    with pytest.raises(ValueError, match="128 bits"):
        commitment({"key": {}, "nonce": "f" * 31})
    assert commitment({"key": {}, "nonce": "f" * 32}) == digest({"key": {}, "nonce": "f" * 32})


@given(PLAIN, PLAIN)
def test_other_contents_have_another_commitment(one: Any, other: Any) -> None:
    same = canonical_json(one) == canonical_json(other)
    nonce = "0" * 32
    assert (commitment({"nonce": nonce, "x": one}) == commitment({"nonce": nonce, "x": other})) is same


def test_nonces_and_recovery_codes_do_not_repeat() -> None:
    """A repeat among 2,000 has a chance below 2000² / 2¹⁴⁷ (birthday bound)."""
    assert len({new_nonce() for _ in range(2000)}) == 2000
    assert len({new_recovery_code() for _ in range(2000)}) == 2000
    assert len(new_nonce()) * 4 >= 128


def test_a_recovery_code_has_no_character_that_reads_as_another() -> None:
    written = "".join(new_recovery_code() for _ in range(200))
    assert not set(written) & set("0O1ILU")


# ---- the lock


@pytest.fixture(scope="module")
def recovery_code() -> str:
    return new_recovery_code()


@pytest.fixture(scope="module")
def locked(recovery_code: str) -> dict[str, Any]:
    return lock(SECRET, PASSPHRASE, recovery_code)


def test_the_passphrase_opens_the_lock(locked: dict[str, Any]) -> None:
    assert unlock(locked, PASSPHRASE) == SECRET


@pytest.mark.parametrize(
    "typed", [str, str.lower, lambda code: code.replace("-", " "), lambda code: code.replace("-", "")],
    ids=["as printed", "in lower case", "with blanks", "run together"],
)  # fmt: skip
def test_the_recovery_code_opens_the_lock(locked: dict[str, Any], recovery_code: str, typed: Any) -> None:
    assert unlock(locked, typed(recovery_code)) == SECRET


@pytest.mark.parametrize("phrase", ["", "steam rises at eight", PASSPHRASE.upper(), "A" * 30])
def test_nothing_else_opens_the_lock(locked: dict[str, Any], phrase: str) -> None:
    with pytest.raises(WrongPassphraseError, match="does not open the seal"):
        unlock(locked, phrase)


def test_a_passphrase_opens_however_the_keyboard_composes_its_accents(recovery_code: str) -> None:
    """RFC 8265 section 4.2.2 (OpaqueString): normalisation form C before anything else."""
    composed = unicodedata.normalize("NFC", "Reis für Zoë, später")
    decomposed = unicodedata.normalize("NFD", composed)
    assert composed != decomposed
    assert unlock(lock(SECRET, decomposed, recovery_code), composed) == SECRET


def test_the_lock_shows_nothing_of_the_secret(locked: dict[str, Any]) -> None:
    shown = json.dumps(locked)
    assert not any(word in shown for word in ("Cooker", "Überkocher", SECRET["seed"], SECRET["nonce"]))


def test_two_locks_of_one_secret_have_nothing_in_common(locked: dict[str, Any], recovery_code: str) -> None:
    again = lock(SECRET, PASSPHRASE, recovery_code)
    parts = ("secret", "by_passphrase", "by_recovery_code")
    assert all(set(again[part].values()).isdisjoint(locked[part].values()) for part in parts)


@pytest.mark.parametrize("at", [0, 7, -1], ids=["first byte", "inside", "tag"])
def test_a_changed_secret_is_found_out(locked: dict[str, Any], at: int) -> None:
    changed = copy.deepcopy(locked)
    raw = bytearray(seal._bytes(changed["secret"]["ciphertext"]))
    raw[at] ^= 1
    changed["secret"]["ciphertext"] = seal._text(bytes(raw))
    with pytest.raises((InvalidTag, ValueError)):
        unlock(changed, PASSPHRASE)


# ---- the chain of events

DETAILS = st.dictionaries(
    st.sampled_from(["place", "attempt", "reason"]), st.integers() | st.text("aZ9 ü“\n", max_size=5)
)


@st.composite
def chains(draw: st.DrawFn, at_least: int = 1) -> list[Event]:
    events: list[Event] = []
    for number in range(1, draw(st.integers(at_least, 8)) + 1):
        kind = draw(st.sampled_from(["place dealt", "answers received", "printed"]))
        detail = draw(DETAILS)
        previous = events[-1].hash if events else GENESIS
        events.append(link(number, f"2026-03-01T10:00:{number:02d}+00:00", "taster", kind, detail, previous))
    return events


CHANGES: dict[str, Any] = {
    "number": lambda event: event.number + 1,
    "at": lambda event: event.at.replace("2026", "2025"),
    "actor": lambda event: event.actor + "!",
    "kind": lambda event: event.kind + "!",
    "detail": lambda event: {**event.detail, "more": 1},
    "previous": lambda event: "f" * 64,
    "hash": lambda event: "f" * 64,
}


@given(chains())
def test_an_untouched_chain_holds(events: list[Event]) -> None:
    assert first_broken(events) is None


@given(chains(), st.data(), st.sampled_from(sorted(CHANGES)))
def test_a_change_of_any_field_is_found_where_it_is(
    events: list[Event], data: st.DataObject, changed: str
) -> None:
    at = data.draw(st.integers(0, len(events) - 1))
    events[at] = replace(events[at], **{changed: CHANGES[changed](events[at])})
    assert first_broken(events) == at + 1


@given(chains(at_least=2), st.data())
def test_a_change_that_is_hashed_anew_is_found_at_the_next_event(
    events: list[Event], data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(events) - 2))
    old = events[at]
    events[at] = link(old.number, old.at, old.actor, "something else", old.detail, old.previous)
    assert first_broken(events) == at + 2


@given(chains(at_least=2), st.data())
def test_a_removed_event_is_missed_where_it_stood(events: list[Event], data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(events) - 2))
    del events[at]
    assert first_broken(events) == at + 1


@given(chains(at_least=2), st.data())
def test_two_swapped_events_are_found_at_the_first_of_them(events: list[Event], data: st.DataObject) -> None:
    one = data.draw(st.integers(0, len(events) - 2))
    other = data.draw(st.integers(one + 1, len(events) - 1))
    events[one], events[other] = events[other], events[one]
    assert first_broken(events) == one + 1


@given(chains(), st.data())
def test_a_slipped_in_event_is_found_where_it_stands(events: list[Event], data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(events) - 1))
    previous = events[at - 1].hash if at else GENESIS
    slipped = link(at + 1, "2026-03-01T10:00:00+00:00", "nobody", "slipped in", {}, previous)
    events.insert(at, slipped)
    assert first_broken(events) == at + 2


@given(chains())
def test_a_cut_off_tail_shows_only_by_the_head_on_paper(events: list[Event]) -> None:
    """The chain alone cannot show it: that is why its head is printed and thanked with."""
    head = events[-1].hash
    cut = events[:-1]
    assert first_broken(cut) is None
    assert (cut[-1].hash if cut else GENESIS) != head
