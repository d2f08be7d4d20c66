"""The event chain of a study: append-only, each entry hashed with the one before."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.tables import LedgerEntry, Study
from panel.study.seal import GENESIS, Event, canonical_json, link

if TYPE_CHECKING:
    from sqlmodel.sql.expression import SelectOfScalar


def locked_study(session: Session, study_id: str) -> Study:
    """The study, held against other writers until the session ends (SQLite holds its whole file already)."""
    query = (
        select(Study).where(Study.id == study_id).with_for_update().execution_options(populate_existing=True)
    )
    return session.exec(query).one()


def append(session: Session, study_id: str, actor: str, kind: str, detail: dict[str, Any]) -> Event:
    """Add an event to the study's chain, in the session's transaction.

    detail holds plain JSON types, and pseudonyms only: never a name.
    """
    locked_study(session, study_id)
    last = session.exec(_entries(study_id).order_by(col(LedgerEntry.number).desc()).limit(1)).first()
    number, previous = (last.number + 1, last.hash) if last else (1, GENESIS)
    event = link(number, now().isoformat(timespec="milliseconds"), actor, kind, detail, previous)
    session.add(
        LedgerEntry(
            study_id=study_id,
            number=number,
            at=event.at,
            actor=actor,
            kind=kind,
            detail=canonical_json(detail).decode(),
            previous=previous,
            hash=event.hash,
        )
    )
    session.flush()
    return event


def events_of(session: Session, study_id: str) -> list[Event]:
    """The whole chain, first event first."""
    entries = session.exec(_entries(study_id).order_by(col(LedgerEntry.number)))
    return [
        Event(
            entry.number,
            entry.at,
            entry.actor,
            entry.kind,
            json.loads(entry.detail),
            entry.previous,
            entry.hash,
        )
        for entry in entries
    ]


def arrivals(session: Session, study_id: str) -> dict[str, int]:
    """Submission id -> its number in the order of receipt, from 1. The chain keeps that order, whatever clocks do."""
    query = _entries(study_id).where(LedgerEntry.kind == "answers received")
    received = session.exec(query.order_by(col(LedgerEntry.number)))
    return {json.loads(entry.detail)["submission"]: number for number, entry in enumerate(received, start=1)}


def head_of(session: Session, study_id: str) -> str:
    """The hash of the last event; zeros for an empty chain."""
    last = session.exec(_entries(study_id).order_by(col(LedgerEntry.number).desc()).limit(1)).first()
    return last.hash if last else GENESIS


def _entries(study_id: str) -> SelectOfScalar[LedgerEntry]:
    return select(LedgerEntry).where(LedgerEntry.study_id == study_id)
