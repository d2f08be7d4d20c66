"""A sealed study whose cups are known beforehand, so that a test can say which code a taster must meet."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

from sqlmodel import Session, col, select

from panel.store.database import Database, now
from panel.store.random_ids import new_id
from panel.store.studies import close_sitting, open_sitting
from panel.store.tables import (
    Answer,
    Attempt,
    Batch,
    Place,
    Sample,
    Serving,
    Sitting,
    Study,
    Submission,
    Task,
)
from panel.store.tokens import Tokens
from panel.study.plan import Plan, Question, plan_to_dict

RATING = Plan(
    title="Rice cookers, round one",
    heading="Rice tasting",
    question="Which rice is liked best?",
    method="rating",
    samples=2,
    tasters=3,
    questions=(
        Question("q0", "How much do you like it overall?", "hedonic-9"),
        Question("q1", "How firm is it?", "line-100", low="very soft", high="very firm"),
        Question("q2", "Would you eat it again?", "yes-no"),
        Question("q3", "Anything else?", "comment", required=False),
    ),
    primary="q0",
    briefing="Taste a spoonful of each.\nThere is no right or wrong.",
    rinse="Rinse with water and wait a moment.",
    allergens=("soybeans", "fish"),
    other_allergens="buckwheat",
    cautions=("hot",),
    ask_name=True,
)
TRIANGLE = replace(RATING, method="triangle", questions=(), primary="", replicates=2, ask_name=False)
WITH_DASHI = replace(RATING, conditions=("plain", "with dashi"), condition_mode="same cup", tasters=1)

# Every kind of question, on one screen; then one that is asked once, on a screen without cups.
EVERY_QUESTION = replace(
    RATING,
    tasters=1,
    ask_name=False,
    question_order="rotated",
    questions=(
        Question("q1", "How much do you like it?", "hedonic-9"),
        Question("q2", "How firm is it?", "line-100", low="very soft", high="very firm", cannot_tell=True),
        Question("q3", "How salty is it?", "just-about-right", cannot_tell=True),
        Question("q4", "How sticky is it?", "category", points=("not at all", "a little", "very")),
        Question("q5", "What does it smell of?", "check-all", points=("popcorn", "hay", "rubber", "nuts")),
        Question("q6", "Is it …?", "yes-no-list", points=("even", "glossy", "broken")),
        Question("q7", "Would you eat it again?", "yes-no"),
        Question("q8", "How much did you leave?", "number", least=0, most=50, unit="g"),
        Question("q9", "In a word?", "short-text", longest=20),
        Question("q10", "Anything else?", "comment", required=False),
        Question("q11", "Which rice do you eat at home?", "short-text", at_end=True),
    ),
    primary="q1",
)
# Place -> screens -> cups: (sample, code, condition, code of the same cup tasted before or "")
Cups = list[tuple[int, str, int, str]]
RATING_PLACES: list[list[Cups]] = [
    [[(0, "417", 0, "")], [(1, "283", 0, "")]],
    [[(1, "562", 0, "")], [(0, "739", 0, "")]],
    [[(0, "846", 0, "")], [(1, "125", 0, "")]],
]
TRIANGLE_PLACES: list[list[Cups]] = [
    [[(0, "417", 0, ""), (1, "283", 0, ""), (0, "562", 0, "")],
     [(1, "739", 0, ""), (1, "846", 0, ""), (0, "125", 0, "")]],
    [[(1, "374", 0, ""), (0, "628", 0, ""), (0, "951", 0, "")],
     [(0, "513", 0, ""), (1, "692", 0, ""), (1, "748", 0, "")]],
]  # fmt: skip
DASHI_PLACES: list[list[Cups]] = [
    [[(0, "417", 0, "")], [(0, "417", 1, "417")], [(1, "283", 0, "")], [(1, "283", 1, "283")]],
]
EVERY_PLACES: list[list[Cups]] = [[[(0, "417", 0, "")], [(1, "283", 0, "")], []]]


def one_set(method: str, samples: tuple[int, ...], **wishes: object) -> tuple[Plan, list[list[Cups]]]:
    """A study by that method with one place and one set of these samples, under the codes of `CODES`."""
    plan = replace(RATING, method=method, questions=(), primary="", ask_name=False, tasters=1)
    plan = replace(plan, samples=max(2, max(samples) + 1), **wishes)  # type: ignore[arg-type]
    return plan, [[[(sample, code, 0, "") for sample, code in zip(samples, CODES, strict=False)]]]


CODES = ("417", "283", "562", "739", "846")


@dataclass(frozen=True, slots=True)
class SealedSitting:
    """A study with one sitting in a database, as the tests hold it."""

    database: Database
    tokens: Tokens
    study_id: str
    join_token: str

    @property
    def join_path(self) -> str:
        return f"/J/{self.join_token}"

    def open(self) -> None:
        with self.database.write() as session:
            open_sitting(session, self.study_id, "organiser Ada")

    def close(self) -> None:
        with self.database.write() as session:
            close_sitting(session, self.study_id, "organiser Ada")

    def answers(self) -> list[tuple[int, int, str, object, bool]]:
        """Every stored answer: place, screen, question, value, late; in order."""
        query = (
            select(Place.number, Task.number, Answer.question, Answer.value, Submission.late)
            .join(Attempt, col(Attempt.place_id) == Place.id)
            .join(Answer, col(Answer.attempt_id) == Attempt.id)
            .join(Task, col(Task.id) == Answer.task_id)
            .join(Submission, col(Submission.id) == Answer.submission_id)
            .order_by(col(Place.number), col(Task.number), col(Answer.question))
        )
        with self.database.read() as session:
            return [(*row[:3], json.loads(row[3]), row[4]) for row in session.exec(query)]

    def values(self) -> dict[tuple[int, int, str], object]:
        """(place, screen, question) -> value; a second answer to one question would fail here."""
        rows = self.answers()
        found = {row[:3]: row[3] for row in rows}
        assert len(found) == len(rows), f"an answer stands twice: {rows}"
        return found

    def submissions(self) -> list[Submission]:
        with self.database.read() as session:
            return list(session.exec(select(Submission).order_by(col(Submission.received_at))))

    def attempts(self) -> list[Attempt]:
        with self.database.read() as session:
            query = select(Attempt).join(Place, col(Place.id) == Attempt.place_id)
            return list(session.exec(query.order_by(col(Place.number), col(Attempt.number))))

    def cup_token(self, code: str) -> str:
        with self.database.read() as session:
            query = select(Serving.token).where(Serving.code == code).order_by(col(Serving.position))
            return session.exec(query).first() or ""

    def secrets(self) -> set[str]:
        """Every id in the database that could tell samples apart."""
        with self.database.read() as session:
            rows = [*session.exec(select(Sample.id)), *session.exec(select(Serving.id))]
            tokens = session.exec(select(Serving.token))
            return {*rows, *tokens, *session.exec(select(Batch.id)), *session.exec(select(Task.id))}


def seal_sitting(database: Database, tokens: Tokens, plan: Plan, places: list[list[Cups]]) -> SealedSitting:
    """Put the study with these cups into the database, sealed and not yet open."""
    with database.write() as session:
        study = Study(state="sealed", title=plan.title, plan=json.dumps(plan_to_dict(plan)), created_at=now())
        session.add(study)
        session.flush()
        samples = [
            Sample(study_id=study.id, blind_label=f"BLIND{label}", pour_letter=f"POUR{letter}")
            for label, letter in zip("ABCD"[: plan.samples], "WXYZ", strict=False)
        ]
        sitting = Sitting(study_id=study.id, number=1)
        session.add_all([*samples, sitting])
        session.flush()
        batches = [Batch(sample_id=sample.id, number=1) for sample in samples]
        session.add_all(batches)
        session.flush()
        for number, screens in enumerate(places, start=1):
            place = Place(study_id=study.id, number=number)
            session.add(place)
            session.flush()
            _add_cups(session, tokens, place, screens, samples, batches)
        join = tokens.sitting(sitting.id, sitting.token_revision)
    return SealedSitting(database, tokens, study.id, join)


def _add_cups(
    session: Session,
    tokens: Tokens,
    place: Place,
    screens: list[Cups],
    samples: list[Sample],
    batches: list[Batch],
) -> None:
    position, by_code = 0, {}
    for number, cups in enumerate(screens, start=1):
        task = Task(place_id=place.id, number=number, condition=cups[0][2] if cups else 0)
        session.add(task)
        session.flush()
        for sample, code, condition, before in cups:
            position += 1
            serving_id = new_id()
            serving = Serving(
                id=serving_id,
                place_id=place.id,
                task_id=task.id,
                sample_id=samples[sample].id,
                batch_id=batches[sample].id,
                position=position,
                condition=condition,
                replicate=1,
                code=code,
                token=tokens.cup(serving_id, 1),
                same_cup_as=by_code.get(before),
            )
            session.add(serving)
            session.flush()
            by_code[code] = serving_id
