"""A new study begins from a question in plain words and what is known of people, products and time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.circumstances import Circumstances, read_circumstances
from panel.study.draft_reader import Reader

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.problems import Problem

MOST_PRODUCTS = 40
MOST_PEOPLE = 2000
MOST_VISITS = 10
MOST_WORDS = 12
HOPES = ("noticed", "unnoticed")


@dataclass(frozen=True, slots=True)
class PlainQuestion:
    """One question as people ask it. pair : whether it is about two products; explains : what it finds out"""

    key: str
    words: str
    explains: str
    title: str
    pair: bool = False


QUESTIONS: dict[str, PlainQuestion] = {
    question.key: question
    for question in (
        PlainQuestion(
            "apart",
            "Can people tell them apart?",
            "Whether anybody would notice which is which, if the labels were gone.",
            "Told apart or not",
            pair=True,
        ),
        PlainQuestion(
            "change",
            "Did the change matter?",
            "A recipe, a setting or a supplier changed: is it noticed, or safe to say that hardly anybody does?",
            "Before and after",
            pair=True,
        ),
        PlainQuestion(
            "liked",
            "Which is liked best?",
            "What people like, by how much, and how sure that is.",
            "Liking",
        ),
        PlainQuestion(
            "as good",
            "Is ours as good as theirs?",
            "Whether so few can tell the two apart that one may stand for the other.",
            "As good as the other",
            pair=True,
        ),
        PlainQuestion(
            "like what",
            "What is it like?",
            "How sweet, how firm, how bitter: a profile of each product, side by side.",
            "Profile",
        ),
        PlainQuestion(
            "rank",
            "How do people rank them?",
            "One order, from best to last or from most to least of something.",
            "Ranking",
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Situation:
    """What is asked, of whom, about what, and what stands in the way.

    about : what kind of thing it is ("rice"); people : None where it was left open, for as many as are needed
    visits : how often the same people can come; cups : how many one person can take at a sitting, None for the usual
    hope : "noticed" or "unnoticed", for a change; attribute : the one thing in which they may differ
    knows_stronger : whether it is known which has more of it; words : what to score, for a profile
    served : cautions that apply; caffeine_mg, alcohol_g : in the strongest cup; per_cup, unit : its size
    at_once : tasters served together
    """

    asks: str
    about: str
    products: int
    people: int | None
    visits: int
    cups: int | None
    hope: str
    attribute: str
    knows_stronger: bool
    words: tuple[str, ...]
    served: tuple[str, ...]
    caffeine_mg: float | None
    alcohol_g: float | None
    per_cup: float | None
    unit: str
    at_once: int | None
    known: Circumstances

    @property
    def question(self) -> PlainQuestion:
        """The question as people ask it."""
        return QUESTIONS[self.asks]


def read_situation(typed: Mapping[str, str]) -> tuple[Situation, tuple[Problem, ...]]:
    """The situation that the typed fields describe, open ones at their usual values, and what is wrong with them."""
    reader = Reader(typed)
    situation = Situation(
        asks=reader.choice("asks", "a question", QUESTIONS, "liked"),
        about=reader.text("about", "what it is", longest=60),
        products=reader.whole("products", "how many products there are", 1, MOST_PRODUCTS, default=2),
        people=_open(reader, "people", "how many people you have", 1, MOST_PEOPLE),
        visits=reader.whole("visits", "how often the same people can come", 1, MOST_VISITS, default=1),
        cups=_open(reader, "cups", "how many cups a person can take", 1, 60),
        hope=reader.choice("hope", "what you hope for", HOPES, "noticed"),
        attribute=reader.text("attribute", "in what they may differ", longest=60),
        knows_stronger=bool(reader.typed.get("knows_stronger")),
        words=_words(reader),
        served=reader.ticked("caution_", ("hot", "warm-held", "alcohol", "caffeine", "raw")),
        caffeine_mg=reader.number("caffeine_mg", "the caffeine in the strongest cup, in mg,", 0.1, 1000),
        alcohol_g=reader.number("alcohol_g", "the alcohol in the strongest cup, in g,", 0.01, 100),
        per_cup=reader.number("per_cup", "the amount in a cup", 0.1, 10_000),
        unit=reader.choice("unit", "a unit", ("g", "ml"), "g"),
        at_once=_open(reader, "at_once", "how many tasters are served together", 1, 500),
        known=read_circumstances(reader),
    )
    return situation, tuple(reader.problems)


def _open(reader: Reader, name: str, what: str, low: int, high: int) -> int | None:
    """A whole number that may be left open."""
    if not reader.typed.get(name, "").strip():
        return None
    return reader.whole(name, what, low, high)


def _words(reader: Reader) -> tuple[str, ...]:
    typed = reader.text("words", "what to score, one to a line,")
    found = tuple(dict.fromkeys(line.strip() for line in typed.splitlines() if line.strip()))
    if len(found) > MOST_WORDS:
        text = f"Score at most {MOST_WORDS} things; there are {len(found)}. Tasters tire."
        reader.wrong("words", "too_many", text)
    for line in found:
        if len(line) > 60:
            reader.wrong("words", "too_long", f"Shorten “{line[:30]}…” to 60 characters.")
    return found
