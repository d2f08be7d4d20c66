"""Dealing the next row of the design to whoever comes, at the moment they agree to taste."""

from __future__ import annotations

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import require
from panel.store.tables import Attempt, Consent, Person, Place, Sitting
from panel.study.life import Move


class NoPlaceLeftError(LookupError):
    """Every row of the design is taken; the message says what to do."""


def deal(session: Session, sitting_id: str, wording: str, name: str = "") -> Attempt:
    """The next free place in the order of the design, for a new person who has just agreed.

    wording : fingerprint of the notice and consent text they read
    NoPlaceLeftError when the plan holds no further place, ForbiddenMoveError when the sitting is not open.
    """
    sitting = session.get_one(Sitting, sitting_id)
    study = locked_study(session, sitting.study_id)
    require(study, Move.JOIN)
    place = _next_place(session, study.id)
    person = Person(name=name, created_at=now())
    session.add(person)
    session.flush()
    attempt = Attempt(
        study_id=study.id, place_id=place.id, person_id=person.id, sitting_id=sitting.id, dealt_at=now()
    )
    session.add(attempt)
    session.add(Consent(person_id=person.id, study_id=study.id, wording=wording, given_at=now()))
    append(
        session,
        study.id,
        "taster",
        "place dealt",
        {"place": place.number, "attempt": attempt.id, "notice": wording},
    )
    return attempt


def step_out(session: Session, attempt: Attempt) -> None:
    """The taster stops, without a reason. Answers sent before stay under the number alone."""
    attempt.status = "stepped out"
    attempt.finished_at = now()
    session.add(attempt)
    append(session, attempt.study_id, "taster", "taster stepped out", {"attempt": attempt.id})


def _next_place(session: Session, study_id: str) -> Place:
    taken = select(Attempt.place_id)
    free = select(Place).where(Place.study_id == study_id, col(Place.id).not_in(taken))
    place = session.exec(free.order_by(col(Place.number)).limit(1)).first()
    if place is None:
        raise NoPlaceLeftError(
            "All places of this tasting are taken. Please tell the panel leader: the plan holds no further place."
        )
    return place
