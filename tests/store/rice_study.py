"""A study of rice, drafted, sealed and opened, as the store's tests need it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Barrier
from typing import TYPE_CHECKING, Any

from panel.store import studies
from panel.store.dealing import deal
from panel.store.recording import Recorded, record_screen, tasks_of
from panel.store.sealing import Sealed, seal_study
from panel.store.tables import Attempt, Study
from panel.study.answers import Answer, check_scores

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.store.database import Database
    from panel.store.tokens import Tokens

WHO = "organiser Wren"
PASSPHRASE = "steam rises at seven"
# Words that stand nowhere else, so that a search for them finds them or nothing.
WORDS = {
    "product-0-name": "Quxlavorimba",
    "product-0-maker": "Zophtrenkel",
    "product-0-lot": "LOT-77810-vq",
    "product-0-price": "€ 84.91",
    "product-0-note": "smells of wixforde rubber",
    "product-1-name": "Brömmelkarsch",
    "product-1-maker": "Ytterhaugsund",
}
TYPED = {
    "title": "Rice, round one",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "6",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "question-1-text": "How firm is it?",
    "question-1-scale": "line-100",
    **WORDS,
}


@dataclass(frozen=True, slots=True)
class Rice:
    """A sealed study in a database."""

    database: Database
    id: str
    sealed: Sealed

    def study(self) -> Study:
        with self.database.read() as session:
            return session.get_one(Study, self.id)

    def sitting_id(self) -> str:
        with self.database.read() as session:
            return studies.sitting_of(session, self.id).id

    def move(self, change: Callable[..., Any], *more: Any) -> None:
        with self.database.write() as session:
            change(session, self.id, WHO, *more)

    def open(self) -> Rice:
        self.move(studies.open_sitting)
        return self

    def close(self) -> None:
        self.move(studies.close_sitting)

    def join(self, name: str = "") -> str:
        """The id of a fresh attempt."""
        sitting = self.sitting_id()
        with self.database.write() as session:
            return deal(session, sitting, "wording", name).id

    def answer(self, attempt_id: str, number: int, submission: str, liking: str = "7") -> Recorded:
        """Send screen `number` as a phone does."""
        sent = {"q1": liking, "q2": "40"}
        with self.database.write() as session:
            attempt = session.get_one(Attempt, attempt_id)
            task = next(task for task in tasks_of(session, attempt) if task.number == number)
            questions = studies.plan_of(session.get_one(Study, self.id)).questions
            return record_screen(session, attempt, task, submission, sent, good_answers(questions, sent))


def good_answers(questions: Any, sent: dict[str, str]) -> list[Answer]:
    answers, problems = check_scores(questions, sent)
    assert problems == []
    return answers


def drafted(database: Database, typed: dict[str, str] | None = None) -> str:
    """The id of a draft whose plan is drawn."""
    with database.write() as session:
        study = studies.create_study(session, WHO, typed or TYPED)
        return studies.draw_plan(session, study.id).id


def sealed_rice(database: Database, tokens: Tokens, typed: dict[str, str] | None = None) -> Rice:
    study_id = drafted(database, typed)
    with database.write() as session:
        sealed = seal_study(session, tokens, study_id, WHO, PASSPHRASE, "self-attested")
    database.forget_deleted()
    return Rice(database, study_id, sealed)


def at_once(count: int, work: Callable[[int], Any]) -> list[Any]:
    """What `work` gives in so many threads that start together; a failure in one is a failure here."""
    barrier = Barrier(count)

    def started(number: int) -> Any:
        barrier.wait(30)
        return work(number)

    with ThreadPoolExecutor(count) as threads:
        return list(threads.map(started, range(count)))
