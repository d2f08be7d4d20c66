"""The test methods: samples, servings in a set, chance, answer and analysis. One table, nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Answer = Literal["scores", "odd one"]
Analysis = Literal["scores", "forced choice"]


@dataclass(frozen=True, slots=True)
class TestMethod:
    """One way to compare samples.

    fewest, most : how many samples it takes
    set_size : servings judged together on one screen
    chance : probability of a right answer by guessing; None where nothing is right or wrong
    answer : what the taster gives
    analysis : which family of results the report shows
    may_go_back : whether an answered screen may be opened again
    directed : whether one sample is expected to be stronger, which a right answer names
    needs_reference : whether one sample must be known to the tasters beforehand
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
    may_go_back: bool = False
    directed: bool = False
    needs_reference: bool = False


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
        ),
    )
}


def method_of(name: str) -> TestMethod:
    """The method called `name`; ValueError naming the known ones otherwise."""
    try:
        return TEST_METHODS[name]
    except KeyError:
        raise ValueError(f"no test method is called {name!r}; known: {', '.join(TEST_METHODS)}") from None
