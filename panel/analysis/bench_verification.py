"""Checking a bundle's measurements: each revision is the one the log fingerprinted, in its order, none more or less."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from panel.analysis.checked import Check
from panel.study import bundle
from panel.study.seal import Event, digest

if TYPE_CHECKING:
    from collections.abc import Iterator

WHAT = "measurements"


def bench_checks(files: dict[str, str], events: list[Event]) -> Iterator[Check]:
    """The revisions in the bundle against the log; nothing where the bench was never used."""
    logged = [event for event in events if "revision" in event.detail and "entry" in event.detail]
    added = [event for event in events if event.kind == "measurand added"]
    text = files.get(bundle.REVISIONS, "")
    if not logged and not added and not text:
        return
    if not any(event.kind == "names revealed" for event in events):
        said = "The names are not revealed yet: measurements leave the house after the reveal."
        yield Check(WHAT, None, said)
        return
    lines: list[dict[str, Any]] = [json.loads(line) for line in text.removesuffix("\n").split("\n") if line]
    further = [line for line in lines if line["kind"] == "measurand"]
    revisions = [line for line in lines if line["kind"] == "revision"]
    problem = _differs(logged, revisions) or _other_measurands(added, further)
    if problem:
        yield Check(WHAT, False, problem)
    else:
        yield Check(
            WHAT, True, f"All {len(revisions)} measurements and changes to them are those of the log."
        )


def _differs(logged: list[Event], revisions: list[dict[str, Any]]) -> str:
    prints = {(event.detail["entry"], event.detail["revision"]): event for event in logged}
    for line in revisions:
        row = {name: value for name, value in line.items() if name != "kind"}
        event = prints.pop((line["entry"], line["revision"]), None)
        if event is None:
            return (
                f"A measurement of {line['product']} in {bundle.REVISIONS} is not in the log: put in later."
            )
        if digest(row) != event.detail["digest"]:
            return f"The measurement of event {event.number} is not the one that was recorded."
    if prints:
        return f"The measurement of event {min(e.number for e in prints.values())} is missing from {bundle.REVISIONS}."
    return ""


def _other_measurands(added: list[Event], further: list[dict[str, Any]]) -> str:
    logged = {event.detail["key"]: event.detail["digest"] for event in added}
    found = {line["key"]: digest({**line["content"], "key": ""}) for line in further}
    return "" if logged == found else "What was added to be measured is not what the log says."
