"""Ballots on paper, keyed twice and then recorded once like a phone's."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from sqlmodel import Session, select

from panel.store.database import now
from panel.store.dealing import deal_place, latest_attempt, waiting_places
from panel.store.ledger import append, locked_study
from panel.store.recording import answered_tasks, record_screen
from panel.store.rows import servings_of
from panel.store.sittings import open_one
from panel.store.studies import ForbiddenMoveError, require
from panel.store.tables import Attempt, PaperBallot, Place, Serving, Sitting, Task
from panel.study.life import Move

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.study.answers import Answer

Screens = list[tuple[Task, list[Serving]]]


def screens_to_key(session: Session, place: Place) -> Screens:
    """The screens that a paper ballot of the place can still answer, up to the open sitting; empty where none.

    ForbiddenMoveError where no sitting is open: an answer keyed then would be late.
    """
    sitting = _open_sitting(session, place)
    attempt = _attempt(session, place, sitting)
    if attempt.status != "tasting":
        return []
    done = answered_tasks(session, attempt)
    screens = servings_of(session, attempt)
    return [row for row in screens if row[0].sitting <= sitting.number and row[0].number not in done]


def nobody_sits_there(session: Session, place: Place) -> bool:
    """Whether keying the ballot takes the place: then the consent on paper counts."""
    return place.id in {waiting.id for waiting, _ in waiting_places(session, place.study_id)}


def kept_passes(session: Session, place: Place) -> PaperBallot:
    """What has been keyed for the place in this sitting so far; a blank one where nothing was."""
    sitting = _open_sitting(session, place)
    number = _attempt(session, place, sitting).number
    query = select(PaperBallot).where(
        PaperBallot.place_id == place.id,
        PaperBallot.attempt_number == number,
        PaperBallot.sitting == sitting.number,
    )
    return session.exec(query).first() or PaperBallot(
        study_id=place.study_id, place_id=place.id, attempt_number=number, sitting=sitting.number
    )


def keep_pass(session: Session, place: Place, actor: str, typed: Mapping[str, str]) -> PaperBallot:
    """Keep what was keyed as the first pass, or as the second where there is a first one."""
    locked_study(session, place.study_id)
    ballot, text = kept_passes(session, place), json.dumps(dict(typed), ensure_ascii=False, sort_keys=True)
    if not ballot.first:
        ballot.first, ballot.first_by = text, actor
    else:
        ballot.second, ballot.second_by = text, actor
    session.add(ballot)
    session.flush()
    return ballot


def begin_anew(session: Session, place: Place) -> None:
    """Forget the passes that are kept for the place."""
    ballot = kept_passes(session, place)
    if ballot.first:
        ballot.first = ballot.second = ballot.first_by = ballot.second_by = ""
        session.add(ballot)
        session.flush()


def differences(ballot: PaperBallot) -> tuple[str, ...]:
    """The fields in which the two passes differ, in alphabetical order."""
    first, second = json.loads(ballot.first), json.loads(ballot.second)
    return tuple(sorted(name for name in first.keys() | second.keys() if first.get(name) != second.get(name)))


def record_paper(
    session: Session,
    place: Place,
    actor: str,
    agreed: tuple[str, str],
    answered: Sequence[tuple[Task, Mapping[str, str], Sequence[Answer]]],
) -> Attempt:
    """Record the screens, each once, and forget the two passes.

    Where nobody sits at the place, it is dealt with the consent on paper.

    agreed : fingerprint of what stands on the paper, and the name if one was given
    answered : screen, fields as keyed, and the answers they are
    """
    ballot = kept_passes(session, place)
    dealt = nobody_sits_there(session, place)
    attempt = deal_place(session, place, *agreed) if dealt else _taken(session, place)
    for task, sent, answers in answered:
        record_screen(session, attempt, task, f"{attempt.id}.{task.number}.on-paper", sent, answers)
    detail = {
        "attempt": attempt.id,
        "screens": [task.number for task, _, _ in answered],
        "first keyed by": ballot.first_by,
        "second keyed by": ballot.second_by,
        "differences settled": len(differences(ballot)),
    }
    append(session, place.study_id, actor, "ballot keyed from paper", detail)
    ballot.recorded_at, ballot.first, ballot.second = now(), "", ""  # the answers stand with the others now
    session.add(ballot)
    return attempt


def _open_sitting(session: Session, place: Place) -> Sitting:
    require(locked_study(session, place.study_id), Move.JOIN)
    sitting = open_one(session, place.study_id)
    if sitting is None:
        raise ForbiddenMoveError(
            "No sitting is open, so what is keyed now would count as late. Open the next sitting first."
        )
    return sitting


def _attempt(session: Session, place: Place, sitting: Sitting) -> Attempt:
    """Whoever sits at the place; one that is not stored, for the cups that wait there, where nobody does."""
    for waiting, number in waiting_places(session, place.study_id):
        if waiting.id == place.id:
            return Attempt(
                study_id=place.study_id,
                place_id=place.id,
                person_id="",
                sitting_id=sitting.id,
                number=number,
                dealt_at=now(),
            )
    return _taken(session, place)


def _taken(session: Session, place: Place) -> Attempt:
    attempt = latest_attempt(session, place.id)
    if attempt is None:
        raise LookupError(f"place {place.number} has neither waiting cups nor a taster")
    return attempt
