"""The scanner itself finds a word in every writing it claims to know; a scanner that finds nothing proves nothing."""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import zipfile
import zlib

import pytest
from reportlab.pdfgen.canvas import Canvas

from tests.journeys.leak_scanner import words_in

WORD = "kRz7PqWm2XyTbN4s"
OTHER = "aaaaBBBBccccDDDD"


def zipped(content: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("inner.bin", content)
    return packed.getvalue()


def pdf(*, text: str = "", title: str = "") -> bytes:
    drawn = io.BytesIO()
    canvas = Canvas(drawn, pageCompression=1)
    canvas.setTitle(title)
    canvas.drawString(100, 700, text)
    canvas.save()
    return drawn.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        WORD.encode(),
        WORD.upper().encode(),
        WORD.encode("utf-16"),
        WORD.encode("utf-16-be"),
        WORD[::-1].encode(),
        WORD.encode().hex().encode(),
        base64.b64encode(b"x" + WORD.encode() + b"yz"),
        base64.b64encode(b"xy" + WORD.encode()),
        base64.b32encode(b"xyz" + WORD.encode() + b"z"),
        b'<img src="data:image/svg+xml;base64,' + base64.b64encode(b"<text>" + WORD.swapcase().encode()) + b'">',
        zipped(b'<img src="data:;base64,' + base64.b64encode(WORD.swapcase().encode() + b"=") + b'">'),
        "".join(f"%{byte:02X}" for byte in WORD.encode()).encode(),
        "".join(f"&#{byte};" for byte in WORD.encode()).encode(),
        "".join(f"\\u{byte:04x}" for byte in WORD.encode()).encode(),
        hashlib.sha256(WORD.encode()).hexdigest().encode(),
        hashlib.sha256(WORD.lower().encode()).digest(),
        b"noise" + zlib.compress(json.dumps({"name": WORD}).encode()) + b"noise",
        gzip.compress(WORD.encode()),
        zipped(zipped(WORD.encode("utf-16"))),
        pdf(text=WORD),
        pdf(title=WORD),
    ],
    ids=[
        "plain", "capitals", "utf-16", "utf-16-be", "reversed", "hex", "base64 after 1", "base64 after 2", "base32",
        "data address", "data address zipped",
        "per cent", "entities", "json escapes", "sha256", "raw sha256", "zlib inside", "gzip", "zip in zip",
        "pdf text", "pdf title",
    ],
)  # fmt: skip
def test_a_word_is_found(content: bytes) -> None:
    assert words_in(b"before " + content if not content.startswith((b"PK", b"%PDF")) else content,
                    frozenset({WORD, OTHER})) == {WORD}  # fmt: skip


def test_nothing_is_found_where_nothing_is() -> None:
    assert words_in(b"nothing here " * 100 + zlib.compress(b"nor here"), frozenset({WORD})) == set()
