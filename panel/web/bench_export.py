"""The bench's data to take away, by product name: for whoever measures at any time, in the bundle after the reveal."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response

from panel.analysis.answer_tables import rows_csv
from panel.store import studies
from panel.store.bench import measurands_of, measurements_of
from panel.store.bench_bundle import bench_lines
from panel.store.instruments import instrument_names
from panel.store.register import products_of
from panel.study import bundle, dictionary
from panel.study.life import Move
from panel.study.quantities import QUANTITIES
from panel.web.access import BenchsStudy
from panel.web.pages import InHouse

if TYPE_CHECKING:
    from sqlmodel import Session

    from panel.store.bench_tables import Measurement
    from panel.store.tables import Study

router = APIRouter()


@router.get("/studies/{study_id}/bench/table.csv")
def export_runs(house: InHouse, study: BenchsStudy) -> Response:
    """Every run that stands, one row each; a series has a row for each reading."""
    studies.require(study, Move.MEASURE)
    with house.database.read() as session:
        text = runs_csv(session, study)
    headers = {
        "Content-Disposition": f'attachment; filename="bench-{study.id}.csv"',
        "Cache-Control": "no-store",
    }
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


def bench_files(session: Session, study: Study) -> dict[str, str | bytes]:
    """What the bundle holds of the bench once the names are revealed; nothing before, and nothing without a bench."""
    if not study.key or not (lines := bench_lines(session, study.id)):
        return {}
    text = "".join(json.dumps(line, ensure_ascii=False, sort_keys=True) + "\n" for line in lines)
    return {bundle.BENCH: runs_csv(session, study), bundle.REVISIONS: text}


def runs_csv(session: Session, study: Study) -> str:
    """All runs that stand, by measurand, product and run."""
    products = {product.id: product for product in products_of(session, study.id)}
    measurands = {one.key: one for one in measurands_of(session, study)}
    instruments = instrument_names(session)
    rows = [row for row in measurements_of(session, study.id) if row.product_id in products]
    rows.sort(key=lambda row: (row.measurand, products[row.product_id].name_key, row.run))
    found: list[dict[str, Any]] = []
    for row in rows:
        measurand = measurands[row.measurand]
        units = QUANTITIES[measurand.quantity].units
        head = {
            "measurand": measurand.name,
            "sealed": "no" if measurand.key.startswith("x") else "yes",
            "product": products[row.product_id].name,
            "run": row.run,
        }
        tail = _tail(row, instruments)
        unit = row.currency or (units[0] if units else "")
        for minutes, value in json.loads(row.series) or [("", row.value)]:
            at = {"minutes": minutes, "value": "" if value is None else value, "unit": unit}
            found.append(head | at | tail)
    return rows_csv(found) or ",".join(dictionary.COLUMNS[bundle.BENCH]) + "\n"


def _tail(row: Measurement, instruments: dict[str, str]) -> dict[str, Any]:
    return {
        "typed": row.typed,
        "laps_s": " ".join(f"{lap:g}" for lap in json.loads(row.laps)),
        "answers": " ".join(f"{answer}" for answer in json.loads(row.answers)),
        "room": "" if row.ambient is None else row.ambient,
        "servings": "" if row.servings is None else row.servings,
        "package": row.package,
        "priced_on": row.priced_on,
        "instrument": instruments.get(row.instrument_id or "", ""),
        "resolution": "" if row.resolution is None else row.resolution,
        "accuracy": "" if row.accuracy is None else row.accuracy,
        "by": row.measured_by,
        "recorded_at": row.recorded_at.isoformat(timespec="seconds"),
        "after_reveal": "yes" if row.after_reveal else "no",
        "revision": row.revision,
        "does_not_count": row.invalid,
        "note": row.note,
    }
