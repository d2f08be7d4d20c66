"""Looks for words in bytes, however they may have been written: other encodings, digests, compressed, inside PDFs."""

from __future__ import annotations

import base64
import hashlib
import io
import re
import zipfile
import zlib
from functools import lru_cache
from html import unescape
from urllib.parse import unquote_plus

import pypdfium2

DEEPEST = 4
DATA_ADDRESS = re.compile(rb";base64,([A-Za-z0-9+/]{4,})=*")
ZLIB_HEADS = re.compile(rb"\x78[\x01\x5e\x9c\xda]|\x1f\x8b\x08")


def words_in(content: bytes, words: frozenset[str], depth: int = 0) -> set[str]:
    """Those of `words` that stand in `content` in any of the known writings. words: ASCII letters and digits."""
    low = content.lower()
    found = {word for word in words if any(form in low for form in _folded(word))}
    found |= {word for word in words if any(form in content for form in _exact(word))}
    if b"%" in content or b"&" in content or b"\\u" in content:
        text = unescape(unquote_plus(content.decode("utf-8", "replace")))
        text = re.sub(r"\\u([0-9a-fA-F]{4})", lambda m: chr(int(m[1], 16)), text).lower()
        found |= {word for word in words if word.lower() in text}
    if depth < DEEPEST:
        for inner in _unpacked(content):
            found |= words_in(inner, words, depth + 1)
    return found


@lru_cache(maxsize=1000)
def _folded(word: str) -> tuple[bytes, ...]:
    """Writings in which capitals do not matter."""
    low = word.lower()
    forms = [low.encode(e) for e in ("utf-8", "utf-16-le", "utf-16-be", "utf-32-le")]
    forms += [low[::-1].encode(), low.encode().hex().encode(), word.encode().hex().encode()]
    forms += [word.upper().encode().hex().encode()]
    for spelling in (word, low, word.upper()):
        for digest in ("md5", "sha1", "sha256", "sha512"):
            forms.append(hashlib.new(digest, spelling.encode()).hexdigest().encode())
    return tuple(forms)


@lru_cache(maxsize=1000)
def _exact(word: str) -> tuple[bytes, ...]:
    """Writings in which every byte counts: base64 and base32 at each place in a longer text, and raw digests."""
    forms: list[bytes] = []
    for spelling in (word, word.lower()):
        for before in range(3):
            coded = base64.b64encode(b"\0" * before + spelling.encode())
            inner = coded[4 if before else 0 : (before + len(spelling)) // 3 * 4]
            forms += [inner, inner.replace(b"+", b"-").replace(b"/", b"_")]
        for before in range(5):
            coded = base64.b32encode(b"\0" * before + spelling.encode())
            inner = coded[8 if before else 0 : (before + len(spelling)) // 5 * 8]
            forms += [inner, inner.lower()]
        forms += [hashlib.new(name, spelling.encode()).digest() for name in ("md5", "sha1", "sha256")]
    return tuple(form for form in forms if len(form) >= 8)


def _unpacked(content: bytes) -> list[bytes]:
    inner: list[bytes] = []
    if content.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(content)) as bundle:
            inner += [bundle.read(name) for name in bundle.namelist()]
            inner.append("\n".join(bundle.namelist()).encode())
    if content.startswith(b"%PDF"):
        inner.append(_pdf_text(content))
    for match in DATA_ADDRESS.finditer(content):
        inner.append(base64.b64decode(match[1] + b"=="))
    for match in ZLIB_HEADS.finditer(content):
        try:
            inner.append(zlib.decompressobj(wbits=47).decompress(content[match.start() :], 5_000_000))
        except zlib.error:
            continue
    return [part for part in inner if part and part != content]


def _pdf_text(content: bytes) -> bytes:
    document = pypdfium2.PdfDocument(content)
    text = [page.get_textpage().get_text_range() for page in document]
    text += [f"{name}: {value}" for name, value in document.get_metadata_dict().items()]
    document.close()
    return "\n".join(text).encode("utf-8")
