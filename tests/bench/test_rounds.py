"""Rounds tied by a reference: differences against the t tests of the library, refusals in words."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats as scipy_stats

from panel.bench.figures import Figure
from panel.bench.rounds import CannotCompareError, MeasuredRound, TastedRound, across_measured, across_tasted
from panel.study.measuring import Measurand
from panel.study.plan import Question
from tests.bench.a_trial import figure, tasted

LIKING = Question("q1", "How much do you like it?", "hedonic-9")
NAMES = {"r": "Old Faithful", "p1": "Kettlewick", "p2": "Morgengrau"}
FIRST = TastedRound("Round 1", LIKING, "plain", "r", NAMES, tasted({"r": 5.0, "p1": 6.5}, 15, seed=1))
AGAIN = replace(LIKING, key="q4")
SECOND = TastedRound("Round 2", AGAIN, "Plain", "r", NAMES, tasted({"r": 5.5, "p2": 6.0}, 12, seed=2))
TIME = Measurand("m1", "Time", "duration", "min")


def within(of: TastedRound, product: str) -> np.ndarray:
    wide = of.scores.pivot(index="taster", columns="sample", values="score")
    return (wide[product] - wide["r"]).to_numpy()


def test_each_side_is_the_paired_t_test_of_its_round_and_between_them_welchs() -> None:
    """With complete blocks: one-sample t on within-taster differences, Welch's t between the two rounds."""
    found = across_tasted(FIRST, "p1", SECOND, "p2")
    left, right = within(FIRST, "p1"), within(SECOND, "p2")
    low, high = scipy_stats.ttest_1samp(left, 0).confidence_interval()
    assert (found.first.difference.low, found.first.difference.high) == pytest.approx((low, high))
    welch = scipy_stats.ttest_ind(left, right, equal_var=False)
    assert (found.p_value, found.df) == pytest.approx((welch.pvalue, welch.df))
    low, high = welch.confidence_interval()
    assert (found.between.low, found.between.high) == pytest.approx((low, high))
    assert "Against the reference Old Faithful, which ties the rounds" in found.sentence()
    assert json.loads(json.dumps(found.to_dict()))["reference"] == "Old Faithful"


def test_a_shift_that_the_whole_panel_shares_does_not_count() -> None:
    """The second panel gives everything two points more: the reference takes it out."""
    shifted = replace(SECOND, scores=SECOND.scores.assign(score=SECOND.scores["score"] + 2))
    one, other = across_tasted(FIRST, "p1", shifted, "p2"), across_tasted(FIRST, "p1", SECOND, "p2")
    assert (one.between.low, one.between.high) == pytest.approx((other.between.low, other.between.high))


def test_measured_figures_combine_their_uncertainties() -> None:
    """u = 0.3 and 0.4 combine to 0.5 on each side, those to 0.707; df by Welch and Satterthwaite (JCGM 100, G.4)."""

    def side(name: str, value: float, other: float) -> MeasuredRound:
        figures = (
            figure("p1", "m1", "mean", value, u=0.3, df=2.0, unit="min"),
            figure("r", "m1", "mean", other, u=0.4, df=2.0, unit="min"),
        )
        return MeasuredRound(name, TIME, "r", NAMES, figures)

    found = across_measured(side("Round 1", 30.0, 25.0), "p1", side("Round 2", 33.0, 25.0), "p1", "mean")
    assert found.between.estimate == pytest.approx(-3.0)
    assert found.first.standard_error == pytest.approx(0.5)
    assert found.first.df == pytest.approx(0.25**2 / (0.3**4 / 2 + 0.4**4 / 2))
    half = scipy_stats.t.ppf(0.975, found.df) * 0.5**0.5
    assert found.between.high == pytest.approx(-3.0 + half)


OTHERWISE = [
    ({"reference": ""}, "had no reference product"),
    ({"reference": "p2"}, "there is no common reference"),
    ({"question": replace(LIKING, scale="line-100", low="not", high="very")}, "two scales"),
    ({"question": replace(LIKING, text="How salty is it?")}, "are two questions"),
    ({"question": replace(LIKING, points=("a", "b"))}, "other words or limits"),
    ({"condition": "with dashi"}, "served the same way"),
    ({"scores": tasted({"p2": 5.0}, 9)}, "too few tasters connect"),
]  # fmt: skip


@pytest.mark.parametrize(("otherwise", "words"), OTHERWISE, ids=[words for _, words in OTHERWISE])
def test_what_nothing_ties_is_refused_in_words(otherwise: dict[str, object], words: str) -> None:
    with pytest.raises(CannotCompareError, match=words):
        across_tasted(FIRST, "p1", replace(SECOND, **otherwise), "p2")  # type: ignore[arg-type]


def test_the_reference_itself_and_strangers_are_refused() -> None:
    with pytest.raises(CannotCompareError, match="is the reference itself"):
        across_tasted(FIRST, "r", SECOND, "p2")
    with pytest.raises(CannotCompareError, match="was not in “Round 2”"):
        across_tasted(FIRST, "p1", SECOND, "p9")


@pytest.mark.parametrize(
    ("otherwise", "words"),
    [
        ({"load": "full"}, "another load"),
        ({"unit": "s"}, "another unit"),
        ({"condition": "lid off"}, "another way"),
    ],
)
def test_another_way_of_measuring_is_refused(otherwise: dict[str, object], words: str) -> None:
    figures: tuple[Figure, ...] = tuple(figure(one, "m1", "mean", 30.0, unit="min") for one in ("p1", "r"))
    first = MeasuredRound("Round 1", TIME, "r", NAMES, figures)
    second = MeasuredRound("Round 2", replace(TIME, **otherwise), "r", NAMES, figures)  # type: ignore[arg-type]
    with pytest.raises(CannotCompareError, match=words):
        across_measured(first, "p1", second, "p1", "mean")


def test_a_figure_without_uncertainty_is_refused() -> None:
    figures = (
        figure("p1", "m1", "mean", 30.0, u=None, unit="min"),
        figure("r", "m1", "mean", 30.0, unit="min"),
    )
    one = MeasuredRound("Round 1", TIME, "r", NAMES, figures)
    with pytest.raises(CannotCompareError, match="no figure of “Time” with its uncertainty for Kettlewick"):
        across_measured(one, "p1", one, "p1", "mean")


def test_a_blind_duplicate_of_one_taster_counts_once() -> None:
    again = pd.concat([FIRST.scores, FIRST.scores[FIRST.scores["sample"] == "p1"]])
    twice = across_tasted(replace(FIRST, scores=again), "p1", SECOND, "p2")
    assert twice.first.difference == across_tasted(FIRST, "p1", SECOND, "p2").first.difference
