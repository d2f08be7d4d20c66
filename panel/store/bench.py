"""Measurements: each entry once, each change a further revision, each with an event that tells no value.

The chain may be exported before the reveal. Its events hold the entry's id and a fingerprint under a random number,
so that nobody can find a value or a product by trying; after the reveal the rows are there to be held against it.
"""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass, replace
from datetime import UTC
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, func, select

from panel.store.bench_tables import FurtherMeasurand, Instrument, Measurement, Product, StudyProduct
from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.random_ids import new_id
from panel.store.studies import plan_of, require
from panel.study.life import Move, State
from panel.study.measuring import Measurand
from panel.study.quantities import QUANTITIES
from panel.study.seal import digest

if TYPE_CHECKING:
    from datetime import datetime

    from panel.store.tables import Study

LEAST_NAME = 16  # characters of a submission's name, so that two never meet by chance


@dataclass(frozen=True, slots=True)
class Entered:
    """One run as it was read from a form: numbers in the quantity's first unit, beside what was typed."""

    measurand: str
    product_id: str
    value: float | None = None
    typed: str = ""
    unit: str = ""
    series: tuple[tuple[float, float], ...] = ()
    laps: tuple[float, ...] = ()
    answers: tuple[int, ...] = ()
    ambient: float | None = None
    servings: float | None = None
    instrument_id: str | None = None
    measured_by: str = ""
    measured_at: datetime | None = None
    currency: str = ""
    priced_on: str = ""
    package: str = ""
    note: str = ""
    invalid: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a send. repeated: it had come before, and changed nothing."""

    entry: str
    run: int
    measurement_id: str
    repeated: bool


def measurands_of(session: Session, study: Study) -> tuple[Measurand, ...]:
    """What is measured: what was sealed, then what was added since."""
    further = further_measurands(session, study.id)
    return (*plan_of(study).bench.measurands, *(measurand_of(row) for row in further))


def further_measurands(session: Session, study_id: str) -> list[FurtherMeasurand]:
    """What was added after sealing, in order."""
    query = select(FurtherMeasurand).where(FurtherMeasurand.study_id == study_id)
    return list(session.exec(query.order_by(col(FurtherMeasurand.added_at), col(FurtherMeasurand.id))))


def measurand_of(row: FurtherMeasurand) -> Measurand:
    """The measurand that a row of the table holds."""
    return Measurand(**json.loads(row.content))


def add_measurand(session: Session, study_id: str, actor: str, measurand: Measurand, reason: str) -> str:
    """Measure something more, marked as exploratory; its key. ValueError, in the user's words, without a reason."""
    study = locked_study(session, study_id)
    require(study, Move.MEASURE)
    if not reason:
        raise ValueError("Write why this is measured as well. It was not sealed, and the report says so.")
    key = f"x{len(further_measurands(session, study_id)) + 1}"
    fields = {name: getattr(measurand, name) for name in Measurand.__dataclass_fields__} | {"key": ""}
    content = json.dumps(fields | {"key": key}, ensure_ascii=False, sort_keys=True)
    session.add(
        FurtherMeasurand(
            study_id=study_id, key=key, content=content, reason=reason, added_by=actor, added_at=now()
        )
    )
    append(session, study_id, actor, "measurand added", {"key": key, "digest": digest(fields)})
    return key


def record(session: Session, study_id: str, actor: str, submission_id: str, entered: Entered) -> Kept:
    """Keep a further run of this measurand for this product, once, whatever is sent again.

    ForbiddenMoveError where the study does not take it yet; LookupError for a product or measurand of no concern.
    """
    study = locked_study(session, study_id)
    if (before := _sent_before(session, study_id, submission_id)) is not None:
        return before
    _require_open(session, study, entered)
    runs = select(func.max(Measurement.run)).where(
        Measurement.study_id == study_id,
        Measurement.measurand == entered.measurand,
        Measurement.product_id == entered.product_id,
    )
    run = (session.exec(runs).one() or 0) + 1
    row = _row(session, study, actor, submission_id, entered, entry=new_id(), revision=1, run=run)
    return _keep(session, row, actor, "measured")


def correct(
    session: Session, study_id: str, actor: str, submission_id: str, entry: str, entered: Entered, reason: str
) -> Kept:
    """A further revision of an entry. The one before is kept. reason: why.

    Product, measurand and run stay, and so do whether the run counts and, where no other moment is said, when it was
    measured: a slip of the pen that is put right changes neither.
    """
    study = locked_study(session, study_id)
    if (before := _sent_before(session, study_id, submission_id)) is not None:
        return before
    latest = latest_of(session, study_id, entry)
    entered = replace(
        entered,
        measurand=latest.measurand,
        product_id=latest.product_id,
        measured_at=entered.measured_at or _measured(latest),
        invalid=latest.invalid,
    )
    _require_open(session, study, entered)
    revised = {"entry": entry, "revision": latest.revision + 1, "run": latest.run, "reason": reason}
    row = _row(session, study, actor, submission_id, entered, **revised)
    return _keep(session, row, actor, "measurement corrected")


