"""Instruments: what is measured with, how fine it reads, when it was checked. A changed one is a new row."""

from __future__ import annotations

from dataclasses import dataclass

from sqlmodel import Session, col, select

from panel.store.bench_tables import Instrument
from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import require
from panel.study.life import Move
from panel.study.quantities import QUANTITIES
from panel.study.seal import digest


@dataclass(frozen=True, slots=True)
class Described:
    """An instrument as it was read from a form. resolution, accuracy: in the quantity's first unit."""

    name: str
    quantity: str
    unit: str
    resolution: float | None = None
    accuracy: float | None = None
    checked_on: str = ""
    found: str = ""


def add_instrument(
    session: Session, study_id: str, actor: str, described: Described, replaces: str = ""
) -> Instrument:
    """A further instrument, or a changed one in the place of `replaces`, which is put away.

    Instruments belong to the house; the event stands in the log of the study from whose bench it was added.
    """
    require(locked_study(session, study_id), Move.MEASURE)
    if replaces:
        put_away(session, study_id, actor, replaces)
    fields = {name: getattr(described, name) for name in Described.__dataclass_fields__}
    instrument = Instrument(**fields, added_by=actor, added_at=now())
    session.add(instrument)
    session.flush()
    append(
        session, study_id, actor, "instrument added", {"instrument": instrument.id, "digest": digest(fields)}
    )
    return instrument


def put_away(session: Session, study_id: str, actor: str, instrument_id: str) -> None:
    """Offer this instrument no longer. What was measured with it keeps it. LookupError for an unknown one."""
    require(locked_study(session, study_id), Move.MEASURE)
    instrument = session.get(Instrument, instrument_id)
    if instrument is None:
        raise LookupError(f"there is no instrument {instrument_id!r}")
    if instrument.retired_at is None:
        instrument.retired_at = now()
        session.add(instrument)
        append(session, study_id, actor, "instrument put away", {"instrument": instrument_id})


def instruments_in_use(session: Session) -> list[Instrument]:
    """Those that are offered, by name."""
    query = select(Instrument).where(col(Instrument.retired_at).is_(None))
    return sorted(session.exec(query), key=lambda one: (one.name.casefold(), one.id))


def instruments_for(session: Session, quantity: str) -> list[Instrument]:
    """Those that measure this quantity, or one in the same units: a thermometer reads single values and series."""
    units = QUANTITIES[quantity].units
    return [one for one in instruments_in_use(session) if units and QUANTITIES[one.quantity].units == units]


def instrument_names(session: Session) -> dict[str, str]:
    """Id -> name of every instrument there ever was."""
    return dict(session.exec(select(Instrument.id, Instrument.name)).all())
