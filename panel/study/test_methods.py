"""The test methods: samples, servings in a set, chance, answer and analysis. One table, nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from panel.study.scales import (
    A_NOT_A,
    DUO_TRIO,
    PAIRED_PREFERENCE,
    RANKING,
    SAME_DIFFERENT,
    STRONGEST_OF_THREE,
    STRONGEST_OF_TWO,
    TETRAD,
    TRIANGLE,
    TWO_OUT_OF_FIVE,
    SetWording,
)

Answer = Literal[
    "scores",
    "odd one",
    "like the reference",
    "stronger one",
    "two groups",
    "two of a kind",
    "same or different",
    "is it A",
    "preferred one",
    "order",
]
Analysis = Literal["scores", "forced choice", "same-different", "A-not-A", "preference", "ranking"]


@dataclass(frozen=True, slots=True)
class TestMethod:
    """One way to compare samples.

    fewest, most : how many samples it takes
    set_size : servings judged together on one screen; 0 for all that a taster takes
    chance : probability of a right answer by guessing; None where nothing is right or wrong by guessing alone
    answer : what the taster gives (see `set_answers`, but for scores)
    analysis : which family of results the report shows
    wording : what tasters read, locked; None where the organiser writes the questions
    may_go_back : whether the organiser may let tasters correct an answered screen
    retaste : whether cups are usually tasted again before answering
    in_parts : whether a taster may take some of the samples only
    directed : whether one sample is expected to be stronger, which a right answer names
    needs_reference : whether one sample must be known to the tasters beforehand
    keeps_reference : whether a sample marked as the reference is the reference of every set
    known_first : whether each sitting starts with the reference, named as such
    asks_attribute : whether the organiser says in which attribute; where it may be left empty, by liking
    """

    __test__ = False  # pytest would take the name for a test class

    id: str
    name: str
    question: str
    explanation: str
    fewest: int
    most: int
    set_size: int
    chance: float | None
    answer: Answer
    analysis: Analysis
    standard: str
    wording: SetWording | None = None
    may_go_back: bool = False
    retaste: bool = True
    in_parts: bool = False
    directed: bool = False
    needs_reference: bool = False
    keeps_reference: bool = False
    known_first: bool = False
    asks_attribute: Literal["", "must", "may"] = ""

    @property
    def running_name(self) -> str:
        """The name inside a sentence: "triangle test", but "2-AFC" and "A-not-A test" as they are."""
        return self.name if self.name[1:2] == "-" else self.name[:1].lower() + self.name[1:]


TEST_METHODS: dict[str, TestMethod] = {
    method.id: method
    for method in (
        TestMethod(
            id="rating",
            name="Rating",
            question="Which is liked, by how much, and what is it like?",
            explanation=(
                "Each taster scores every sample, one at a time: liking on nine points, "
                "and whatever else you ask. Orders are balanced for position and carry-over."
            ),
            fewest=2,
            most=40,
            set_size=1,
            chance=None,
            answer="scores",
            analysis="scores",
            standard="ISO 11136:2014 (hedonic), ISO 4121:2003 (quantitative scales)",
            may_go_back=True,
            in_parts=True,
        ),
        TestMethod(
            id="triangle",
            name="Triangle test",
            question="Can people tell the two apart at all?",
            explanation=(
                "Each taster gets three cups, two of one sample and one of the other, "
                "and names the odd one. There is no answer “no difference”: whoever is unsure guesses."
            ),
            fewest=2,
            most=2,
            set_size=3,
            chance=1 / 3,
            answer="odd one",
            analysis="forced choice",
            standard="ISO 4120:2021",
            wording=TRIANGLE,
        ),
        TestMethod(
            id="tetrad",
            name="Tetrad test",
            question="Can people tell the two apart, with fewer tasters than a triangle takes?",
            explanation=(
                "Four cups, two of each sample, to be sorted into two groups of two. The words are locked: "
                "asking for the two most alike would lose the test's power."
            ),
            fewest=2,
            most=2,
            set_size=4,
            chance=1 / 3,
            answer="two groups",
            analysis="forced choice",
            standard="ISO 6658:2017, 5.2.7",
            wording=TETRAD,
        ),
        TestMethod(
            id="duo-trio",
            name="Duo-trio test",
            question="Can people tell the two apart, when one is shown as the reference?",
            explanation=(
                "A reference cup, then two coded ones: which is the same as the reference? "
                "Both samples take turns as the reference, unless you mark one: then it is always that one."
            ),
            fewest=2,
            most=2,
            set_size=3,
            chance=1 / 2,
            answer="like the reference",
            analysis="forced choice",
            standard="ISO 10399",
            wording=DUO_TRIO,
            keeps_reference=True,
        ),
        TestMethod(
            id="2-AFC",
            name="2-AFC (directed paired comparison)",
            question="Is one stronger than the other in an attribute that you can name?",
            explanation="Two cups: which is stronger in it? Mark the sample that you expect to be stronger.",
            fewest=2,
            most=2,
            set_size=2,
            chance=1 / 2,
            answer="stronger one",
            analysis="forced choice",
            standard="ISO 5495",
            wording=STRONGEST_OF_TWO,
            directed=True,
            asks_attribute="must",
        ),
        TestMethod(
            id="3-AFC",
            name="3-AFC",
            question="Is one stronger in an attribute that you can name, with less guessing?",
            explanation="Three cups, one of the sample that you expect to be stronger: which one is it?",
            fewest=2,
            most=2,
            set_size=3,
            chance=1 / 3,
            answer="stronger one",
            analysis="forced choice",
            standard="ISO 13301",
            wording=STRONGEST_OF_THREE,
            directed=True,
            asks_attribute="must",
        ),
        TestMethod(
            id="two-out-of-five",
            name="Two-out-of-five test",
            question="Can people tell the two apart, where five cups do not tire them?",
            explanation="Five cups, two of one sample and three of the other: which two belong together?",
            fewest=2,
            most=2,
            set_size=5,
            chance=1 / 10,
            answer="two of a kind",
            analysis="forced choice",
            standard="ISO 6658:2017",
            wording=TWO_OUT_OF_FIVE,
        ),
        TestMethod(
            id="same-different",
            name="Same-different test",
            question="Are the two noticed to differ, when a pair may also be the same?",
            explanation="Two cups, of one sample or of both: the same, or different?",
            fewest=2,
            most=2,
            set_size=2,
            chance=None,
            answer="same or different",
            analysis="same-different",
            standard="ASTM E2139",
            wording=SAME_DIFFERENT,
        ),
        TestMethod(
            id="A-not-A",
            name="A-not-A test",
            question="Is a sample recognised as, or mistaken for, one that tasters know?",
            explanation=(
                "Tasters first get to know the sample that you mark as the reference, then say of each cup "
                "whether it is that one. Give each taster several cups."
            ),
            fewest=2,
            most=2,
            set_size=1,
            chance=None,
            answer="is it A",
            analysis="A-not-A",
            standard="ISO 8588",
            wording=A_NOT_A,
            needs_reference=True,
            known_first=True,
            retaste=False,
        ),
        TestMethod(
            id="paired preference",
            name="Paired preference",
            question="Which of the two do people prefer?",
            explanation="Two cups: which is preferred? “No preference” is offered if you want it.",
            fewest=2,
            most=2,
            set_size=2,
            chance=None,
            answer="preferred one",
            analysis="preference",
            standard="ISO 5495",
            wording=PAIRED_PREFERENCE,
        ),
        TestMethod(
            id="ranking",
            name="Ranking",
            question="In which order do people put them?",
            explanation="All cups at once, to be put in order: by liking, or by an attribute that you name.",
            fewest=3,
            most=10,
            set_size=0,
            chance=None,
            answer="order",
            analysis="ranking",
            standard="ISO 8587",
            wording=RANKING,
            in_parts=True,
            asks_attribute="may",
        ),
    )
}


def method_of(name: str) -> TestMethod:
    """The method called `name`; ValueError naming the known ones otherwise."""
    try:
        return TEST_METHODS[name]
    except KeyError:
        raise ValueError(f"no test method is called {name!r}; known: {', '.join(TEST_METHODS)}") from None
