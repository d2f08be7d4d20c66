"""What the plan page says a panel can find, against exact values and a published rule."""

import pytest

from panel.analysis.planning import what_it_can_find
from panel.study.plan import Layout, Plan, Question

LIKING = (Question("q1", "How much do you like it?", "hedonic-9"),)


def rating(tasters: int, samples: int = 5, layout: Layout = Layout()) -> str:
    plan = Plan("t", "h", "q", "rating", samples, tasters, layout=layout, questions=LIKING, primary="q1")
    return " ".join(what_it_can_find(plan))


def triangle(tasters: int, limit: float | None = None) -> str:
    return " ".join(what_it_can_find(Plan("t", "h", "q", "triangle", 2, tasters, similarity_limit=limit)))


@pytest.mark.parametrize(
    ("tasters", "said"),
    [
        # ISO 4120:2004 Table A.1, as in FAO V7180E Appendix A: 24 assessors, 5 %: 13.
        pytest.param(24, "13 right ones show a difference at 0.05", id="FAO V7180E Appendix A, n=24"),
        # Exact binomial, lasting number of tasters for pd 30 %, 80 %: 42 (recomputed by enumeration).
        pytest.param(24, "needs 42 tasters", id="exact binomial, pd 30 %, power 80 %"),
        pytest.param(
            2, "Plan at least 3 tasters", id="FAO V7180E Appendix A, n=3 is the first with an entry"
        ),
    ],
)
def test_a_triangle_plan_says_what_it_finds(tasters: int, said: str) -> None:
    assert said in triangle(tasters)


def test_a_similarity_plan_says_how_often_identical_samples_pass() -> None:
    # Exact binomial: 12 tasters pass truly identical samples 39 % of the time at pd 30 %, beta .05.
    assert "with a chance of 39\u202f%" in triangle(12, limit=0.3)


def test_a_rating_plan_follows_the_published_spread() -> None:
    # Hough and others (2006), from memory: spread 23 % of the scale. Two-sided .05, power 80 %, 24 tasters:
    # 2 (z + z)^2 (sigma / delta)^2 = 24 gives delta = 1.49 on nine points, and t a little more.
    assert "a difference of 1.5 scale points" in rating(24)


def test_incomplete_blocks_count_for_fewer_tasters() -> None:
    # 15 samples, 5 each: efficiency 15*4/(5*14) = .857 (Cochran and Cox 1957, table 11.3); 42 * 5/15 * .857 = 12.
    assert "the 42 tasters compare two samples about as well as 12 would" in rating(
        42, 15, Layout(per_taster=5)
    )
    assert "With 12 tasters each rating every sample" in rating(42, 15, Layout(per_taster=5))
    assert "would who took them all" not in rating(42, 15)


def test_one_taster_is_told_to_find_another() -> None:
    assert "Plan at least two" in rating(1)
