"""The files of a study's bundle: their names, what stands in each, unpacking one with care.

Written by the export, read by `verify` and by whoever brings a study back. A further file is a row of PARTS, its
columns in `dictionary`, its maker in the export; the log then fingerprints it and `verify` holds it.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from panel.study.seal import digest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

Since = Literal["seal", "closing", "signature", "reveal"]


@dataclass(frozen=True, slots=True)
class Part:
    """One file. since : from when on it is in the bundle; about : what stands in it; binary : no UTF-8 text."""

    name: str
    since: Since
    about: str
    binary: bool = False


README = "README.txt"
SEALED = "sealed.json"
COMMITMENT = "commitment.txt"
EVENTS = "events.jsonl"
SENDS = "sends.jsonl"
ANSWERS = "answers.csv"
CHOICES = "choices.csv"
DICTIONARY = "dictionary.csv"
WORKBOOK = "data.xlsx"
REPORT = "report.json"
PAGE = "report.html"
RECOMPUTE = "recompute.py"
KEY = "key.csv"
BENCH = "bench.csv"
REVISIONS = "bench.jsonl"
VERDICT = "verdict.json"
VERDICT_TABLE = "verdict-table.html"

PARTS = (
    Part(README, "seal", "this text"),
    Part(PAGE, "closing", "the report as it is read, figures included, in one file that opens from the disk"),
    Part(ANSWERS, "closing", "every answer about single cups and those given once at the end, by blind letter"),
    Part(CHOICES, "closing", "every answer about sets of cups"),
    Part(DICTIONARY, "closing", "every column of the tables: meaning, type, unit, what it may hold"),
    Part(WORKBOOK, "closing", "the same tables and the dictionary as sheets of one workbook", binary=True),
    Part(REPORT, "signature", "the signed results: every figure of the analysis"),
    Part(RECOMPUTE, "signature", "recomputes the headline figures from the tables with SciPy alone"),
    Part(KEY, "reveal", "which blind letter was which product"),
    Part(BENCH, "reveal", "what was measured beside taste: every run, by product name"),
    Part(REVISIONS, "reveal", "every revision of every measurement, as the log fingerprints it"),
    Part(VERDICT, "reveal", "the verdict by the sealed criteria and weights, with every number it rests on"),
    Part(VERDICT_TABLE, "reveal", "places, totals and criteria of all products as a page for readers"),
    Part(SEALED, "seal", "everything the commitment covers; key, seed and nonce are in it from the reveal on"),
    Part(COMMITMENT, "seal", "SHA-256 over the canonical JSON of sealed.json once it is complete (keys sorted, no "
         "blanks, UTF-8)"),
    Part(SENDS, "closing", "every send of a phone as it was stored; the log holds a fingerprint of each"),
    Part(EVENTS, "seal", "the log, one event a line; each line's hash covers the one before it, and the last export's "
         "event the SHA-256 of every other file here"),
)  # fmt: skip
FILES = tuple(part.name for part in PARTS)
TABLES = tuple(name for name in FILES if name.endswith(".csv") and name != DICTIONARY)
BINARY = frozenset(part.name for part in PARTS if part.binary)

MOST_BYTES = 200_000_000
MOST_FILES = 200


class NotABundleError(ValueError):
    """The file is no bundle of a study; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class Unpacked:
    """A bundle's files. texts : name -> text, without the binary ones; prints : name -> SHA-256 of its bytes."""

    texts: dict[str, str]
    prints: dict[str, str]


def about_text() -> str:
    """What README.txt says."""
    lines = [f"{part.name:16} {part.about} (from {part.since} on)" for part in PARTS]
    return "\n".join(
        (
            "What is in here",
            *lines,
            "",
            "To check it offline:            python -m panel verify THIS.zip",
            "To recompute the headline:      pip install scipy, then python recompute.py",
            "To bring the study back:        python -m panel bring-back THIS.zip",
            "",
        )
    )


def fingerprint(content: bytes) -> str:
    """SHA-256 of a file, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def unpacked(data: bytes) -> Unpacked:
    """The files of the ZIP, read with care: NotABundleError for anything that is no bundle, or unpacks to too much."""
    contents: dict[str, bytes] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > MOST_BYTES:
                raise NotABundleError("This file unpacks to more than a study's bundle can hold.")
            for entry in entries:
                if entry.filename in contents:
                    raise NotABundleError(f"This is no bundle of a study: it holds {entry.filename} twice.")
                contents[entry.filename] = archive.read(entry)  # never more than its stated size
        texts = {name: raw.decode("utf-8") for name, raw in contents.items() if name not in BINARY}
    except (
        zipfile.BadZipFile,
        zlib.error,
        UnicodeDecodeError,
        RuntimeError,
        NotImplementedError,
        EOFError,
        OSError,
    ):
        raise NotABundleError("This is no bundle of a study: it is not a ZIP of text files.") from None
    for name in (SEALED, COMMITMENT, EVENTS):
        if name not in texts:
            raise NotABundleError(f"This is no whole bundle of a study: {name} is missing.")
    return Unpacked(texts, {name: fingerprint(raw) for name, raw in contents.items()})


def part_digests(sealed: Mapping[str, Any]) -> dict[str, Any]:
    """Fingerprints of what is sealed but no secret, part by part, so that a change can be located before the reveal.

    deal : one for each place, in order, shortened to 64 bits; whole : over everything open, in full
    """
    opened = {name: value for name, value in sealed.items() if name not in ("key", "seed", "nonce")}
    places: dict[int, list[Any]] = {}
    for cup in sealed["deal"]:
        places.setdefault(cup["place"], []).append(cup)
    return {
        "whole": digest(opened),
        "plan": digest(sealed["plan"]),
        "labels": digest(sealed["labels"]),
        "spare_codes": digest(sealed["spare_codes"]),
        "deal": [digest(cups)[:16] for _, cups in sorted(places.items())],
    }


def parts_that_differ(logged: Mapping[str, Any], found: Mapping[str, Any]) -> Iterator[str]:
    """In words, which parts are not those that were sealed; nothing where all are."""
    names = {"plan": "the plan", "labels": "the blind labels", "spare_codes": "the spare codes"}
    yield from (words for name, words in names.items() if logged.get(name) != found[name])
    was, now = list(logged.get("deal", [])), list(found["deal"])
    if len(was) != len(now):
        yield f"the number of places: {len(was)} were sealed, {len(now)} are there"
    pairs = enumerate(zip(was, now, strict=False), start=1)
    yield from (f"the serving order of place {place}" for place, (a, b) in pairs if a != b)
    if logged.get("whole") != found["whole"]:
        yield "the whole of it"
