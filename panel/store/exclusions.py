"""Leaving a taster out of the analysis, with a reason, before the report is signed."""

from __future__ import annotations

from sqlmodel import Session, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import require
from panel.store.tables import Attempt, Exclusion
from panel.study.life import Move


def exclude(session: Session, study_id: str, actor: str, attempt_id: str, reason: str) -> None:
    """Leave the attempt out. LookupError when it is not one of this study's."""
    _own_attempt(session, study_id, attempt_id)
    if _exclusion(session, attempt_id) is None:
        session.add(Exclusion(attempt_id=attempt_id, reason=reason, excluded_at=now()))
        append(session, study_id, actor, "taster left out", {"attempt": attempt_id, "reason": reason})


def take_back(session: Session, study_id: str, actor: str, attempt_id: str) -> None:
    """Count the attempt again. LookupError when it is not one of this study's."""
    _own_attempt(session, study_id, attempt_id)
    found = _exclusion(session, attempt_id)
    if found is not None:
        session.delete(found)
        append(session, study_id, actor, "taster counted again", {"attempt": attempt_id})


def _own_attempt(session: Session, study_id: str, attempt_id: str) -> Attempt:
    require(locked_study(session, study_id), Move.EXCLUDE)
    attempt = session.get(Attempt, attempt_id)
    if attempt is None or attempt.study_id != study_id:
        raise LookupError(f"study {study_id} has no attempt {attempt_id!r}")
    return attempt


def _exclusion(session: Session, attempt_id: str) -> Exclusion | None:
    return session.exec(select(Exclusion).where(Exclusion.attempt_id == attempt_id)).first()