def judge_run(
    session: Session, study_id: str, actor: str, submission_id: str, entry: str, invalid: str, reason: str
) -> Kept:
    """Say that a run does not count (invalid: why), or that it counts after all (invalid: ""). The run is kept."""
    study = locked_study(session, study_id)
    require(study, Move.MEASURE)
    if (before := _sent_before(session, study_id, submission_id)) is not None:
        return before
    latest = latest_of(session, study_id, entry)
    changed = {"id": new_id(), "submission_id": submission_id, "revision": latest.revision + 1}
    changed |= {"invalid": invalid, "reason": reason, "measured_at": _measured(latest)}
    changed |= {"recorded_by": actor, "recorded_at": now()}
    changed |= {"nonce": secrets.token_hex(16), "after_reveal": study.state == State.REVEALED}
    row = Measurement(**(latest.model_dump() | changed))
    return _keep(session, row, actor, "run marked invalid" if invalid else "run counted again")


def latest_of(session: Session, study_id: str, entry: str) -> Measurement:
    """The revision of this entry that counts; LookupError where the study has no such entry."""
    history = history_of(session, study_id, entry)
    if not history:
        raise LookupError(f"study {study_id} has no entry {entry!r}")
    return history[-1]


def history_of(session: Session, study_id: str, entry: str) -> list[Measurement]:
    """All revisions of one entry, first one first."""
    query = select(Measurement).where(Measurement.study_id == study_id, Measurement.entry == entry)
    return list(session.exec(query.order_by(col(Measurement.revision))))


def measurements_of(session: Session, study_id: str) -> list[Measurement]:
    """The revisions that count, by measurand, product and run. Never sorted by anything that a seal holds."""
    query = select(Measurement).where(Measurement.study_id == study_id)
    latest: dict[str, Measurement] = {}
    for row in session.exec(query.order_by(col(Measurement.revision))):
        latest[row.entry] = row
    return sorted(latest.values(), key=lambda row: (row.measurand, row.product_id, row.run, row.entry))


def all_revisions(session: Session, study_id: str) -> list[Measurement]:
    """Every revision of every entry in the order in which they were recorded."""
    query = select(Measurement).where(Measurement.study_id == study_id)
    return list(session.exec(query.order_by(col(Measurement.recorded_at), col(Measurement.id))))


def as_document(session: Session, row: Measurement) -> dict[str, Any]:
    """A revision in plain JSON types, as the log's fingerprint covers it and the bundle holds it.

    Product and instrument stand in it by name, so that it says the same in any house.
    """
    document = row.model_dump(exclude={"product_id", "instrument_id", "study_id"})
    document["product"] = session.get_one(Product, row.product_id).name
    instrument = session.get(Instrument, row.instrument_id) if row.instrument_id else None
    document["instrument"] = instrument.name if instrument else ""
    for name in ("series", "laps", "answers"):
        document[name] = json.loads(document[name])
    for name in ("measured_at", "recorded_at"):
        utc = document[name].astimezone(UTC) if document[name] else None
        document[name] = utc.isoformat(timespec="microseconds") if utc else None
    return document


def _measured(row: Measurement) -> datetime:
    """When a run was measured; when it was written down, where nobody said."""
    return row.measured_at or row.recorded_at


def _sent_before(session: Session, study_id: str, submission_id: str) -> Kept | None:
    if len(submission_id) < LEAST_NAME:
        raise ValueError("This form came without its own name. Open the page again and send it from there.")
    found = session.exec(select(Measurement).where(Measurement.submission_id == submission_id)).first()
    if found is None:
        return None
    if found.study_id != study_id:
        raise LookupError("this send belongs to another study")
    return Kept(found.entry, found.run, found.id, True)


def _require_open(session: Session, study: Study, entered: Entered) -> None:
    measurand = next((m for m in measurands_of(session, study) if m.key == entered.measurand), None)
    known = select(StudyProduct).where(
        StudyProduct.study_id == study.id, StudyProduct.product_id == entered.product_id
    )
    if measurand is None or session.exec(known).first() is None:
        raise LookupError(
            f"study {study.id} does not measure {entered.measurand!r} of {entered.product_id!r}"
        )
    handled = QUANTITIES[measurand.quantity].after_tasting
    require(study, Move.RATE_HANDLING if handled else Move.MEASURE)


def _row(
    session: Session, study: Study, actor: str, submission_id: str, entered: Entered, **revised: Any
) -> Measurement:
    instrument = session.get(Instrument, entered.instrument_id) if entered.instrument_id else None
    fields = {name: getattr(entered, name) for name in Entered.__dataclass_fields__}
    for name in ("series", "laps", "answers"):
        fields[name] = json.dumps(fields[name])
    return Measurement(
        study_id=study.id,
        submission_id=submission_id,
        **(fields | {"instrument_id": instrument.id if instrument else None}),
        resolution=instrument.resolution if instrument else None,
        accuracy=instrument.accuracy if instrument else None,
        recorded_by=actor,
        recorded_at=now(),
        after_reveal=study.state == State.REVEALED,
        nonce=secrets.token_hex(16),
        **revised,
    )


def _keep(session: Session, row: Measurement, actor: str, kind: str) -> Kept:
    session.add(row)
    session.flush()
    detail = {"entry": row.entry, "revision": row.revision, "digest": digest(as_document(session, row))}
    append(session, row.study_id, actor, kind, detail)
    return Kept(row.entry, row.run, row.id, False)
