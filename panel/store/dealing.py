"""Dealing the next row of the design to whoever comes, at the moment they agree to taste.

A place waits when cups stand there for an attempt that nobody has begun: those of the sealed plan, or fresh ones
after a taster left (see `panel.store.reissue`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.sittings import open_one
from panel.store.studies import ForbiddenMoveError, require
from panel.store.tables import Attempt, Consent, Person, Place, Serving, Sitting, Study
from panel.study.life import Move, State

if TYPE_CHECKING:
    from panel.store.tokens import Tokens

LARGEST_NUMBER = 2**31 - 1
WITH_CARDS = (State.SEALED, State.SERVING, State.CLOSED)


class NoPlaceLeftError(LookupError):
    """Every row of the design is taken; the message says what to do."""


class PlaceTakenError(NoPlaceLeftError):
    """Somebody sits at this very place; the message says what to do."""


def deal(session: Session, sitting_id: str, wording: str, name: str = "", phone: str = "") -> Attempt:
    """The lowest place that waits, in the order of the design, for a new person who has just agreed.

    wording : fingerprint of the notice and consent text they read
    phone : id of the first attempt made on the same phone in this study, "" where this is the first
    NoPlaceLeftError when no place waits, ForbiddenMoveError when no sitting of the study is open.
    """
    study = locked_study(session, session.get_one(Sitting, sitting_id).study_id)
    sitting = _open_sitting(session, study)
    waiting = waiting_places(session, study.id)
    if not waiting:
        raise NoPlaceLeftError(
            "All places of this tasting are taken. Please tell the panel leader: the plan holds no further place."
        )
    place, number = waiting[0]
    return _dealt(session, sitting, place, number, (wording, name, phone), {})


def deal_place(session: Session, place: Place, wording: str, name: str = "", phone: str = "") -> Attempt:
    """This very place, for whoever holds its card or its paper ballot. A place out of turn is recorded as such.

    PlaceTakenError when nobody can sit there now, ForbiddenMoveError when no sitting of the study is open.
    """
    study = locked_study(session, place.study_id)
    sitting = _open_sitting(session, study)
    waiting = {found.id: number for found, number in waiting_places(session, study.id)}
    if place.id not in waiting:
        raise PlaceTakenError(
            f"Place {place.number} is taken already. Please tell the panel leader, who has another card for you."
        )
    in_turn = next(iter(waiting)) == place.id
    detail = {} if in_turn else {"out of dealing order": True}
    return _dealt(session, sitting, place, waiting[place.id], (wording, name, phone), detail)


def waiting_places(session: Session, study_id: str) -> list[tuple[Place, int]]:
    """The places that can be dealt, in design order, each with the number of the attempt its cups are for."""
    begun = (col(Attempt.place_id) == Place.id) & (col(Attempt.number) == Serving.attempt_number)
    query = (
        select(Place, Serving.attempt_number)
        .join(Serving, col(Serving.place_id) == Place.id)
        .outerjoin(Attempt, begun)
        .where(Place.study_id == study_id, col(Attempt.id).is_(None))
        .distinct()
        .order_by(col(Place.number), col(Serving.attempt_number))
    )
    return list(session.exec(query))


def place_with_token(session: Session, tokens: Tokens, token: str) -> Place | None:
    """The place that a join card opens, or None."""
    query = select(Place).join(Study, col(Study.id) == Place.study_id).where(col(Study.state).in_(WITH_CARDS))
    for place in session.exec(query.order_by(col(Place.id))):
        if tokens.opens_place(token, place.id, place.token_revision):
            return place
    return None


def place_numbered(session: Session, study_id: str, number: int) -> Place | None:
    """The place of that number, or None."""
    if number > LARGEST_NUMBER:  # a database cannot even look for it
        return None
    return session.exec(select(Place).where(Place.study_id == study_id, Place.number == number)).first()


def latest_attempt(session: Session, place_id: str) -> Attempt | None:
    """The last who took the place, or None."""
    query = select(Attempt).where(Attempt.place_id == place_id).order_by(col(Attempt.number).desc())
    return session.exec(query.limit(1)).first()


def places_by_phone(session: Session, study_id: str) -> list[tuple[int, ...]]:
    """The places taken on one phone, for each phone that has several and on which somebody is tasting now."""
    query = (
        select(Attempt.id, Attempt.phone, Attempt.status, Place.number)
        .join(Place, col(Place.id) == Attempt.place_id)
        .where(Attempt.study_id == study_id, Attempt.status != "stepped out")
        .order_by(col(Place.number))
    )
    phones: dict[str, list[int]] = {}
    busy: set[str] = set()
    for attempt_id, first, status, place in session.exec(query):
        phone = first or attempt_id
        phones.setdefault(phone, []).append(place)
        busy |= {phone} if status == "tasting" else set()
    return [tuple(places) for phone, places in phones.items() if len(places) > 1 and phone in busy]


def step_out(session: Session, attempt: Attempt) -> None:
    """The taster stops, without a reason. Answers sent before stay under the number alone."""
    _left(session, attempt)
    append(session, attempt.study_id, "taster", "taster stepped out", {"attempt": attempt.id})


def mark_gone(session: Session, attempt: Attempt, actor: str) -> None:
    """The organiser notes that the taster has gone, or never sat down. ForbiddenMoveError where they are done."""
    require(locked_study(session, attempt.study_id), Move.JOIN)
    if attempt.status != "tasting":
        raise ForbiddenMoveError("This taster is not tasting any more; there is nothing to note.")
    _left(session, attempt)
    append(session, attempt.study_id, actor, "taster gone", {"attempt": attempt.id})


def _left(session: Session, attempt: Attempt) -> None:
    attempt.status = "stepped out"
    attempt.finished_at = now()
    session.add(attempt)


def _open_sitting(session: Session, study: Study) -> Sitting:
    require(study, Move.JOIN)
    sitting = open_one(session, study.id)
    if sitting is None:
        raise ForbiddenMoveError(
            "This sitting has ended, and the next one is not open yet. Wait until the organiser opens it."
        )
    return sitting


def _dealt(
    session: Session,
    sitting: Sitting,
    place: Place,
    number: int,
    agreed: tuple[str, str, str],
    more: dict[str, bool],
) -> Attempt:
    wording, name, phone = agreed
    person = Person(name=name, created_at=now())
    session.add(person)
    session.flush()
    attempt = Attempt(
        study_id=sitting.study_id,
        place_id=place.id,
        person_id=person.id,
        sitting_id=sitting.id,
        number=number,
        phone=phone,
        dealt_at=now(),
    )
    session.add(attempt)
    session.add(Consent(person_id=person.id, study_id=sitting.study_id, wording=wording, given_at=now()))
    shared = {"on the phone of": phone} if phone else {}
    detail = {"place": place.number, "attempt": attempt.id, "notice": wording, **shared, **more}
    append(session, sitting.study_id, "taster", "place dealt", detail)
    return attempt
