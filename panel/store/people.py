"""Who took part: the register, one person's data on request, erasure, the days after which names go, and doses."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, or_, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.members import forget_member
from panel.store.studies import plan_of, require
from panel.store.tables import (
    Answer,
    Attempt,
    Consent,
    PaperBallot,
    Person,
    Place,
    Serving,
    Study,
    Submission,
    Task,
)
from panel.study.answers import field_digest
from panel.study.doses import Dose, dose_of
from panel.study.draft_reader import name_key
from panel.study.life import Move
from panel.study.pseudonyms import taster_name
from panel.study.scales import scale_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import ColumnElement


@dataclass(frozen=True, slots=True)
class Registered:
    """One taster in the register. name: "" where none was given or it was erased; wording: fingerprint of the notice.

    cups : those of the screens answered so far; doses : what they amount to at most, with the same day's elsewhere
    """

    attempt_id: str
    taster: str
    name: str
    agreed_at: datetime | None
    wording: str
    erased: bool
    cups: int
    doses: tuple[Dose, ...]


def register_of(session: Session, study: Study) -> list[Registered]:
    """Everybody who took a place, in order of places."""
    plan = plan_of(study)
    cups = _cups_answered(session, [study.id])
    consents = {c.person_id: c for c in session.exec(select(Consent).where(Consent.study_id == study.id))}
    elsewhere = _amounts_elsewhere(session, study)
    lines = []
    for attempt, place, person in _attempts(session, Attempt.study_id == study.id):
        consent = consents.get(person.id)
        before = elsewhere.get((name_key(person.name), _day(attempt.dealt_at)), {}) if person.name else {}
        lines.append(
            Registered(
                attempt_id=attempt.id,
                taster=taster_name(place, attempt.number),
                name=person.name,
                agreed_at=consent.given_at if consent else None,
                wording=consent.wording if consent else "",
                erased=person.erased_at is not None,
                cups=cups[attempt.id],
                doses=dose_of(plan, cups[attempt.id], before),
            )
        )
    return lines


def person_data(session: Session, study: Study, attempt_id: str) -> dict[str, Any]:
    """All that is kept of whoever took this place, in plain JSON types. LookupError for a place of another study."""
    attempt = _own_attempt(session, study.id, attempt_id)
    require(study, Move.READ_REPORT)
    person = session.get_one(Person, attempt.person_id)
    questions = {question.key: question.text for question in plan_of(study).questions}
    consents = session.exec(
        select(Consent).where(Consent.person_id == person.id).order_by(col(Consent.given_at))
    )
    sends = select(Submission, Task.number).join(Task, col(Task.id) == Submission.task_id)
    mine = sends.where(Submission.attempt_id == attempt.id).order_by(
        col(Task.number), col(Submission.received_at)
    )
    codes = _codes(session, attempt)
    return {
        "study": study.title,
        "taster": taster_name(session.get_one(Place, attempt.place_id).number, attempt.number),
        "name": person.name,
        "erased": person.erased_at is not None,
        "agreed": [
            {"at": consent.given_at.isoformat(), "wording (SHA-256)": consent.wording} for consent in consents
        ],
        "came": attempt.dealt_at.isoformat(),
        "left": attempt.finished_at.isoformat() if attempt.finished_at else None,
        "questions": questions,
        "answers": [
            {
                "screen": number,
                "cups": codes.get(number, []),
                "sent": json.loads(sent.sent),
                "received": sent.received_at.isoformat(),
                "late": sent.late,
            }
            for sent, number in session.exec(mine)
        ],
    }


def erase_person(session: Session, study_id: str, actor: str, attempt_id: str) -> None:
    """Take away the name and every written remark of this taster, here and wherever the same entry took part.

    Scores stay under the number; the chain holds fingerprints only and stays whole. Erasing twice changes nothing.
    The caller must call `Database.forget_deleted` once the session has committed.
    """
    locked_study(session, study_id)
    person = session.get_one(Person, _own_attempt(session, study_id, attempt_id).person_id)
    forget_member(session, person.name)
    _erase(session, person, actor)


def erase_old_names(session: Session, days: int, at: datetime | None = None) -> int:
    """Erase everybody whose last study was signed more than so many days before `at` (now); how many were."""
    limit = (at or now()) - timedelta(days=days)
    signed_late = or_(col(Study.signed_at).is_(None), col(Study.signed_at) >= limit)
    still_needed = select(Attempt.person_id).join(Study, col(Study.id) == Attempt.study_id).where(signed_late)
    took_part = select(Attempt.person_id)
    query = select(Person).where(
        col(Person.erased_at).is_(None),
        col(Person.id).in_(took_part),
        col(Person.id).not_in(still_needed),
    )
    people = list(session.exec(query.order_by(col(Person.id))))
    for person in people:
        _erase(session, person, "the retention period")
    return len(people)


def _erase(session: Session, person: Person, actor: str) -> None:
    if person.erased_at is not None:
        return
    person.name, person.erased_at = "", now()
    session.add(person)
    attempts = session.exec(select(Attempt).where(Attempt.person_id == person.id).order_by(col(Attempt.id)))
    for attempt in attempts.all():
        study = session.get_one(Study, attempt.study_id)
        written = {q.key for q in plan_of(study).questions if scale_of(q.scale).kind == "text"}
        _erase_words(session, attempt, written)
        append(session, study.id, actor, "person erased", {"attempt": attempt.id})


def _erase_words(session: Session, attempt: Attempt, written: set[str]) -> None:
    for sent in session.exec(select(Submission).where(Submission.attempt_id == attempt.id)):
        fields: dict[str, str] = json.loads(sent.sent)
        gone = {
            name: field_digest(sent.id, name, fields.pop(name)) for name in sorted(written & fields.keys())
        }
        if gone:
            sent.sent = json.dumps(fields, ensure_ascii=False, sort_keys=True)
            sent.erased = json.dumps({**json.loads(sent.erased), **gone}, sort_keys=True)
            session.add(sent)
    passes = select(PaperBallot).where(
        PaperBallot.place_id == attempt.place_id, PaperBallot.attempt_number == attempt.number
    )
    for ballot in session.exec(passes):
        ballot.first = ballot.second = ""
        session.add(ballot)
    words = select(Answer).where(Answer.attempt_id == attempt.id, col(Answer.question).in_(written))
    for answer in session.exec(words):
        answer.value = "null"
        session.add(answer)


def _own_attempt(session: Session, study_id: str, attempt_id: str) -> Attempt:
    attempt = session.get(Attempt, attempt_id)
    if attempt is None or attempt.study_id != study_id:
        raise LookupError(f"study {study_id} has no attempt {attempt_id!r}")
    return attempt


def _attempts(session: Session, *conditions: ColumnElement[bool] | bool) -> list[tuple[Attempt, int, Person]]:
    """Attempt, number of its place and person, in order of places."""
    query = (
        select(Attempt, Place.number, Person)
        .join(Place, col(Place.id) == Attempt.place_id)
        .join(Person, col(Person.id) == Attempt.person_id)
        .where(*conditions)
        .order_by(col(Place.number), col(Attempt.number), col(Attempt.id))
    )
    return list(session.exec(query))


def _codes(session: Session, attempt: Attempt) -> dict[int, list[str]]:
    query = (
        select(Task.number, Serving.code)
        .join(Serving, col(Serving.task_id) == Task.id)
        .where(Serving.place_id == attempt.place_id, Serving.attempt_number == attempt.number)
        .order_by(col(Serving.position))
    )
    codes: dict[int, list[str]] = {}
    for number, code in session.exec(query):
        codes.setdefault(number, []).append(code)
    return codes


def _cups_answered(session: Session, study_ids: list[str]) -> Counter[str]:
    """Attempt id -> cups of the screens that it has answered; an addition into the same cup is a cup again."""
    answered = (
        select(Submission.attempt_id, Serving.id)
        .join(Attempt, col(Attempt.id) == Submission.attempt_id)
        .join(
            Serving,
            (col(Serving.task_id) == Submission.task_id) & (col(Serving.attempt_number) == Attempt.number),
        )
        .where(col(Attempt.study_id).in_(study_ids), Submission.outcome == "stored")
    )
    return Counter(attempt for attempt, _serving in session.exec(answered))


def _amounts_elsewhere(session: Session, study: Study) -> dict[tuple[str, str], dict[str, float]]:
    """(name, day) -> agent -> amount, for tasters who gave a name in other studies."""
    rows = _attempts(session, Attempt.study_id != study.id, Person.name != "")
    cups = _cups_answered(session, sorted({attempt.study_id for attempt, _, _ in rows}))
    plans = {
        study_id: plan_of(session.get_one(Study, study_id)) for study_id in {r[0].study_id for r in rows}
    }
    found: dict[tuple[str, str], dict[str, float]] = {}
    for attempt, _place, person in rows:
        amounts = found.setdefault((name_key(person.name), _day(attempt.dealt_at)), {})
        for dose in dose_of(plans[attempt.study_id], cups[attempt.id]):
            amounts[dose.agent.key] = amounts.get(dose.agent.key, 0.0) + dose.amount
    return found


def _day(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d}"
