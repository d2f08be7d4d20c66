"""What the other rooms read of a study, as plain frozen rows: screens, progress, answers. No product's name."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

from sqlmodel import Session, col, func, select

from panel.store.dealing import waiting_places
from panel.store.ledger import arrivals
from panel.store.revisions import standing_answers
from panel.store.sittings import open_one
from panel.store.studies import plan_of, sitting_of
from panel.store.tables import (
    Answer,
    Attempt,
    Exclusion,
    Person,
    Place,
    Sample,
    Serving,
    Study,
    Submission,
    Task,
)
from panel.study.answer_rows import Choice, Score
from panel.study.pseudonyms import taster_name
from panel.study.set_answers import SET_ANSWER, SetCup, judged


def served_at(serving: Serving) -> int:
    """The position at which the cup was really served; the planned one unless noted otherwise."""
    return serving.position if serving.served_position is None else serving.served_position


@dataclass(frozen=True, slots=True)
class Cup:
    """One cup as taster, printer and kitchen may know it; the kitchen alone uses the pour letter.

    sitting : at which of the taster's sittings it is served; fresh : whether it is to be poured again
    """

    place: int
    task: int
    position: int
    code: str
    token: str
    condition: int
    pour_letter: str
    same_cup: bool
    attempt_number: int
    sitting: int
    fresh: bool


@dataclass(frozen=True, slots=True)
class SeatProgress:
    """How far one place, or one attempt at it, has come; never what was answered.

    due : screens of the sittings so far; dealt, last_heard : moments in ISO form, "" where there was none
    waits : whether cups stand there for a next comer
    """

    place: int
    status: str
    answered: int
    screens: int
    attempt_id: str
    name: str
    last_heard: str
    attempt_number: int
    due: int
    dealt: str
    waits: bool


@dataclass(frozen=True, slots=True)
class Send:
    """One send of a phone, as it was stored. erased: field -> fingerprint, for words that were erased since."""

    submission: str
    attempt: str
    task: int
    outcome: str
    late: bool
    sent: dict[str, str]
    erased: dict[str, str]


def cups_of(session: Session, study_id: str) -> list[Cup]:
    """Every cup ever planned, in tray order: by place, attempt and position."""
    query = (
        select(Serving, Place.number, Task, Sample.pour_letter)
        .join(Place, col(Place.id) == Serving.place_id)
        .join(Task, col(Task.id) == Serving.task_id)
        .join(Sample, col(Sample.id) == Serving.sample_id)
        .where(Place.study_id == study_id)
        .order_by(col(Place.number), col(Serving.attempt_number), col(Serving.position))
    )
    return [
        Cup(
            place=place,
            task=task.number,
            position=serving.position,
            code=serving.code,
            token=serving.token,
            condition=serving.condition,
            pour_letter=letter,
            same_cup=serving.same_cup_as is not None,
            attempt_number=serving.attempt_number,
            sitting=task.sitting,
            fresh=serving.attempt_number > 1 or serving.sealed_code != "",
        )
        for serving, place, task, letter in session.exec(query)
    ]


def current_cups_of(session: Session, study_id: str) -> list[Cup]:
    """The cups that stand, or will stand, at the places: of each place those of its latest attempt."""
    cups = cups_of(session, study_id)
    latest = {cup.place: cup.attempt_number for cup in cups}
    return [cup for cup in cups if cup.attempt_number == latest[cup.place]]


def most_cups_at_a_sitting(session: Session, study_id: str) -> int:
    """The most cups that one place gets at one sitting, as sealed; an addition into the same cup is none."""
    query = (
        select(func.count(col(Serving.id)))
        .join(Task, col(Task.id) == Serving.task_id)
        .join(Place, col(Place.id) == Serving.place_id)
        .where(Place.study_id == study_id, Serving.attempt_number == 1, col(Serving.same_cup_as).is_(None))
        .group_by(col(Serving.place_id), col(Task.sitting))
    )
    return max(session.exec(query), default=0)


def open_sitting_number(session: Session, study_id: str) -> int:
    """The number of the sitting that is open, from 1; 0 while none is."""
    sitting = open_one(session, study_id)
    return sitting.number if sitting else 0


def servings_of(session: Session, attempt: Attempt) -> list[tuple[Task, list[Serving]]]:
    """The attempt's screens in order, each with its cups in serving order; the last may be one without cups."""
    without = (
        select(Task)
        .outerjoin(Serving, col(Serving.task_id) == Task.id)
        .where(Task.place_id == attempt.place_id, col(Serving.id).is_(None))
    )
    at_end: list[tuple[Task, list[Serving]]] = [(task, []) for task in session.exec(without)]
    return servings_at(session, attempt.place_id, attempt.number) + at_end


