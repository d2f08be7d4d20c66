"""Instrument against tongue: exact p, honest words for few products, points to draw."""

from __future__ import annotations

import json

import pandas as pd
import pytest
from scipy import stats as scipy_stats

from panel.bench.agreement import Agreement, Compared, agreements
from tests.bench.a_trial import exactly, figure, tasted

FIVE = {f"p{n}": f"Invented {n}" for n in range(1, 6)}
FIRM = Compared("m1", "mean", "q2", "Force to press", "Firmness")


def measured(values: dict[str, float | None]) -> list:
    return [figure(product, "m1", "mean", value, unit="g") for product, value in values.items()]


def found(
    values: dict[str, float | None], perceived: dict[str, float], names: dict[str, str] = FIVE
) -> Agreement:
    return agreements([FIRM], measured(values), exactly(perceived, question="q2"), names=names)[0]


def rising(names: dict[str, str]) -> dict[str, float]:
    return {product: float(place) for place, product in enumerate(names)}


def test_five_products_in_perfect_order_give_a_p_of_0_017() -> None:
    """2 of 5! = 120 orders: 0.0167, two-sided (Kendall & Gibbons 1990, table of S, n = 5: 0.0083 one-sided)."""
    one = found(rising(FIVE), rising(FIVE))
    assert one.ranks is not None
    assert one.ranks.tau_p == pytest.approx(1 / 60)
    assert "p = 0.017" in one.sentence()
    assert "even a perfect order gives no less" in one.sentence()


def test_four_products_cannot_show_agreement_and_the_sentence_says_so() -> None:
    four = {product: FIVE[product] for product in list(FIVE)[:4]}
    assert (
        "too few to show agreement: even a perfect order would give p = 0.083"
        in found(rising(four), rising(four), four).sentence()
    )


def test_two_products_say_nothing() -> None:
    two = {product: FIVE[product] for product in list(FIVE)[:2]}
    one = found(rising(two), rising(two), two)
    assert one.ranks is None
    assert "only 2 products have both" in one.sentence()


def test_what_was_not_measured_is_left_out_and_named() -> None:
    values: dict[str, float | None] = dict(rising(FIVE)) | {"p3": None}
    one = found(values, rising(FIVE))
    assert one.left_out == ("Invented 3",)
    assert [point.product for point in one.points] == ["p1", "p2", "p4", "p5"]
    assert "Left out for want of one of them: Invented 3." in one.sentence()


def test_points_carry_both_intervals() -> None:
    taste = tasted(rising(FIVE), tasters=12, question="q2")
    one = agreements([FIRM], measured(dict(rising(FIVE))), taste, names=FIVE)[0]
    point = one.points[2]
    scores = taste.loc[taste["sample"] == "p3", "score"]
    half = scipy_stats.t.ppf(0.975, 11) * scores.std(ddof=1) / 12**0.5
    assert (point.perceived_low, point.perceived_high) == pytest.approx(
        (scores.mean() - half, scores.mean() + half)
    )
    assert point.measured_low is not None
    assert point.measured_low < point.measured < (point.measured_high or 0)


def test_an_opposite_order_is_told_as_such() -> None:
    falling = {product: -value for product, value in rising(FIVE).items()}
    assert "run against each other" in found(rising(FIVE), falling).sentence()


def test_several_comparisons_are_corrected_for_their_number() -> None:
    taste = pd.concat([exactly(rising(FIVE), question="q2"), exactly(rising(FIVE), question="q3")])
    both = [FIRM, Compared("m1", "mean", "q3", "Force to press", "Chewiness")]
    one, other = agreements(both, measured(dict(rising(FIVE))), taste, names=FIVE)
    assert (one.p_adjusted, other.p_adjusted) == pytest.approx((1 / 30, 1 / 30))
    assert "Among 2 such comparisons, corrected: p = 0.033." in one.sentence()


def test_a_product_without_any_variation_to_order() -> None:
    one = found(rising(FIVE), dict.fromkeys(FIVE, 5.0))
    assert "does not vary" in one.sentence()
    assert json.loads(json.dumps(one.to_dict()))["p_adjusted"] is None
