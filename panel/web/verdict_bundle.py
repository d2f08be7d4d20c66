"""The verdict in a study's bundle: written after the reveal, and computed again from the bundle's own files."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

from panel.analysis.checked import Check
from panel.analysis.recounting import results_agree
from panel.bench.figures import Run
from panel.study import bundle
from panel.study.draft_reader import name_key
from panel.study.plan import plan_from_dict
from panel.web.verdict_inputs import Counted, VerdictInputs, has_verdict, inputs_of, joined

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.web.house import House

WHAT = "verdict"


def verdict_file(house: House, study: Study) -> str:
    """The verdict with the sealed weights, all of its numbers, as JSON; "" before the reveal and without criteria."""
    if not has_verdict(study):
        return ""
    return (
        json.dumps(as_document(inputs_of(house, study)), ensure_ascii=False, sort_keys=True, indent=1) + "\n"
    )


def as_document(inputs: VerdictInputs) -> dict[str, Any]:
    """The verdict in plain JSON types, with the names of the key that the register did not know."""
    return {"strangers": list(inputs.strangers), "verdict": inputs.verdict().to_dict()}


def verdict_check(data: bytes) -> Check | None:
    """Whether plan, answers, key and measurements of the bundle give its verdict; None where there is none to give.

    Assumes that the other files hold (`analysis.verification`); bundle.NotABundleError where it is no bundle.
    """
    files = bundle.unpacked(data).texts
    try:
        sealed = json.loads(files[bundle.SEALED])
        if not sealed["plan"].get("bench", {}).get("criteria"):
            return None
        if "key" not in sealed:
            return Check(WHAT, None, "The names are not revealed yet: taste and bench meet at the reveal.")
        if bundle.VERDICT not in files:
            return Check(WHAT, False, f"Criteria were sealed, but {bundle.VERDICT} is missing.")
        stored = json.loads(files[bundle.VERDICT])
        again = json.loads(json.dumps(as_document(_inputs_in(files, sealed, stored["strangers"]))))
        difference = results_agree(stored, again, "verdict")
    except (ValueError, TypeError, LookupError, AttributeError):
        return Check(WHAT, False, "The files do not fit each other, so no verdict can be computed.")
    if difference:
        return Check(WHAT, False, f"Computed again, it differs from {bundle.VERDICT}: {difference}.")
    return Check(
        WHAT, True, "Computed again from plan, answers, key and measurements, it is the one in the bundle."
    )


def _inputs_in(files: dict[str, str], sealed: dict[str, Any], strangers: list[str]) -> VerdictInputs:
    plan = plan_from_dict(sealed["plan"])
    key = {sealed["labels"][sample]["blind_label"]: one["name"] for sample, one in sealed["key"].items()}
    measured = {one.key for one in plan.bench.measurands}
    lines = [json.loads(line) for line in files.get(bundle.REVISIONS, "").split("\n") if line]
    rows = [line for line in lines if line["kind"] == "revision" and line["measurand"] in measured]
    before = {row["entry"]: row for row in sorted(rows, key=_revision) if not row["after_reveal"]}
    return joined(
        plan,
        key,
        [name for name in key.values() if name not in strangers],
        [_counted(row) for row in _rows(files) if row["late"] == "no" and not row["left_out"]],
        [_run(row) for row in before.values()],
    )


def _revision(row: dict[str, Any]) -> int:
    return int(row["revision"])


def _rows(files: dict[str, str]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files.get(bundle.ANSWERS, ""))))


def _counted(row: dict[str, str]) -> Counted:
    try:
        value: float | str = float(row["value"])
    except ValueError:
        value = row["value"]
    return Counted(row["taster"], row["sample"], row["question"], row["condition"], value)


def _run(row: dict[str, Any]) -> Run:
    return Run(
        id=row["entry"],
        measurand=row["measurand"],
        product=name_key(row["product"]),
        run=row["run"],
        value=row["value"],
        series=tuple((minutes, value) for minutes, value in row["series"]),
        ambient=row["ambient"],
        laps=tuple(row["laps"]),
        answers=tuple(row["answers"]),
        servings=row["servings"],
        instrument=row["instrument"],
        resolution=row["resolution"],
        accuracy=row["accuracy"],
        by=row["measured_by"],
        at=row["priced_on"] or row["measured_at"] or row["recorded_at"],
        note=row["note"],
        invalid=row["invalid"],
    )