def servings_at(session: Session, place_id: str, attempt_number: int) -> list[tuple[Task, list[Serving]]]:
    """The screens of one attempt at a place, begun or not, each with its cups in serving order."""
    query = (
        select(Task, Serving)
        .join(Serving, col(Serving.task_id) == Task.id)
        .where(Serving.place_id == place_id, Serving.attempt_number == attempt_number)
        .order_by(col(Task.number), col(Serving.position))
    )
    screens: dict[int, tuple[Task, list[Serving]]] = {}
    for task, serving in session.exec(query):
        screens.setdefault(task.number, (task, []))[1].append(serving)
    return list(screens.values())


def serving_with_token(session: Session, token: str) -> tuple[Serving, Place, Task] | None:
    """The cup that a QR code names, or None."""
    query = (
        select(Serving, Place, Task)
        .join(Place, col(Place.id) == Serving.place_id)
        .join(Task, col(Task.id) == Serving.task_id)
        .where(Serving.token == token.upper())
    )
    return session.exec(query).first()


def progress_of(session: Session, study_id: str) -> list[SeatProgress]:
    """Every place in order with how far its latest attempt has come."""
    screens = _count_screens(session, study_id)
    waiting = {place.number for place, _ in waiting_places(session, study_id)}
    latest = {seat.place: seat for seat in attempts_of(session, study_id)}
    seats = []
    for place in session.exec(select(Place).where(Place.study_id == study_id).order_by(col(Place.number))):
        total, due = screens.get(place.id, (0, 0))
        seat = latest.get(place.number) or SeatProgress(
            place.number, "free", 0, total, "", "", "", 1, due, "", False
        )
        seats.append(replace(seat, waits=place.number in waiting))
    return seats


def attempts_of(session: Session, study_id: str) -> list[SeatProgress]:
    """Everybody who ever took a place, by place and attempt."""
    screens, heard = _count_screens(session, study_id), _last_heard(session, study_id)
    query = (
        select(Attempt, Place.number, Person.name)
        .join(Place, col(Place.id) == Attempt.place_id)
        .join(Person, col(Person.id) == Attempt.person_id)
        .where(Attempt.study_id == study_id)
        .order_by(col(Place.number), col(Attempt.number))
    )
    seats = []
    for attempt, place, name in session.exec(query):
        answered, last = heard.get(attempt.id, (0, ""))
        total, due = screens[attempt.place_id]
        dealt = attempt.dealt_at.isoformat()
        seats.append(
            SeatProgress(
                place,
                attempt.status,
                answered,
                total,
                attempt.id,
                name,
                last,
                attempt.number,
                due,
                dealt,
                False,
            )
        )
    return seats


def scores_of(session: Session, study: Study) -> list[Score]:
    """Every stored answer about single cups, by taster, question, condition, label and replicate."""
    plan = plan_of(study)
    query = (
        select(Answer, Serving, Attempt, Submission.late)
        .join(Submission, col(Submission.id) == Answer.submission_id)
        .join(Attempt, col(Attempt.id) == Answer.attempt_id)
        .join(
            Serving,
            (col(Serving.task_id) == Answer.task_id) & (col(Serving.attempt_number) == Attempt.number),
        )
        .where(Attempt.study_id == study.id, col(Serving.warm_up).is_(False), Answer.question != SET_ANSWER)
    )
    places, labels = _place_numbers(session, study.id), _blind_labels(session, study.id)
    ranks, counted = _ranks_in_condition(session, study.id), standing_answers(session, study.id)
    scores = [
        Score(
            attempt_id=attempt.id,
            taster=taster_name(places[attempt.place_id], attempt.number),
            sample=labels[stood(serving)],
            question=answer.question,
            condition=plan.conditions[answer.condition],
            replicate=serving.replicate,
            position=ranks[serving.id],
            value=json.loads(answer.value),
            late=late,
        )
        for answer, serving, attempt, late in session.exec(query)
        if answer.submission_id in counted
    ]
    return sorted(
        scores, key=lambda s: (s.taster, s.question, s.condition, len(s.sample), s.sample, s.replicate)
    )


