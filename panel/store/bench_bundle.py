"""The bench in a study's bundle: every revision and every further measurand as a line, and back again from them."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, select

from panel.store.bench import all_revisions, as_document, further_measurands, measurands_of
from panel.store.bench_tables import FurtherMeasurand, Instrument, Measurement, Product
from panel.store.database import now
from panel.store.register import enter_revealed
from panel.study.draft_reader import name_key
from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from panel.store.tables import Study

Row = dict[str, Any]


def bench_lines(session: Session, study_id: str) -> list[Row]:
    """What was added to be measured, then every revision of every entry in the order recorded."""
    further = [
        {
            "kind": "measurand",
            "key": row.key,
            "content": json.loads(row.content),
            "reason": row.reason,
            "added_by": row.added_by,
            "added_at": row.added_at.isoformat(timespec="microseconds"),
        }
        for row in further_measurands(session, study_id)
    ]
    rows = all_revisions(session, study_id)
    return [*further, *({"kind": "revision", **as_document(session, row)} for row in rows)]


def bring_bench_back(session: Session, study: Study, lines: list[Row]) -> None:
    """The rows that the lines tell of, for a study that is brought back revealed. Pictures are in no bundle."""
    enter_revealed(session, study)
    for line in lines:
        if line["kind"] == "measurand":
            session.add(_further(study.id, line))
    for line in lines:
        if line["kind"] == "revision":
            session.add(_measurement(session, study, line))
    session.flush()


def _further(study_id: str, line: Row) -> FurtherMeasurand:
    return FurtherMeasurand(
        study_id=study_id,
        key=line["key"],
        content=json.dumps(line["content"], ensure_ascii=False, sort_keys=True),
        reason=line["reason"],
        added_by=line["added_by"],
        added_at=datetime.fromisoformat(line["added_at"]),
    )


def _measurement(session: Session, study: Study, line: Row) -> Measurement:
    fields = {name: value for name, value in line.items() if name not in ("kind", "product", "instrument")}
    for name in ("series", "laps", "answers"):
        fields[name] = json.dumps(fields[name])
    for name in ("measured_at", "recorded_at"):
        fields[name] = datetime.fromisoformat(fields[name]) if fields[name] else None
    product = session.exec(select(Product).where(Product.name_key == name_key(line["product"]))).one()
    return Measurement(
        **fields, study_id=study.id, product_id=product.id, instrument_id=_instrument(session, study, line)
    )


def _instrument(session: Session, study: Study, line: Row) -> str | None:
    """The instrument by its name; one that is not here comes back as put away, since it may be used no more."""
    if not line["instrument"]:
        return None
    known = session.exec(select(Instrument).where(Instrument.name == line["instrument"])).first()
    if known is None:
        quantity = _quantity_of(session, study, line["measurand"])
        unit = next(iter(QUANTITIES[quantity].units), "")
        known = Instrument(
            name=line["instrument"], quantity=quantity, unit=unit, resolution=line["resolution"],
            accuracy=line["accuracy"], added_by="brought back", added_at=now(), retired_at=now(),
        )  # fmt: skip
        session.add(known)
        session.flush()
    return known.id


def _quantity_of(session: Session, study: Study, key: str) -> str:
    return next(one.quantity for one in measurands_of(session, study) if one.key == key)
