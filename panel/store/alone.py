"""Rounds of one person who works alone: which dot goes into which cup, and what was found under the codes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.dealing import place_numbered
from panel.store.exclusions import exclude
from panel.store.ledger import append, locked_study
from panel.store.rows import exclusions_of
from panel.store.studies import ForbiddenMoveError, plan_of, require
from panel.store.tables import Attempt, Place, Sample, Serving, Study
from panel.study.life import Move

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Round:
    """One round. fills: dot and pour letter, by dot; codes: position and code, in tasting order.

    stands : "to come", "tasting", "to read" (answers fixed, dots not read), "read" or "left out"
    """

    number: int
    stands: str
    fills: tuple[tuple[int, str], ...]
    codes: tuple[tuple[int, str], ...]


def rounds_of(session: Session, study: Study) -> list[Round]:
    """All rounds of the study, in order."""
    query = (
        select(Place.number, Serving, Sample.pour_letter)
        .join(Serving, col(Serving.place_id) == Place.id)
        .join(Sample, col(Sample.id) == Serving.sample_id)
        .where(Place.study_id == study.id, Serving.attempt_number == 1, col(Serving.same_cup_as).is_(None))
        .order_by(col(Place.number), col(Serving.position))
    )
    cups: dict[int, list[tuple[Serving, str]]] = {}
    for number, serving, letter in session.exec(query):
        cups.setdefault(number, []).append((serving, letter))
    attempts = _attempts(session, study.id)
    left_out = exclusions_of(session, study.id)
    return [
        Round(
            number=number,
            stands=_stands(study, attempts.get(number), row, left_out),
            fills=tuple(sorted((serving.dot or 0, letter) for serving, letter in row)),
            codes=tuple((serving.position, serving.code) for serving, _ in row),
        )
        for number, row in cups.items()
    ]


def read_dots(session: Session, study_id: str, actor: str, number: int, dots: Mapping[int, int]) -> None:
    """Fix which sample stood under which code of this round. dots: position -> dot, each once (`check_dots`).

    ForbiddenMoveError while the round's answers are not fixed, and once its dots are.
    """
    study = locked_study(session, study_id)
    require(study, Move.ANSWER)
    found = next((r for r in rounds_of(session, study) if r.number == number), None)
    place = place_numbered(session, study_id, number)
    if found is None or place is None or found.stands != "to read":
        raise ForbiddenMoveError(
            f"The dots of round {number} cannot be written down now. They are read once, after every answer of the "
            "round is in and before anything is analysed."
        )
    rows = list(
        session.exec(select(Serving).where(Serving.place_id == place.id, Serving.attempt_number == 1))
    )
    sample_of = {row.dot: row.sample_id for row in rows}
    under = {row.id: sample_of[dots[row.position]] for row in rows if row.same_cup_as is None}
    for row in rows:
        row.found_sample_id = under[row.same_cup_as or row.id]
        session.add(row)
    positions = {row.id: dots[row.position] for row in rows if row.same_cup_as is None}
    by_position = {str(row.position): positions[row.same_cup_as or row.id] for row in rows}
    append(session, study_id, actor, "dots read", {"place": number, "dots": by_position})


def leave_round_out(session: Session, study_id: str, actor: str, number: int, reason: str) -> None:
    """Leave a round out whose dots have not been read. ForbiddenMoveError afterwards: it would be by its contents."""
    study = locked_study(session, study_id)
    found = next((r for r in rounds_of(session, study) if r.number == number), None)
    if found is None or found.stands != "to read":
        raise ForbiddenMoveError(
            "Only a round that was tasted and whose dots have not been read can be left out."
        )
    exclude(session, study_id, actor, _attempts(session, study_id)[number].id, reason)


def require_all_read(session: Session, study: Study) -> None:
    """ForbiddenMoveError, with what to do, while a study of one person still has dots to read."""
    if not plan_of(study).alone:
        return
    waiting = [str(found.number) for found in rounds_of(session, study) if found.stands == "to read"]
    if waiting:
        raise ForbiddenMoveError(
            f"Write down the dots of round {', '.join(waiting)} first, or leave the round out with a reason: until "
            "then nobody knows which code held what."
        )


def _attempts(session: Session, study_id: str) -> dict[int, Attempt]:
    query = select(Place.number, Attempt).join(Attempt, col(Attempt.place_id) == Place.id)
    rows = session.exec(query.where(Attempt.study_id == study_id).order_by(col(Attempt.number)))
    return dict(rows.all())


def _stands(
    study: Study, attempt: Attempt | None, row: list[tuple[Serving, str]], left_out: dict[str, str]
) -> str:
    if attempt is None:
        return "to come"
    if attempt.id in left_out:
        return "left out"
    if row[0][0].found_sample_id is not None:
        return "read"
    return "tasting" if attempt.status == "tasting" and study.state == "serving" else "to read"
