"""Pouring again: a whole place that was abandoned, or one cup that was spilled, wrong, or too cold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.randomiser.trays import Cup
from panel.store.dealing import latest_attempt, waiting_places
from panel.store.fresh_codes import CUP_REPLACED, CodesAtHand, codes_at_hand, codes_for_tray, replaced_codes
from panel.store.ledger import append, locked_study
from panel.store.random_ids import new_id
from panel.store.recording import answered_tasks
from panel.store.studies import ForbiddenMoveError, plan_of, require
from panel.store.tables import Attempt, Place, Serving, Study, Task
from panel.study.life import Move, State

if TYPE_CHECKING:
    from panel.store.tokens import Tokens

# Why a cup is poured again: the words that are kept, and the words on the form.
REASONS = {
    "spilled": "It was spilled",
    "wrong cup": "The wrong cup stood there",
    "wrong temperature": "It was too hot or too cold",
    "other": "Something else",
}


def give_again(session: Session, tokens: Tokens, place: Place, actor: str) -> int:
    """Fresh cups of the same samples in the same order for the next comer; the number of the new attempt.

    What the first taster answered stays. ForbiddenMoveError where the place is not abandoned, or waits already.
    """
    study = locked_study(session, place.study_id)
    require(study, Move.JOIN)
    _refuse_alone(study)
    before = latest_attempt(session, place.id)
    if before is None or place.id in {waiting.id for waiting, _ in waiting_places(session, study.id)}:
        raise ForbiddenMoveError(
            f"Place {place.number} waits for its taster already; it need not be given again."
        )
    if before.status != "stepped out":
        raise ForbiddenMoveError(
            f"Place {place.number} is {before.status}. Only a place that was left can be given again; "
            "note first that its taster has gone."
        )
    rows = _cups_at(session, place.id, before.number)
    codes = _tray_codes(codes_at_hand(session, study), rows, _codes_ever_at(session, place.id))
    _add_again(session, tokens, rows, codes, before.number + 1)
    detail = {
        "place": place.number,
        "attempt number": before.number + 1,
        "codes": {str(row.position): codes[row.id] for row, _ in rows},
    }
    append(session, study.id, actor, "place given again", detail)
    return before.number + 1


def replace_cup(
    session: Session, tokens: Tokens, serving: Serving, actor: str, reason: str, note: str = ""
) -> str:
    """A fresh cup of the same sample for the same position, under a spare code; the new code.

    Sample, position and batch stay, and so does the code under which an earlier screen was answered.
    reason : one of REASONS; note : in the organiser's words
    ForbiddenMoveError where the cup's screens are answered, ValueError for a reason that is not known.
    """
    if reason not in REASONS:
        raise ValueError(f"reason must be one of {', '.join(REASONS)}, not {reason!r}")
    place = session.get_one(Place, serving.place_id)
    study = locked_study(session, place.study_id)
    _refuse_alone(study)
    if study.state not in (State.SEALED, State.SERVING):
        raise ForbiddenMoveError("Tasting is over: no cup is poured any more.")
    tray = [row for row, _ in _cups_at(session, place.id, serving.attempt_number)]
    open_rows = _still_to_come(session, serving, tray)
    if not open_rows:
        raise ForbiddenMoveError(
            f"Cup {serving.code} has been answered for. An answer stands; there is nothing left to replace."
        )
    old = open_rows[0].code
    beside = sorted({row.code for row in tray} - {old})
    barred = _codes_ever_at(session, place.id)
    (code,) = codes_for_tray(codes_at_hand(session, study), [Cup(0, 1)], barred=barred, beside=beside)
    for row in open_rows:
        row.sealed_code, row.code = row.sealed_code or row.code, code
        row.token_revision += 1
        row.token = tokens.cup(row.id, row.token_revision)
        session.add(row)
    session.flush()
    detail = {
        "place": place.number,
        "attempt number": serving.attempt_number,
        "positions": [row.position for row in open_rows],
        "was": old,
        "code": code,
        "reason": reason,
    }
    append(session, study.id, actor, CUP_REPLACED, detail | ({"note": note} if note else {}))
    return code


def _refuse_alone(study: Study) -> None:
    if plan_of(study).alone:
        raise ForbiddenMoveError(
            "One person works alone here: a cup poured again would be known. Leave this round out, go on with the next."
        )


def same_cup_rows(serving: Serving, tray: list[Serving]) -> list[Serving]:
    """The servings out of the same cup, in order of position."""
    root = serving.same_cup_as or serving.id
    return [row for row in tray if root in (row.id, row.same_cup_as)]


def _still_to_come(session: Session, serving: Serving, tray: list[Serving]) -> list[Serving]:
    attempt = session.exec(
        select(Attempt).where(Attempt.place_id == serving.place_id, Attempt.number == serving.attempt_number)
    ).first()
    rows = same_cup_rows(serving, tray)
    if attempt is None:
        return rows
    if attempt.status != "tasting":
        return []
    done = answered_tasks(session, attempt)
    numbers = dict(session.exec(select(Task.id, Task.number).where(Task.place_id == serving.place_id)).all())
    return [row for row in rows if numbers[row.task_id] not in done]


def _cups_at(session: Session, place_id: str, attempt_number: int) -> list[tuple[Serving, Task]]:
    query = (
        select(Serving, Task)
        .join(Task, col(Task.id) == Serving.task_id)
        .where(Serving.place_id == place_id, Serving.attempt_number == attempt_number)
    )
    return list(session.exec(query.order_by(col(Serving.position))))


def _codes_ever_at(session: Session, place_id: str) -> set[str]:
    query = select(Serving.code, Serving.sealed_code).where(Serving.place_id == place_id)
    study_id = session.get_one(Place, place_id).study_id
    return {code for pair in session.exec(query) for code in pair if code} | replaced_codes(session, study_id)


def _tray_codes(at_hand: CodesAtHand, rows: list[tuple[Serving, Task]], barred: set[str]) -> dict[str, str]:
    """Serving id -> fresh code. One tray for each sitting; a serving that stays in its cup keeps the cup's code."""
    codes: dict[str, str] = {}
    numbers = {sample: index for index, sample in enumerate(sorted({row.sample_id for row, _ in rows}))}
    for sitting in sorted({task.sitting for _, task in rows}):
        tray = [(row, task) for row, task in rows if task.sitting == sitting and row.same_cup_as is None]
        cups = [Cup(numbers[row.sample_id], task.number) for row, task in tray]
        drawn = codes_for_tray(at_hand, cups, barred=barred | set(codes.values()))
        codes |= {row.id: code for (row, _), code in zip(tray, drawn, strict=True)}
    return {row.id: codes[row.same_cup_as or row.id] for row, _ in rows}


def _add_again(
    session: Session,
    tokens: Tokens,
    rows: list[tuple[Serving, Task]],
    codes: dict[str, str],
    attempt_number: int,
) -> None:
    ids = {row.id: new_id() for row, _ in rows}
    for row, _ in rows:
        session.add(
            Serving(
                id=ids[row.id],
                place_id=row.place_id,
                task_id=row.task_id,
                sample_id=row.sample_id,
                batch_id=row.batch_id,
                attempt_number=attempt_number,
                position=row.position,
                condition=row.condition,
                replicate=row.replicate,
                code=codes[row.id],
                token=tokens.cup(ids[row.id], 1),
                same_cup_as=None if row.same_cup_as is None else ids[row.same_cup_as],
                warm_up=row.warm_up,
            )
        )
        session.flush()


def spares_left(session: Session, study: Study) -> int:
    """How many of the sealed spare codes are on no cup yet."""
    return len(codes_at_hand(session, study).spare)
