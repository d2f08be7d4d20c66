"""The rows of a study's room, made again by replaying what the log says happened in it.

Ids that seal and log name stay as they were; places, screens, cups and sittings get fresh ones, so that no printed
code, join card or phone's sign-in of the study works again.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

from panel.store.fresh_codes import CUP_REPLACED
from panel.store.random_ids import new_id
from panel.store.tables import (
    Answer,
    Attempt,
    Batch,
    Consent,
    Exclusion,
    Person,
    Place,
    Sample,
    Serving,
    Sitting,
    Study,
    Submission,
    Task,
)
from panel.study.answers import Answer as Checked
from panel.study.answers import check_scores
from panel.study.plan import plan_from_dict
from panel.study.questions import asked_at_end, asked_on
from panel.study.revisions import COUNTED
from panel.study.set_answers import check_set
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from sqlmodel import Session

    from panel.store.tokens import Tokens
    from panel.study.plan import Plan
    from panel.study.seal import Event

Row = dict[str, Any]


@dataclass(slots=True)
class ReplayedRoom:
    """The room while its log is replayed: `replay` every event in order, then `seat` what was sent."""

    session: Session
    tokens: Tokens
    study: Study
    sealed: Row
    plan: Plan = field(init=False)
    places: dict[int, Place] = field(default_factory=dict)
    tasks: dict[tuple[int, int], Task] = field(default_factory=dict)
    batches: dict[str, str] = field(default_factory=dict)
    cups: dict[tuple[int, int], dict[int, Serving]] = field(default_factory=dict)
    sittings: list[Sitting] = field(default_factory=list)
    attempts: dict[str, Attempt] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)
    agreed: dict[str, str] = field(default_factory=dict)
    received: dict[str, datetime] = field(default_factory=dict)
    erased: dict[str, datetime] = field(default_factory=dict)
    left_out: dict[str, Exclusion] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.plan = plan_from_dict(self.sealed["plan"])
        self._samples()
        self._screens()
        for place in self.places:
            self._pour(place, 1, {})
        self.sittings.append(Sitting(study_id=self.study.id, number=1))
        self.session.add(self.sittings[0])
        self.session.flush()

    def replay(self, event: Event) -> None:
        """What the event changed in the room; nothing for all other kinds."""
        change = _CHANGES.get(event.kind)
        if change is not None:
            change(self, event)

    def seat(self, sends: Iterable[Row]) -> None:
        """Everybody who came, what they sent, and who is left out, once the whole log is replayed."""
        self.session.add_all(cup for cups in self.cups.values() for cup in cups.values())
        self.session.flush()
        for attempt in self.attempts.values():
            person = Person(created_at=attempt.dealt_at, erased_at=self.erased.get(attempt.id))
            self.session.add(person)
            self.session.flush()
            attempt.person_id = person.id
            wording = self.agreed[attempt.id]
            self.session.add(
                Consent(
                    person_id=person.id, study_id=self.study.id, wording=wording, given_at=attempt.dealt_at
                )
            )
            self.session.add(attempt)
        self.session.flush()
        revisions: Counter[tuple[str, int]] = Counter()
        answers = [answer for send in sends for answer in self._record(send, revisions)]
        self.session.flush()
        self.session.add_all(answers)
        self.session.flush()
        for attempt in self.attempts.values():
            self._finish(attempt, revisions)
        self.session.add_all(self.left_out.values())
        self.session.flush()

    def _samples(self) -> None:
        for sample_id, label in self.sealed["labels"].items():
            self.session.add(Sample(id=sample_id, study_id=self.study.id, **label))
            batch = Batch(id=new_id(), sample_id=sample_id, number=1)
            self.batches[sample_id] = batch.id
            self.session.flush()
            self.session.add(batch)
        self.session.flush()

    def _screens(self) -> None:
        rows: dict[int, dict[int, Row]] = {}
        for cup in self.sealed["deal"]:
            rows.setdefault(cup["place"], {}).setdefault(cup["task"], cup)
        for number, screens in sorted(rows.items()):
            place = self.places[number] = Place(id=new_id(), study_id=self.study.id, number=number)
            self.session.add(place)
            of_sitting = _sittings_of(screens, self.plan)
            for task, cup in sorted(screens.items()):
                self.tasks[number, task] = Task(
                    id=new_id(), place_id=place.id, number=task, sitting=of_sitting[task], condition=cup["condition"],
                    scored=not cup["warm_up"],
                )  # fmt: skip
            if asked_at_end(self.plan):
                last = max(screens) + 1
                self.tasks[number, last] = Task(
                    id=new_id(), place_id=place.id, number=last, sitting=of_sitting[max(screens)], condition=0,
                    scored=False,
                )  # fmt: skip
        self.session.flush()
        self.session.add_all(self.tasks.values())
        self.session.flush()

    def _pour(self, place: int, attempt: int, codes: dict[int, str]) -> None:
        """The cups of an attempt at the place, under these codes (position -> code) or those sealed."""
        rows = [row for row in self.sealed["deal"] if row["place"] == place]
        ids = {row["position"]: new_id() for row in rows}
        self.cups[place, attempt] = {
            row["position"]: Serving(
                id=ids[row["position"]],
                place_id=self.places[place].id,
                task_id=self.tasks[place, row["task"]].id,
                sample_id=row["sample"],
                batch_id=self.batches[row["sample"]],
                attempt_number=attempt,
                position=row["position"],
                condition=row["condition"],
                replicate=row["replicate"],
                code=codes.get(row["position"], row["code"]),
                token=self.tokens.cup(ids[row["position"]], 1),
                same_cup_as=ids.get(row["same_cup_as"]),
                warm_up=row["warm_up"],
                dot=row.get("dot") if attempt == 1 else None,
            )
            for row in rows
        }

    def opened(self, event: Event) -> None:
        number = event.detail["sitting"]
        if number > len(self.sittings):
            self.sittings.append(Sitting(study_id=self.study.id, number=number))
            self.session.add(self.sittings[-1])
            self.session.flush()
        self.sittings[-1].opened_at = moment_of(event)

    def ended(self, event: Event) -> None:
        self.sittings[-1].closed_at = self.sittings[-1].closed_at or moment_of(event)

    def dealt(self, event: Event) -> None:
        place = event.detail["place"]
        number = 1 + sum(found == place for found in self.numbers.values())
        attempt = Attempt(
            id=event.detail["attempt"],
            study_id=self.study.id,
            place_id=self.places[place].id,
            person_id="",
            sitting_id=self.sittings[-1].id,
            number=number,
            dealt_at=moment_of(event),
        )
        self.attempts[attempt.id], self.numbers[attempt.id] = attempt, place
        self.agreed[attempt.id] = event.detail["notice"]

    def left(self, event: Event) -> None:
        attempt = self.attempts[event.detail["attempt"]]
        attempt.status, attempt.finished_at = "stepped out", moment_of(event)

    def poured_again(self, event: Event) -> None:
        codes = {int(position): code for position, code in event.detail["codes"].items()}
        self._pour(event.detail["place"], event.detail["attempt number"], codes)

    def replaced(self, event: Event) -> None:
        cups = self.cups[event.detail["place"], event.detail["attempt number"]]
        for position in event.detail["positions"]:
            cup = cups[position]
            cup.sealed_code, cup.code = cup.sealed_code or cup.code, event.detail["code"]

    def exchanged(self, event: Event) -> None:
        cups = self.cups[event.detail["place"], event.detail["attempt number"]]
        for position, served in event.detail["served"].items():
            cups[int(position)].served_position = served

    def dots_read(self, event: Event) -> None:
        cups = self.cups[event.detail["place"], 1]
        filled = {cup.dot: cup.sample_id for cup in cups.values()}
        for position, dot in event.detail["dots"].items():
            cups[int(position)].found_sample_id = filled[dot]

    def received_at(self, event: Event) -> None:
        self.received[event.detail["submission"]] = moment_of(event)

    def erased_at(self, event: Event) -> None:
        self.erased[event.detail["attempt"]] = moment_of(event)

    def excluded(self, event: Event) -> None:
        attempt = event.detail["attempt"]
        self.left_out[attempt] = Exclusion(
            attempt_id=attempt, reason=event.detail["reason"], excluded_at=moment_of(event)
        )

    def counted_again(self, event: Event) -> None:
        self.left_out.pop(event.detail["attempt"], None)

    def _record(self, send: Row, revisions: Counter[tuple[str, int]]) -> list[Answer]:
        """The send as a row, and its answers as rows that are to follow it."""
        attempt = self.attempts[send["attempt"]]
        task = self.tasks[self.numbers[attempt.id], send["task"]]
        self.session.add(
            Submission(
                id=send["submission"],
                attempt_id=attempt.id,
                task_id=task.id,
                outcome=send["outcome"],
                late=send["late"],
                sent=json.dumps(send["sent"], ensure_ascii=False, sort_keys=True),
                erased=json.dumps(send["erased"], sort_keys=True),
                received_at=self.received[send["submission"]],
            )
        )
        if send["outcome"] not in COUNTED:
            return []
        if attempt.status == "tasting":
            attempt.finished_at = self.received[send["submission"]]
        revisions[attempt.id, send["task"]] += 1
        return [
            Answer(
                submission_id=send["submission"],
                attempt_id=attempt.id,
                task_id=task.id,
                condition=task.condition,
                question=answer.question,
                revision=revisions[attempt.id, send["task"]],
                value=json.dumps(answer.value, ensure_ascii=False),
            )
            for answer in self._answers(attempt, task, send)
        ]

    def _answers(self, attempt: Attempt, task: Task, send: Row) -> list[Checked]:
        cups = self.cups[self.numbers[attempt.id], attempt.number].values()
        served = [cup for cup in cups if cup.task_id == task.id]
        if method_of(self.plan.method).wording is None or not served:
            asked = asked_on(self.plan, task.condition) if served else asked_at_end(self.plan)
            kept = tuple(question for question in asked if question.key not in send["erased"])
            answers, _problems = check_scores(kept, send["sent"])
            return answers + [Checked(question.key, None) for question in asked if question not in kept]
        scored = [cup for cup in served if not cup.warm_up]
        answer = check_set(self.plan.method, len(scored), send["sent"], no_preference=self.plan.no_preference)
        return [answer] if scored and isinstance(answer, Checked) else []

    def _finish(self, attempt: Attempt, revisions: Counter[tuple[str, int]]) -> None:
        place = self.numbers[attempt.id]
        everything = {task for at, task in self.tasks if at == place}
        if attempt.status == "tasting":
            done = all(revisions[attempt.id, task] for task in everything)
            attempt.status, attempt.finished_at = (
                ("finished", attempt.finished_at) if done else ("tasting", None)
            )
        self.session.add(attempt)


def _sittings_of(screens: dict[int, Row], plan: Plan) -> dict[int, int]:
    """Screen -> the sitting it comes at: each begins with its warm-up, or all are equally long."""
    listed, found, sitting = sorted(screens), {}, 0
    warm_ups = sum(bool(screens[task]["warm_up"]) for task in listed)
    for place, task in enumerate(listed):
        if warm_ups == plan.layout.sittings:
            sitting += bool(screens[task]["warm_up"])
        else:
            sitting = 1 + place * plan.layout.sittings // len(listed)
        found[task] = max(1, sitting)
    return found


def moment_of(event: Event) -> datetime:
    """When it happened."""
    return datetime.fromisoformat(event.at)


_CHANGES: dict[str, Callable[[ReplayedRoom, Event], None]] = {
    "sitting opened": ReplayedRoom.opened,
    "sitting ended": ReplayedRoom.ended,
    "sitting closed": ReplayedRoom.ended,
    "place dealt": ReplayedRoom.dealt,
    "taster stepped out": ReplayedRoom.left,
    "taster gone": ReplayedRoom.left,
    "place given again": ReplayedRoom.poured_again,
    CUP_REPLACED: ReplayedRoom.replaced,
    "cups served in another order": ReplayedRoom.exchanged,
    "dots read": ReplayedRoom.dots_read,
    "answers received": ReplayedRoom.received_at,
    "person erased": ReplayedRoom.erased_at,
    "taster left out": ReplayedRoom.excluded,
    "taster counted again": ReplayedRoom.counted_again,
}