def choices_of(session: Session, study: Study) -> list[Choice]:
    """Every answer about a set, by taster and set."""
    plan = plan_of(study)
    query = (
        select(Answer, Task, Attempt, Submission)
        .join(Submission, col(Submission.id) == Answer.submission_id)
        .join(Task, col(Task.id) == Answer.task_id)
        .join(Attempt, col(Attempt.id) == Answer.attempt_id)
        .join(Place, col(Place.id) == Attempt.place_id)
        .where(Attempt.study_id == study.id, Answer.question == SET_ANSWER)
        .order_by(col(Place.number), col(Attempt.number), col(Task.number))
    )
    places, labels = _place_numbers(session, study.id), _blind_labels(session, study.id)
    roles = dict(session.exec(select(Sample.id, Sample.role).where(Sample.study_id == study.id)).all())
    arrived, sets, choices = arrivals(session, study.id), _sets_served(session, study.id), []
    for answer, task, attempt, sent in session.exec(query):
        served = sets[task.id, attempt.number]
        cups = [SetCup(labels[stood(cup)], roles[stood(cup)], served_at(cup)) for cup in served]
        found = judged(plan.method, cups, str(json.loads(answer.value)))
        choices.append(
            Choice(
                attempt_id=attempt.id,
                taster=taster_name(places[attempt.place_id], attempt.number),
                set_number=task.number,
                condition=plan.conditions[task.condition],
                samples=found.samples,
                chosen=found.chosen,
                correct=found.correct,
                late=sent.late,
                arrived=arrived[sent.id],
            )
        )
    return choices


def sends_of(session: Session, study_id: str) -> list[Send]:
    """Every send of every phone, as it was stored, in order of arrival."""
    query = (
        select(Submission, Task.number)
        .join(Task, col(Task.id) == Submission.task_id)
        .join(Attempt, col(Attempt.id) == Submission.attempt_id)
        .where(Attempt.study_id == study_id)
    )
    arrived = arrivals(session, study_id)
    return [
        Send(
            submission=sent.id,
            attempt=sent.attempt_id,
            task=task,
            outcome=sent.outcome,
            late=sent.late,
            sent=json.loads(sent.sent),
            erased=json.loads(sent.erased),
        )
        for sent, task in sorted(session.exec(query), key=lambda row: arrived[row[0].id])
    ]


def exclusions_of(session: Session, study_id: str) -> dict[str, str]:
    """Attempt id -> reason, for the attempts that are left out."""
    query = select(Exclusion).join(Attempt, col(Attempt.id) == Exclusion.attempt_id)
    return {
        found.attempt_id: found.reason for found in session.exec(query.where(Attempt.study_id == study_id))
    }


def stood(serving: Serving) -> str:
    """The id of the sample that really stood under the code."""
    return serving.found_sample_id or serving.sample_id


def _count_screens(session: Session, study_id: str) -> dict[str, tuple[int, int]]:
    """Place id -> its screens, and those of the sittings up to the latest one."""
    sitting = sitting_of(session, study_id).number
    counts: dict[str, tuple[int, int]] = {}
    query = select(Task.place_id, Task.sitting).join(Place, col(Place.id) == Task.place_id)
    for place_id, at in session.exec(query.where(Place.study_id == study_id)):
        total, due = counts.get(place_id, (0, 0))
        counts[place_id] = (total + 1, due + (at <= sitting))
    return counts


def _last_heard(session: Session, study_id: str) -> dict[str, tuple[int, str]]:
    query = select(Submission).join(Attempt, col(Attempt.id) == Submission.attempt_id)
    heard: dict[str, tuple[int, str]] = {}
    stored = query.where(Attempt.study_id == study_id, Submission.outcome == "stored")
    for submission in session.exec(stored.order_by(col(Submission.received_at))):
        answered = heard.get(submission.attempt_id, (0, ""))[0] + 1
        heard[submission.attempt_id] = (answered, submission.received_at.isoformat())
    return heard


def _ranks_in_condition(session: Session, study_id: str) -> dict[str, int]:
    """Serving id -> how many cups of its condition its taster had by then, itself included."""
    query = select(Serving).join(Place, col(Place.id) == Serving.place_id).where(Place.study_id == study_id)
    ranks: dict[str, int] = {}
    served: dict[tuple[str, int, int], int] = {}
    for serving in sorted(session.exec(query), key=served_at):
        if not serving.warm_up:
            row = (serving.place_id, serving.attempt_number, serving.condition)
            ranks[serving.id] = served[row] = served.get(row, 0) + 1
    return ranks


def _sets_served(session: Session, study_id: str) -> dict[tuple[str, int], list[Serving]]:
    """Screen id and number of the attempt -> the cups of that screen in the order of the plan."""
    query = select(Serving).join(Place, col(Place.id) == Serving.place_id).where(Place.study_id == study_id)
    sets: dict[tuple[str, int], list[Serving]] = {}
    for cup in session.exec(query.order_by(col(Serving.position))):
        sets.setdefault((cup.task_id, cup.attempt_number), []).append(cup)
    return sets


def _place_numbers(session: Session, study_id: str) -> dict[str, int]:
    return {place.id: place.number for place in session.exec(select(Place).where(Place.study_id == study_id))}


def _blind_labels(session: Session, study_id: str) -> dict[str, str]:
    return {
        sample.id: sample.blind_label
        for sample in session.exec(select(Sample).where(Sample.study_id == study_id))
    }
