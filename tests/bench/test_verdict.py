"""The verdict keeps its promises: gates gate, chances add up, units and the scale of weights do not matter."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from panel.bench.draws import drawn
from panel.bench.verdict import FEW_IN_BLOCKS, Verdict, reweighed, verdict
from panel.study.measuring import Bench, Criterion, Group
from tests.bench.a_trial import (
    BENCH,
    LIKING,
    NAMES,
    SAFE,
    SPEED,
    exactly,
    figure,
    figures,
    tasted,
    with_criteria,
)

MEANS = {"p1": 7.5, "p2": 6.8, "p3": 5.0, "p4": 6.0}
MINUTES = {"p1": 30.0, "p2": 25.0, "p3": 50.0, "p4": 22.0}
WARM = {"p1": 66.0, "p2": 64.0, "p3": 70.0, "p4": 50.0}
products = st.fixed_dictionaries({name: st.integers(45, 75).map(float) for name in NAMES})
chosen = settings(max_examples=25, deadline=None)


def trial(bench: Bench = BENCH, **otherwise: object) -> Verdict:
    given_ = {"draws": 400, "names": NAMES} | otherwise
    return verdict(bench, figures(MINUTES, WARM), tasted(MEANS), **given_)  # type: ignore[arg-type]


def order(found: Verdict) -> list[str]:
    return [card.product for card in found.running]


# ---- gates


@chosen
@given(products, products)
def test_a_product_that_fails_a_must_can_never_win(warm: dict[str, float], minutes: dict[str, float]) -> None:
    prices = {"p1": 10.0, "p2": 20.0, "p3": 30.0, "p4": 40.0}
    measured = figures(minutes, warm, prices=prices)
    found = verdict(BENCH, measured, tasted(MEANS), names=NAMES, draws=200)
    # u = 0.5 with 2 degrees of freedom: the interval is ± 2.15 (t of the 97.5 % point: 4.303).
    failing = {product for product, value in warm.items() if value + 4.303 * 0.5 < 57}
    assert {card.product for card in found.cards if card.standing == "failed"} == failing
    for product in failing:
        card = found.card(product)
        assert (card.first, card.ranks, card.letters) == (0.0, (), "")
        assert product not in found.leaders
        assert product not in {end for pair in found.pairs for end in (pair.a, pair.b)}
        assert found.price is None or product not in {row.product for row in found.price.products}
        assert product not in {moved.winner for moved in found.moved}


@chosen
@given(products, products)
def test_chances_of_ranks_add_up_for_ranks_and_products(
    warm: dict[str, float], minutes: dict[str, float]
) -> None:
    found = verdict(BENCH, figures(minutes, warm), tasted(MEANS), names=NAMES, draws=200)
    table = np.array([card.ranks for card in found.running])
    if len(table):
        assert table.sum(axis=0) == pytest.approx(np.ones(len(table)))
        assert table.sum(axis=1) == pytest.approx(np.ones(len(table)))
    assert sum(card.first for card in found.cards) + found.nobody == pytest.approx(1)


def test_an_uncertain_must_lowers_the_chance_by_as_much_as_it_is_missed() -> None:
    """57.3 °C with u = 0.5 and 2 degrees of freedom: P(pass) is that of t at 0.6."""
    bench = with_criteria(LIKING, SAFE)
    measured = figures(warm={"p1": 57.3, "p2": 70.0, "p3": 70.0, "p4": 70.0})
    found = verdict(bench, measured, exactly({"p1": 9, "p2": 5, "p3": 4, "p4": 3}), names=NAMES, draws=20_000)
    assert found.card("p1").gates[0].outcome == "uncertain"
    assert found.card("p1").first == pytest.approx(scipy_stats.t.cdf(0.6, 2), abs=0.01)
    assert found.card("p2").first == pytest.approx(1 - found.card("p1").first, abs=0.002)
    assert "uncertain whether it meets the must" in found.sentence()


def test_where_all_fail_nobody_wins() -> None:
    found = verdict(
        BENCH, figures(MINUTES, dict.fromkeys(NAMES, 40.0)), tasted(MEANS), names=NAMES, draws=200
    )
    assert (found.nobody, found.leaders, found.pairs, found.moved) == (1.0, (), (), ())
    assert "there is no winner" in found.sentence()
    assert all(card.total is not None for card in found.cards)


def test_a_failed_run_of_a_check_is_a_failed_must() -> None:
    measured = figures(MINUTES, dict.fromkeys(NAMES, 66.0), {"p1": (1.0, 0.0, 1.0)})
    found = verdict(BENCH, measured, tasted(MEANS), names=NAMES, draws=200)
    assert [card.product for card in found.cards if card.standing == "failed"] == ["p1"]


# ---- what is missing


def test_a_missing_value_is_said_and_never_filled_in() -> None:
    found = verdict(BENCH, figures(MINUTES | {"p2": None}, WARM), tasted(MEANS), names=NAMES, draws=200)
    card = found.card("p2")
    assert (card.standing, card.total, card.first) == ("incomplete", None, 0.0)
    assert card.missing == ("Speed: no valid run",)
    assert card.criterion("c1").score is not None
    assert "p2" not in order(found)
    assert "Morgengrau is not in the running" in found.sentence()


def test_a_product_nobody_tasted_has_no_total() -> None:
    tasting = tasted({name: MEANS[name] for name in ("p1", "p3", "p4")})
    found = verdict(BENCH, figures(MINUTES, WARM), tasting, names=NAMES, draws=200)
    assert found.card("p2").standing == "incomplete"
    assert found.card("p1").standing == "in the running"


def test_one_taster_alone_makes_no_mean() -> None:
    found = verdict(BENCH, figures(MINUTES, WARM), tasted(MEANS, tasters=1), names=NAMES, draws=200)
    assert {card.standing for card in found.cards} == {"incomplete", "failed"}


def test_a_value_whose_uncertainty_is_not_known_is_used_and_cautioned() -> None:
    found = verdict(BENCH, figures(MINUTES, WARM, u=None), tasted(MEANS), names=NAMES, draws=200)
    assert any("nothing is known of the uncertainty of Safe, Speed, Warmth" in note for note in found.notes)
    assert {gate.outcome for card in found.cards for gate in card.gates if gate.criterion == "c4"} == {
        "uncertain"
    }
    assert found.card("p4").first == 0.0


# ---- what must not matter


def converted(bench: Bench) -> Bench:
    """The same rules with minutes as seconds and degrees Celsius as Fahrenheit."""

    def fahrenheit(value: float | None) -> float | None:
        return None if value is None else value * 1.8 + 32

    def seconds(value: float | None) -> float | None:
        return None if value is None else value * 60

    new = []
    for one in bench.criteria:
        of = {"min": seconds, "°C": fahrenheit}.get(one.unit)
        if of:
            spread = one.worst and (one.worst * 1.8 if one.unit == "°C" else one.worst * 60)
            new.append(
                replace(
                    one,
                    unit={"min": "s", "°C": "°F"}[one.unit],
                    worst=spread if one.curve == "window" else of(one.worst),
                    best=of(one.best),
                    must_least=of(one.must_least),
                    must_most=of(one.must_most),
                    target_low=of(one.target_low),
                    target_high=of(one.target_high),
                    steps=tuple((float(of(limit) or 0), points) for limit, points in one.steps),
                )
            )
        else:
            new.append(one)
    return replace(bench, criteria=tuple(new))


@chosen
@given(products, products)
def test_the_verdict_does_not_depend_on_units(warm: dict[str, float], minutes: dict[str, float]) -> None:
    window = Criterion("c6", "Near 65", "m2", "at 120", "", "°C", "target", curve="window", target_low=63,
                       target_high=67, worst=8, group="Use")  # fmt: skip
    steps = Criterion("c7", "In steps", "m1", "mean", "", "min", "less", curve="stepped", group="Use",
                      steps=((60, 10), (55, 40), (50, 90)))  # fmt: skip
    bench = with_criteria(*BENCH.criteria, window, steps)
    measured = figures(minutes, warm)
    other = [
        replace(one, unit="s", value=one.value * 60, u=one.u * 60, low=one.low * 60, high=one.high * 60)
        if one.unit == "min" and one.value is not None and one.u and one.low and one.high
        else replace(one, unit="°F", value=one.value * 1.8 + 32, u=one.u * 1.8, low=one.low * 1.8 + 32,
                     high=one.high * 1.8 + 32)
        if one.unit == "°C" and one.value is not None and one.u and one.low and one.high
        else one
        for one in measured
    ]  # fmt: skip
    first = verdict(bench, measured, tasted(MEANS), names=NAMES, draws=200)
    second = verdict(converted(bench), other, tasted(MEANS), names=NAMES, draws=200)
    assert (order(first), first.leaders) == (order(second), second.leaders)
    for card in first.cards:
        twin = second.card(card.product)
        assert card.total == pytest.approx(twin.total)
        assert card.ranks == pytest.approx(twin.ranks, abs=0.006)
        assert [gate.outcome for gate in card.gates] == [gate.outcome for gate in twin.gates]
        assert (card.low, card.high) == pytest.approx((twin.low, twin.high))


@chosen
@given(st.sampled_from([0.25, 2.0, 1000.0]), st.sampled_from([0.5, 3.0]))
def test_only_the_proportions_of_weights_matter(all_groups: float, inside: float) -> None:
    scaled = replace(
        BENCH,
        groups=tuple(replace(group, weight=group.weight * all_groups) for group in BENCH.groups),
        criteria=tuple(
            replace(one, weight=one.weight * inside) if one.group == "Use" else one for one in BENCH.criteria
        ),
    )
    first, second = trial(), trial(scaled)
    assert order(first) == order(second)
    for card in first.cards:
        assert card.total == pytest.approx(second.card(card.product).total)
        assert card.ranks == pytest.approx(second.card(card.product).ranks, abs=0.003)
    for one, other in zip(first.moved, second.moved, strict=True):
        assert (one.share_low, one.share_high) == pytest.approx((other.share_low, other.share_high))


@pytest.mark.parametrize(
    ("group", "groups"), [("Use", BENCH.groups), ("Price", (*BENCH.groups, Group("Price")))]
)
def test_a_criterion_in_which_all_are_equal_changes_no_order(group: str, groups: tuple[Group, ...]) -> None:
    """Alone in its group. Beside others it takes weight from them, and then the order may rightly change."""
    same = Criterion("c9", "Same", "m9", "mean", "", "g", worst=0, best=100, group=group)
    measured = figures(MINUTES, WARM) + [
        figure(product, "m9", "mean", 40.0, u=0.0, unit="g") for product in NAMES
    ]
    base = with_criteria(LIKING, SAFE) if group == "Use" else BENCH
    first = trial(base)
    second = verdict(
        with_criteria(*base.criteria, same, groups=groups), measured, tasted(MEANS), names=NAMES, draws=400
    )
    assert order(first) == order(second)
    assert [card.letters for card in first.cards] == [card.letters for card in second.cards]
    for card in first.cards:
        assert card.ranks == pytest.approx(second.card(card.product).ranks, abs=0.003)


def test_rows_in_any_order_give_the_same_verdict() -> None:
    taste = tasted(MEANS)
    mixed = taste.sample(frac=1, random_state=3)
    first = verdict(BENCH, figures(MINUTES, WARM), taste, names=NAMES, draws=300)
    second = verdict(BENCH, list(reversed(figures(MINUTES, WARM))), mixed, names=NAMES, draws=300)
    assert first.to_dict() == second.to_dict()


def test_the_seed_decides_the_draws() -> None:
    assert trial(seed=1).to_dict() == trial(seed=1).to_dict()
    assert trial(seed=1).card("p1").low != trial(seed=2).card("p1").low


# ---- against normal theory


@pytest.mark.parametrize("tasters", [8, 24])
def test_intervals_from_tasters_are_those_of_student(tasters: int) -> None:
    """One criterion on normal scores: mean ± t s / √n. 20 000 draws place a 95 % end within about 2 % of its width.

    The widened percentile interval is not Student's exactly, since the bootstrap distribution of 8 is not normal.
    """
    bench = with_criteria(replace(LIKING, worst=-91, best=109))
    taste = tasted(MEANS, tasters=tasters, seed=5)
    found = verdict(bench, [], taste, names=NAMES, draws=20_000)
    for product in NAMES:
        scores = taste.loc[taste["sample"] == product, "score"].to_numpy()
        half = scipy_stats.t.ppf(0.975, tasters - 1) * scores.std(ddof=1) / math.sqrt(tasters)
        card = found.card(product)
        assert card.total == pytest.approx((scores.mean() + 91) / 2)
        assert (card.high - card.low) / 2 == pytest.approx(half / 2, rel=0.08)


def test_the_difference_of_two_products_is_judged_as_by_the_paired_t_test() -> None:
    two = {"p1": 6.4, "p2": 6.0}
    taste = tasted(two, tasters=24, seed=9)
    names = {key: NAMES[key] for key in two}
    found = verdict(with_criteria(replace(LIKING, worst=-91, best=109)), [], taste, names=names, draws=40_000)
    wide = taste.pivot(index="taster", columns="sample", values="score")
    paired = scipy_stats.ttest_rel(wide["p1"], wide["p2"])
    assert found.pairs[0].p_adjusted == pytest.approx(paired.pvalue, abs=0.012)
    low, high = paired.confidence_interval()
    pair = found.pairs[0]
    assert (pair.low * 2, pair.high * 2) == pytest.approx((low, high), abs=0.05)


def test_equal_products_are_seldom_told_apart_even_by_few_tasters() -> None:
    """Four equal products, eight tasters, 200 panels: any pair apart in at most 5 % of panels.

    If it were just 5 %, 20 or more of 200 would come up with probability 0.0027 (binomial); seeds are fixed.
    """
    bench = with_criteria(replace(LIKING, worst=-91, best=109))
    found = 0
    for seed in range(200):
        taste = tasted(dict.fromkeys(NAMES, 5.0), tasters=8, spread=1.5, seed=seed)
        found += any(
            pair.apart for pair in verdict(bench, [], taste, names=NAMES, draws=400, seed=seed).pairs
        )
    assert found < 20


def test_intervals_from_the_bench_are_those_of_t_with_its_degrees_of_freedom() -> None:
    """One criterion, linear in the value: the interval of the total is the coverage interval, rescaled."""
    bench = with_criteria(replace(SPEED, worst=1000, best=-1000))
    found = verdict(bench, figures(MINUTES), None, names=NAMES, draws=40_000)
    half = scipy_stats.t.ppf(0.975, 2) * 0.5
    for card in found.cards:
        assert (card.high - card.low) / 2 == pytest.approx(half / 20, rel=0.06)


def test_blocks_that_are_not_complete_are_adjusted_for() -> None:
    """Half of the tasters, who give everything two points more, never had the best product (invented)."""
    taste = tasted(MEANS, tasters=24, seed=3)
    strict = taste["taster"].isin([f"T{n:02d}" for n in range(12)])
    taste.loc[~strict, "score"] += 2
    taste = taste[strict | (taste["sample"] != "p1")]
    found = verdict(with_criteria(replace(LIKING, worst=-91, best=109)), [], taste, names=NAMES, draws=400)
    assert order(found)[0] == "p1"
    plain = taste.groupby("sample")["score"].mean()
    assert plain["p2"] > plain["p1"]
    assert found.card("p1").criterion("c1").n == 12


def test_few_tasters_of_some_products_only_are_cautioned_about() -> None:
    taste = tasted(MEANS, tasters=12)
    some = taste[~(taste["taster"].isin(["T00", "T01"]) & (taste["sample"] == "p1"))]
    bench = with_criteria(LIKING)
    assert FEW_IN_BLOCKS in verdict(bench, [], some, names=NAMES, draws=200).notes
    assert FEW_IN_BLOCKS not in verdict(bench, [], taste, names=NAMES, draws=200).notes


# ---- ties, weights, halves


def test_products_not_told_apart_share_their_places() -> None:
    found = verdict(
        with_criteria(LIKING), [], tasted({"p1": 7.0, "p2": 6.95, "p3": 4.0, "p4": 3.9}), names=NAMES
    )
    letters = {card.product: card.letters for card in found.cards}
    assert letters == {"p1": "a", "p2": "a", "p3": "b", "p4": "b"}
    assert {(card.place_low, card.place_high) for card in found.cards} == {(1, 2), (3, 4)}
    assert "share the first place" in found.sentence()


def test_new_weights_give_the_verdict_that_a_new_reckoning_would_give() -> None:
    measured, taste = figures(MINUTES, WARM), tasted(MEANS)
    values = drawn(BENCH, measured, taste, names=NAMES, draws=400)
    moved = replace(
        BENCH,
        groups=(Group("Taste", 3.0), Group("Use", 1.0)),
        criteria=tuple(replace(one, weight=5.0) if one.key == "c3" else one for one in BENCH.criteria),
    )
    quick = reweighed(values, {"Taste": 3.0}, {"c3": 5.0})
    anew = verdict(moved, measured, taste, names=NAMES, draws=400)
    assert (quick.declared, anew.declared) == (False, True)
    assert replace(quick, declared=True).to_dict() == anew.to_dict()


@pytest.mark.parametrize("groups", [{"Taste": 0.0, "Use": 0.0}, {"Taste": -1.0}])
def test_weights_that_make_no_total_are_refused_in_words(groups: dict[str, float]) -> None:
    values = drawn(BENCH, figures(MINUTES, WARM), tasted(MEANS), names=NAMES, draws=100)
    with pytest.raises(ValueError, match=r"weigh 0|negative"):
        reweighed(values, groups, {})
    with pytest.raises(KeyError, match="Looks"):
        reweighed(values, {"Looks": 1.0}, {})


def test_what_is_missing_does_not_matter_where_it_weighs_nothing() -> None:
    values = drawn(BENCH, figures(MINUTES | {"p2": None}, WARM), tasted(MEANS), names=NAMES, draws=100)
    found = reweighed(values, {}, {"c2": 0.0})
    assert found.card("p2").standing == "in the running"


@chosen
@given(products, products)
def test_the_range_of_a_weight_is_that_of_a_direct_search(
    warm: dict[str, float], minutes: dict[str, float]
) -> None:
    measured = figures(minutes, {name: value + 15 for name, value in warm.items()})
    values = drawn(BENCH, measured, tasted(MEANS), names=NAMES, draws=100)
    found = reweighed(values, {}, {})
    for moved in found.moved:
        for factor in (0.02, 0.3, 0.5, 0.8, 1.2, 1.5, 3.0, 20.0):
            weight = moved.weight * factor
            change = ({moved.key: weight}, {}) if moved.kind == "group" else ({}, {moved.key: weight})
            there = reweighed(values, *change)
            totals = {card.product: card.total or 0.0 for card in there.running}
            margin = totals.pop(moved.winner) - max(totals.values(), default=0.0)
            if abs(margin) > 1e-6:
                stays = moved.low <= weight and (moved.high is None or weight <= moved.high)
                assert stays == (margin > 0), (moved, factor)


def test_a_weight_range_is_also_told_as_a_share_of_its_whole() -> None:
    """Taste weighs 1 beside 1, Speed 2 beside 1: shares of a half and of two thirds, and the ends likewise."""
    found = {moved.key: moved for moved in trial().moved}
    assert (found["Taste"].share, found["c2"].share) == pytest.approx((1 / 2, 2 / 3))
    for moved in found.values():
        beside = {"Taste": 1.0, "Use": 1.0, "c2": 1.0, "c3": 2.0}[moved.key]
        assert moved.share_low == pytest.approx(moved.low / (moved.low + beside))
        assert moved.share_high == pytest.approx(
            1.0 if moved.high is None else moved.high / (moved.high + beside)
        )


def test_taste_and_bench_are_said_to_disagree_where_they_do() -> None:
    measured = figures({"p1": 58.0, "p2": 22.0, "p3": 40.0, "p4": 45.0}, dict.fromkeys(NAMES, 66.0))
    found = verdict(BENCH, measured, tasted({"p1": 8.0, "p2": 4.0, "p3": 5.0, "p4": 5.0}), names=NAMES)
    assert "Taste and bench disagree: by taste Kettlewick leads, by the bench Morgengrau." in found.sentence()
    same = verdict(BENCH, measured, tasted({"p1": 4.0, "p2": 8.0, "p3": 5.0, "p4": 5.0}), names=NAMES)
    assert "Taste and bench agree on Morgengrau." in same.sentence()


# ---- price


def test_the_price_front_counts_price_once() -> None:
    prices = {"p1": 90.0, "p2": 50.0, "p3": 60.0, "p4": 30.0}
    cheap = Criterion("c8", "Cheap", "m4", "mean", "", "EUR", "less", worst=100, best=0, group="Price")
    bench = with_criteria(*BENCH.criteria, cheap, groups=(*BENCH.groups, Group("Price", 5.0)))
    measured = figures(MINUTES, dict.fromkeys(NAMES, 66.0), prices=prices)
    found = verdict(bench, measured, tasted(MEANS), names=NAMES, draws=300)
    without = verdict(BENCH, measured, tasted(MEANS), names=NAMES, draws=300)
    assert found.price is not None
    assert without.price is not None
    assert found.price.without_price
    assert [(row.product, row.on_front) for row in found.price.products] == [
        (row.product, row.on_front) for row in without.price.products
    ]
    totals = {row.product: row.total for row in found.price.products}
    assert totals == pytest.approx({card.product: card.total for card in without.cards})
    front = {row.product for row in found.price.products if row.on_front}
    assert front == {
        one
        for one in NAMES
        if not any(
            prices[other] <= prices[one] and totals[other] >= totals[one] for other in NAMES if other != one
        )
    }


# ---- bad input


def test_a_measurement_in_another_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="limits are in min, the measurement in s"):
        verdict(with_criteria(SPEED), [figure("p1", "m1", "mean", 1800.0, unit="s")], None)


def test_without_a_weighed_criterion_there_is_no_verdict() -> None:
    with pytest.raises(ValueError, match="No criterion is weighed"):
        verdict(with_criteria(SAFE), figures(warm=WARM), None)


def test_a_verdict_is_plain_json() -> None:
    found = json.loads(json.dumps(trial().to_dict()))
    assert found["cards"][0]["product"] == "p1"
    assert found["sentence"]


def test_a_question_asked_in_two_ways_of_serving_counts_each_the_same() -> None:
    plain, added = exactly(dict.fromkeys(NAMES, 4.0)), exactly({"p1": 8.0, "p2": 6.0, "p3": 5.0, "p4": 4.0})
    taste = pd.concat([plain.assign(condition="plain"), added.assign(condition="with dashi").iloc[:20]])
    both = verdict(with_criteria(LIKING), [], taste, names=NAMES, draws=100)
    assert both.card("p1").criterion("c1").value == pytest.approx(6.0)
    one = verdict(with_criteria(replace(LIKING, condition="plain")), [], taste, names=NAMES, draws=100)
    assert one.card("p1").criterion("c1").value == pytest.approx(4.0)
