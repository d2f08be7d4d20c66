"""The table of test methods agrees with the calculator and with the standards it names."""

from __future__ import annotations

from fractions import Fraction

import pytest

import stats
from panel.study.test_methods import TEST_METHODS, method_of

# Probability of a right guess. Sources: ISO 4120:2021 (triangle), ISO 10399:2017 (duo-trio), ISO 5495:2005
# (paired comparison, so 2-AFC), Ennis (1990), Relative power of difference testing methods in sensory evaluation,
# Food Technology 44 (4) (3-AFC), Ennis & Jesionka (2011), The power of sensory discrimination methods revisited,
# Journal of Sensory Studies 26 (tetrad), Amoore et al. (1968) (two-out-of-five: 1 / C(5, 2)). From memory.
GUESSED = {
    "triangle": Fraction(1, 3),
    "duo-trio": Fraction(1, 2),
    "2-AFC": Fraction(1, 2),
    "3-AFC": Fraction(1, 3),
    "tetrad": Fraction(1, 3),
    "two-out-of-five": Fraction(1, 10),
}
RIGHT_OR_WRONG = [method for method in TEST_METHODS.values() if method.id in GUESSED]


@pytest.mark.parametrize("method", RIGHT_OR_WRONG, ids=lambda method: method.id)
def test_chance_is_what_the_calculator_and_the_standard_say(method) -> None:
    assert method.chance == pytest.approx(float(GUESSED[method.id]), rel=1e-15)
    assert method.chance == stats.guess_probability(method.id)


def test_triangle_is_among_the_methods_with_a_right_answer() -> None:
    assert "triangle" in [method.id for method in RIGHT_OR_WRONG]


@pytest.mark.parametrize("method", TEST_METHODS.values(), ids=lambda method: method.id)
def test_every_method_is_complete(method) -> None:
    assert TEST_METHODS[method.id] is method
    assert 1 <= method.fewest <= method.most
    assert method.set_size >= 1 or method.analysis == "ranking"  # 0: all that a taster takes
    assert method.standard
    assert method.question.endswith("?")
    assert method.explanation.endswith((".", "?"))
    assert (method.wording is None) is (method.answer == "scores")


def test_a_triangle_allows_no_way_back_and_has_three_cups_of_two_samples() -> None:
    """ISO 4120:2021, clauses 3 and 7."""
    triangle = method_of("triangle")
    assert (triangle.set_size, triangle.fewest, triangle.most, triangle.may_go_back) == (3, 2, 2, False)


def test_an_unknown_method_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"'guesswork'.*triangle"):
        method_of("guesswork")
