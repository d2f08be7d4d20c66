"""Checking a study's bundle from its files alone: seal, log, answers, results. Stops at nothing, hides nothing.

What it can show: that plan, deal, labels and key are those of the commitment, that no event was changed, dropped
or put in between, that every send is the one the log fingerprinted, that answers and results follow from the
sends. What it cannot: that the log's end was not cut off, unless its last hash is known from elsewhere.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.recounting import recounted, results_agree
from panel.study import bundle
from panel.study.answers import sent_digest
from panel.study.seal import Event, digest, first_broken

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at. holds: True, False, or None where the bundle is too young for it."""

    what: str
    holds: bool | None
    text: str


@dataclass(frozen=True, slots=True)
class Verification:
    """All checks of a bundle, in order."""

    checks: tuple[Check, ...]

    @property
    def first_failure(self) -> Check | None:
        """The first thing that does not hold."""
        return next((check for check in self.checks if check.holds is False), None)

    @property
    def holds(self) -> bool:
        """Whether everything that could be checked holds."""
        return self.first_failure is None


class NotABundleError(ValueError):
    """The file is no bundle of a study; the message says what is missing."""


def verify_bundle(data: bytes, head: str = "") -> Verification:
    """Check the ZIP that the export gave.

    head : beginning of the log's last hash as known from elsewhere (closing sheet, a taster's receipt); it
        must be the hash of an event of the log. NotABundleError where the file is no bundle.
    """
    files = _unpacked(data)
    return Verification(tuple(_checks(files, head.strip().lower())))


def _unpacked(data: bytes) -> dict[str, str]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES:
                raise NotABundleError("This file unpacks to more than a study's bundle can hold.")
            files = {name: archive.read(name).decode("utf-8") for name in archive.namelist()}
    except (zipfile.BadZipFile, UnicodeDecodeError):
        raise NotABundleError("This is no bundle of a study: it is not a ZIP of text files.") from None
    for name in (bundle.SEALED, bundle.COMMITMENT, bundle.EVENTS):
        if name not in files:
            raise NotABundleError(f"This is no whole bundle of a study: {name} is missing.")
    return files


def _checks(files: dict[str, str], head: str) -> Iterator[Check]:
    try:
        events = [Event(**json.loads(line)) for line in files[bundle.EVENTS].splitlines()]
        sealed: dict[str, Any] = json.loads(files[bundle.SEALED])
        sends = [json.loads(line) for line in files.get(bundle.SENDS, "").splitlines()]
    except (ValueError, TypeError):
        yield Check("files", False, "A file of the bundle is not what it should be: it cannot be read.")
        return
    yield _chain(events)
    yield _anchor(events, head)
    yield _commitment(files, sealed, events)
    yield _sends(files, events, sends)
    yield from _answers_and_results(files, sealed, events, sends)


def _chain(events: list[Event]) -> Check:
    broken = first_broken(events)
    if broken is not None:
        text = f"Event {broken} of the log does not follow from the ones before it: it was changed, or one is missing."
        return Check("log", False, text)
    return Check("log", True, f"All {len(events)} events of the log follow from each other.")


def _anchor(events: list[Event], head: str) -> Check:
    if not head:
        text = "No hash from outside was given, so a cut-off end of the log would not show. Use --head."
        return Check("end of the log", None, text)
    for event in events:
        if event.hash.startswith(head):
            after = len(events) - event.number
            text = f"The hash from outside is that of event {event.number}; {after} came after it."
            return Check("end of the log", True, text)
    return Check(
        "end of the log", False, "The hash from outside is not in the log: its end was cut off or changed."
    )


def _commitment(files: dict[str, str], sealed: dict[str, Any], events: list[Event]) -> Check:
    published = files[bundle.COMMITMENT].strip()
    logged = [event.detail.get("commitment") for event in events if event.kind == "study sealed"]
    if logged != [published]:
        return Check("commitment", False, "The log's commitment is not the one in the bundle.")
    if "nonce" not in sealed:
        text = "The names are not revealed yet: the commitment stands in the log and can be checked after the reveal."
        return Check("commitment", None, text)
    if digest(sealed) != published:
        text = "Plan, serving orders, labels or key are not those that were sealed: the commitment does not fit them."
        return Check("commitment", False, text)
    return Check("commitment", True, "Plan, serving orders, labels and key are those that were sealed.")


def _sends(files: dict[str, str], events: list[Event], sends: list[dict[str, Any]]) -> Check:
    logged = [event for event in events if event.kind == "answers received"]
    if bundle.SENDS not in files:
        return Check(
            "answers sent", None, "The sitting was not closed when the bundle was made: no answers in it."
        )
    held = {send["submission"]: send for send in sends}
    for event in logged:
        send = held.pop(event.detail["submission"], None)
        if send is None:
            return Check(
                "answers sent", False, f"The answers of event {event.number} are missing from {bundle.SENDS}."
            )
        same = all(send[name] == event.detail[name] for name in ("attempt", "task", "outcome", "late"))
        if not same or sent_digest(send["submission"], send["sent"]) != event.detail["digest"]:
            return Check(
                "answers sent",
                False,
                f"The answers of event {event.number} are not those that were received.",
            )
    if held:
        return Check(
            "answers sent", False, f"{len(held)} sends in {bundle.SENDS} are not in the log: put in later."
        )
    return Check("answers sent", True, f"All {len(logged)} sends are those that were received.")


def _answers_and_results(
    files: dict[str, str], sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]
) -> Iterator[Check]:
    if bundle.SENDS not in files:
        return
    found = recounted(sealed, events, sends)
    for name, rows in ((bundle.ANSWERS, found.answers), (bundle.CHOICES, found.choices)):
        if files.get(name, "") != rows:
            text = f"{name} is not what the sends give: a row was changed, removed or moved."
            yield Check("answers", False, text)
            return
    yield Check("answers", True, "The tables of answers are what the sends give.")
    signed = [event for event in events if event.kind == "report signed"]
    if bundle.REPORT not in files or not signed:
        yield Check(
            "results", None if not signed else False, "The results are not signed, or not in the bundle."
        )
        return
    report: dict[str, Any] = json.loads(files[bundle.REPORT])
    if digest(report["report"]) != signed[0].detail["results"]:
        yield Check("results", False, "The results in the bundle are not those that were signed.")
        return
    difference = results_agree(report["report"], found.report)
    if difference:
        yield Check(
            "results", False, f"Computed again, the results differ from the signed ones: {difference}."
        )
    else:
        yield Check(
            "results", True, "Computed again from the answers, the results are those that were signed."
        )
