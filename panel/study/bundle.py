"""The files of a study's bundle: their names, and what stands in each. Written by the export, read by `verify`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panel.study.seal import digest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

SEALED = "sealed.json"
COMMITMENT = "commitment.txt"
EVENTS = "events.jsonl"
SENDS = "sends.jsonl"
ANSWERS = "answers.csv"
CHOICES = "choices.csv"
REPORT = "report.json"
KEY = "key.csv"
README = "README.txt"
FILES = (SEALED, COMMITMENT, EVENTS, SENDS, ANSWERS, CHOICES, REPORT, KEY, README)

ABOUT = f"""\
What is in here
{SEALED}    everything the commitment covers; key, seed and nonce are in it from the reveal on
{COMMITMENT} SHA-256 over the canonical JSON of {SEALED} once it is complete
             (keys sorted, no blanks, UTF-8)
{EVENTS}   the log, one event a line; each line's hash covers the one before it
{SENDS}    every send of a phone as it was stored; the log holds a fingerprint of each (from closing on)
{ANSWERS}    every answer by blind letter (from closing on); {CHOICES} for forced choice
{REPORT}    the signed results (from signing on)
{KEY}        which blind letter was which product (from the reveal on)

To check it offline: python -m panel verify THIS.zip
"""


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
