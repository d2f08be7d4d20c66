"""Checking a study's bundle from its files alone: seal, log, answers, results. Stops at nothing, hides nothing.

What it can show: that plan, deal, labels and key are those of the commitment, that no event was changed, dropped
or put in between, that every send is the one the log fingerprinted, that answers and results follow from the
sends. What it cannot: that the log's end was not cut off, unless its last hash is known from elsewhere.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.answer_tables import rows_csv
from panel.analysis.bench_verification import bench_checks
from panel.analysis.checked import Check
from panel.analysis.early_looks import LOOK, look_that_differs
from panel.analysis.recounting import recounted, results_agree
from panel.study import bundle
from panel.study.answers import sent_digest
from panel.study.revisions import CORRECTION
from panel.study.seal import Event, digest, first_broken

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Verification:
    """All checks of a bundle, in order."""

    checks: tuple[Check, ...]

    @property
    def first_failure(self) -> Check | None:
        """The first thing that does not hold."""
        return next((check for check in self.checks if check.holds is False), None)

    def with_check(self, check: Check | None) -> Verification:
        """This and one more check, of a room that this one does not know; the same without one."""
        return self if check is None else Verification((*self.checks, check))

    @property
    def holds(self) -> bool:
        """Whether everything that could be checked holds."""
        return self.first_failure is None


def verify_bundle(data: bytes, head: str = "") -> Verification:
    """Check the ZIP that the export gave.

    head : beginning of the log's last hash as known from elsewhere (closing sheet, a taster's receipt); it
        must be the hash of an event of the log. bundle.NotABundleError where the file is no bundle.
    """
    return Verification(tuple(each_check(data, head)))


def each_check(data: bytes, head: str = "") -> Iterator[Check]:
    """The checks of `verify_bundle` one after the other, the costly counting again last."""
    found = bundle.unpacked(data)
    yield from _checks(found.texts, head.strip().lower())
    yield _as_exported(found)


def _checks(files: dict[str, str], head: str) -> Iterator[Check]:
    try:
        events = [_event(number, line) for number, line in enumerate(_lines(files, bundle.EVENTS), start=1)]
        sealed = _parsed(bundle.SEALED, files[bundle.SEALED])
        sends = _lines(files, bundle.SENDS)
    except ValueError as error:
        yield Check("files", False, f"A file of the bundle is not what it should be: {error}.")
        return
    yield _known_files(files)
    yield _chain(events)
    yield _anchor(events, head)
    try:
        yield _parts(sealed, events)
        yield _commitment(files, sealed, events)
        yield from _key(files, sealed)
        yield _sends(files, sealed, events, sends)
        yield from _answers_and_results(files, sealed, events, sends)
        yield from bench_checks(files, events)
    except (ValueError, TypeError, LookupError, AttributeError):
        text = "The bundle's files do not fit each other, so it cannot be counted again: one was changed or is missing."
        yield Check("files", False, text)


def _lines(files: dict[str, str], name: str) -> list[dict[str, Any]]:
    # Not splitlines(): tasters may write the other separators that Unicode has.
    rows = files.get(name, "").removesuffix("\n").split("\n") if files.get(name) else []
    return [_parsed(f"{name}, line {number}", row) for number, row in enumerate(rows, start=1)]


def _event(number: int, line: dict[str, Any]) -> Event:
    try:
        return Event(**line)
    except TypeError:
        raise ValueError(f"{bundle.EVENTS}, line {number} is no event of a log") from None


def _parsed(where: str, text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError:
        raise ValueError(f"{where} cannot be read") from None
    if not isinstance(found, dict):
        raise ValueError(f"{where} is no record")
    return found


def _known_files(files: dict[str, str]) -> Check:
    foreign = sorted(set(files) - set(bundle.FILES))
    if foreign:
        return Check("files", False, f"{foreign[0]} does not belong to a study's bundle: put in later.")
    return Check("files", True, "Every file can be read and belongs to a bundle.")


def _as_exported(found: bundle.Unpacked) -> Check:
    """Whether every file is the one that the last export put in; the log itself is held by its chain."""
    try:
        exports = [line for line in _lines(found.texts, bundle.EVENTS) if line.get("kind") == "exported"]
        prints = dict(exports[-1]["detail"]["files"]) if exports else None
    except (ValueError, TypeError, KeyError):
        prints = None
    if prints is None:
        return Check("files as exported", False, "The log does not say which files were exported.")
    here = {name: mark for name, mark in found.prints.items() if name != bundle.EVENTS}
    for name in sorted(here.keys() | prints.keys()):
        if name not in here:
            return Check("files as exported", False, f"{name} was exported and is missing.")
        if here[name] != prints.get(name):
            return Check("files as exported", False, f"{name} is not the file that was exported.")
    return Check(
        "files as exported", True, f"All {len(here)} files beside the log are those that were exported."
    )


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


def _parts(sealed: dict[str, Any], events: list[Event]) -> Check:
    logged = next((event.detail.get("parts") for event in events if event.kind == "study sealed"), None)
    if logged is None:
        return Check("plan and serving orders", False, "The log does not say what was sealed.")
    changed = next(bundle.parts_that_differ(logged, bundle.part_digests(sealed)), "")
    if changed:
        text = f"Not as it was sealed: {changed}."
        return Check("plan and serving orders", False, text)
    return Check("plan and serving orders", True, "Plan, serving orders and labels are those the log names.")


def _commitment(files: dict[str, str], sealed: dict[str, Any], events: list[Event]) -> Check:
    published = files[bundle.COMMITMENT].strip()
    logged = [event.detail.get("commitment") for event in events if event.kind == "study sealed"]
    if logged != [published]:
        return Check("commitment", False, "The log's commitment is not the one in the bundle.")
    revealed = any(event.kind == "names revealed" for event in events)
    if "nonce" not in sealed and not revealed:
        text = "The names are not revealed yet: the commitment stands in the log and can be checked after the reveal."
        return Check("commitment", None, text)
    if "nonce" not in sealed or digest(sealed) != published:
        text = "Plan, serving orders, labels or key are not those that were sealed: the commitment does not fit them."
        return Check("commitment", False, text)
    return Check("commitment", True, "Plan, serving orders, labels and key are those that were sealed.")


def _key(files: dict[str, str], sealed: dict[str, Any]) -> Iterator[Check]:
    if "key" not in sealed and bundle.KEY not in files:
        return
    wanted = key_csv(sealed) if "key" in sealed else ""
    if files.get(bundle.KEY, "") != wanted:
        where = _first_difference(files.get(bundle.KEY, ""), wanted)
        yield Check("key", False, f"{bundle.KEY} is not the key that was sealed: {where}.")
    else:
        yield Check("key", True, "The table of names is the key that was sealed.")


def key_csv(sealed: dict[str, Any]) -> str:
    """Which blind letter was which product, as a table, from what is sealed once the key is in it."""
    rows = [(sealed["labels"][sample]["blind_label"], stored) for sample, stored in sealed["key"].items()]
    return rows_csv(
        {"blind_label": label, **stored, "allergens": " ".join(stored["allergens"])}
        for label, stored in sorted(rows, key=lambda row: (len(row[0]), row[0]))
    )


def _first_difference(found: str, wanted: str) -> str:
    """Where two tables first differ, in words."""
    ours, theirs = found.split("\n"), wanted.split("\n")
    pairs = enumerate(zip(ours, theirs, strict=False), start=1)
    line = next((number for number, (a, b) in pairs if a != b), min(len(ours), len(theirs)) + 1)
    return f"a row was changed, removed or moved at line {line}"


def _sends(
    files: dict[str, str], sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]
) -> Check:
    logged = [event for event in events if event.kind == "answers received"]
    if bundle.SENDS not in files:
        shown_from = "report signed" if sealed["plan"].get("alone") else "sitting closed"
        closed = any(event.kind == shown_from for event in events)
        text = "The sitting was not closed when the bundle was made: no answers in it."
        gone = f"The sitting was closed, but {bundle.SENDS} is missing."
        return Check("answers sent", False if closed else None, gone if closed else text)
    erased = {event.detail["attempt"] for event in events if event.kind == "person erased"}
    may_correct = bool(sealed["plan"].get("pace", {}).get("way_back"))
    for event, send in zip(logged, sends, strict=False):
        problem = _send_problem(event, send, erased, may_correct=may_correct)
        if problem:
            return Check("answers sent", False, problem)
    if len(sends) < len(logged):
        text = f"The answers of event {logged[len(sends)].number} are missing from {bundle.SENDS}."
        return Check("answers sent", False, text)
    if len(sends) > len(logged):
        text = f"Line {len(logged) + 1} of {bundle.SENDS} is not in the log: put in later."
        return Check("answers sent", False, text)
    return Check("answers sent", True, f"All {len(logged)} sends are those that were received.")


def _send_problem(event: Event, send: dict[str, Any], erased: set[str], *, may_correct: bool) -> str:
    detail = event.detail
    same = all(send[name] == detail[name] for name in ("submission", "attempt", "task", "outcome", "late"))
    fits = same and sent_digest(send["submission"], send["sent"], send["erased"]) == detail["digest"]
    if not fits:
        return f"The answers of event {event.number} are not those that were received, or not in that order."
    if send["outcome"] == CORRECTION and not may_correct:
        return f"Event {event.number} corrects an answered screen, which the sealed plan does not allow."
    if send["erased"] and send["attempt"] not in erased:
        return f"Words are missing from the answers of event {event.number}, and the log knows of no erasure."
    return ""


def _answers_and_results(
    files: dict[str, str], sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]
) -> Iterator[Check]:
    if bundle.SENDS not in files:
        return
    found = recounted(sealed, events, sends)
    for name, rows in ((bundle.ANSWERS, found.answers), (bundle.CHOICES, found.choices)):
        if files.get(name, "") != rows:
            where = _first_difference(files.get(name, ""), rows)
            yield Check("answers", False, f"{name} is not what the sends give: {where}.")
            return
    yield Check("answers", True, "The tables of answers are what the sends give.")
    yield from _looks(sealed, events, sends)
    yield _results(files, events, found.report)


def _looks(sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]) -> Iterator[Check]:
    looks = sum(event.kind == LOOK for event in events)
    if not looks and not sealed["plan"].get("sequential"):
        return
    problem = look_that_differs(sealed, events, sends)
    if problem:
        yield Check("early looks", False, f"An early look is not what the sealed plan gives: {problem}.")
    else:
        said = f"All {looks} early looks are" if looks != 1 else "The one early look is"
        yield Check("early looks", True, f"{said} what the sealed plan gives for the answers by then.")


def _results(files: dict[str, str], events: list[Event], again: dict[str, Any]) -> Check:
    signed = [event for event in events if event.kind == "report signed"]
    if bundle.REPORT not in files and not signed:
        return Check("results", None, "The results are not signed yet.")
    if bundle.REPORT not in files or not signed:
        return Check("results", False, f"The log and {bundle.REPORT} do not agree on whether it is signed.")
    report = _parsed(bundle.REPORT, files[bundle.REPORT])
    summary = {name: value for name, value in signed[0].detail.items() if name != "signed by"}
    if {name: value for name, value in report.items() if name != "report"} != summary:
        return Check("results", False, "What the bundle says of the signature is not what the log says.")
    if digest(report["report"]) != summary["results"]:
        return Check("results", False, "The results in the bundle are not those that were signed.")
    difference = results_agree(report["report"], again)
    if difference:
        text = f"Computed again, the results differ from the signed ones: {difference}."
        return Check("results", False, text)
    return Check("results", True, "Computed again from the answers, the results are those that were signed.")
