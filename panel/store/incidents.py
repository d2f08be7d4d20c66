"""What tasters call for: help, or the note of a cup that is not theirs. The organiser answers in the room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.tables import Attempt, Call, Place

if TYPE_CHECKING:
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class OpenCall:
    """A call that nobody has answered yet. code : of the wrong cup, "" for help."""

    id: str
    place: int
    kind: str
    code: str
    made_at: datetime


def call_for_help(session: Session, attempt: Attempt) -> None:
    """The taster wants somebody to come. Calling again while a call is open changes nothing."""
    _call(session, attempt, "help", "")


def note_wrong_cup(session: Session, attempt: Attempt, code: str) -> None:
    """A cup with this code stands before the taster, or was scanned by them, and is not theirs."""
    _call(session, attempt, "wrong cup", code[:3])


def open_calls(session: Session, study_id: str) -> list[OpenCall]:
    """The calls not answered yet, oldest first."""
    query = (
        select(Call, Place.number)
        .join(Attempt, col(Attempt.id) == Call.attempt_id)
        .join(Place, col(Place.id) == Attempt.place_id)
        .where(Call.study_id == study_id, col(Call.answered_at).is_(None))
        .order_by(col(Call.made_at), col(Call.id))
    )
    return [
        OpenCall(call.id, place, call.kind, call.code, call.made_at) for call, place in session.exec(query)
    ]


def answer_call(session: Session, study_id: str, actor: str, call_id: str) -> None:
    """Somebody has gone there. Answering twice changes nothing. LookupError for a call of another study."""
    locked_study(session, study_id)
    call = session.get(Call, call_id)
    if call is None or call.study_id != study_id:
        raise LookupError(f"study {study_id} has no call {call_id!r}")
    if call.answered_at is None:
        call.answered_at = now()
        session.add(call)
        append(session, study_id, actor, "call answered", {"attempt": call.attempt_id, "kind": call.kind})


def _call(session: Session, attempt: Attempt, kind: str, code: str) -> None:
    locked_study(session, attempt.study_id)
    same = select(Call).where(
        Call.attempt_id == attempt.id, Call.kind == kind, Call.code == code, col(Call.answered_at).is_(None)
    )
    if session.exec(same).first() is not None:
        return
    session.add(Call(study_id=attempt.study_id, attempt_id=attempt.id, kind=kind, code=code, made_at=now()))
    detail = {"attempt": attempt.id} | ({"code": code} if code else {})
    event = "help called" if kind == "help" else "wrong cup noted"
    append(session, attempt.study_id, "taster", event, detail)
