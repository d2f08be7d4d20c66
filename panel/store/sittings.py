"""The sittings of a study while it is served: which one is open, pausing it, ending it, opening the next."""

from __future__ import annotations

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import ForbiddenMoveError, require
from panel.store.tables import Sitting
from panel.study.life import Move


def open_one(session: Session, study_id: str) -> Sitting | None:
    """The sitting that is open now, or None."""
    query = select(Sitting).where(
        Sitting.study_id == study_id, col(Sitting.opened_at).is_not(None), col(Sitting.closed_at).is_(None)
    )
    return session.exec(query.order_by(col(Sitting.number).desc()).limit(1)).first()


def sittings_of(session: Session, study_id: str) -> list[Sitting]:
    """All sittings of the study so far, in order."""
    query = select(Sitting).where(Sitting.study_id == study_id)
    return list(session.exec(query.order_by(col(Sitting.number))))


def is_paused(session: Session, study_id: str) -> bool:
    """Whether nobody may open a further screen just now. Answers on their way are taken all the same."""
    sitting = open_one(session, study_id)
    return sitting is not None and sitting.paused_at is not None


def pause(session: Session, study_id: str, actor: str) -> None:
    """Let everybody wait. Pausing what is paused changes nothing."""
    sitting = _require_open(session, study_id)
    if sitting.paused_at is None:
        sitting.paused_at = now()
        session.add(sitting)
        append(session, study_id, actor, "sitting paused", {"sitting": sitting.number})


def resume(session: Session, study_id: str, actor: str) -> None:
    """Let everybody go on."""
    sitting = _require_open(session, study_id)
    if sitting.paused_at is not None:
        sitting.paused_at = None
        session.add(sitting)
        append(session, study_id, actor, "sitting resumed", {"sitting": sitting.number})


def end_sitting(session: Session, study_id: str, actor: str) -> None:
    """End this time slot; the study goes on with the next one. An answer that comes in between is late."""
    sitting = _require_open(session, study_id)
    sitting.closed_at, sitting.paused_at = now(), None
    session.add(sitting)
    append(session, study_id, actor, "sitting ended", {"sitting": sitting.number})


def open_next_sitting(session: Session, study_id: str, actor: str) -> Sitting:
    """Open a further time slot of the same study, with a join code of its own."""
    require(locked_study(session, study_id), Move.JOIN)
    before = open_one(session, study_id)
    if before is not None:
        raise ForbiddenMoveError(
            f"Sitting {before.number} is still open. End it first; then open the next one."
        )
    number = len(sittings_of(session, study_id)) + 1
    sitting = Sitting(study_id=study_id, number=number, opened_at=now())
    session.add(sitting)
    session.flush()
    append(session, study_id, actor, "sitting opened", {"sitting": number})
    return sitting


def _require_open(session: Session, study_id: str) -> Sitting:
    require(locked_study(session, study_id), Move.JOIN)
    sitting = open_one(session, study_id)
    if sitting is None:
        raise ForbiddenMoveError("No sitting is open at the moment. Open the next sitting first.")
    return sitting
