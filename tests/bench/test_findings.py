"""No sentence states what the verdict does not hold: its names, figures and claims come from the findings named."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.bench.findings import product_cards
from panel.bench.sensitivity import Moved
from panel.bench.statements import Statement, facts, share_words
from panel.bench.verdict import Verdict, verdict
from panel.bench.verdict_words import for_the_price, headline, steadiness
from panel.study.measuring import Group
from tests.bench.a_trial import BENCH, NAMES, SAFE, figures, tasted, with_criteria

# What a sentence may say in figures without a finding: the confidence of intervals and the end of the scale.
ALWAYS = re.compile(r"95\u202f% interval|of 100")
CRITERIA = {criterion.name for criterion in BENCH.criteria}

values = st.one_of(st.none(), st.integers(48, 72).map(float))
verdicts = st.builds(
    lambda minutes, warm, means, prices, clean, weight: verdict(
        with_criteria(*BENCH.criteria, groups=(Group("Taste", weight), Group("Use"))),
        figures(
            dict(zip(NAMES, minutes, strict=True)),
            dict(zip(NAMES, warm, strict=True)),
            {"p3": clean},
            dict(zip(NAMES, prices, strict=True)),
        ),
        tasted(dict(zip(NAMES, means, strict=True)), tasters=8),
        names=NAMES,
        draws=150,
    ),
    st.lists(values.map(lambda v: v and v - 28), min_size=4, max_size=4),
    st.lists(values, min_size=4, max_size=4),
    st.lists(st.integers(3, 8).map(float), min_size=4, max_size=4),
    st.lists(st.sampled_from([39.0, 49.9, 80.0, 120.0]), min_size=4, max_size=4),
    st.sampled_from([(1.0, 1.0), (1.0, 0.0)]),
    st.sampled_from([0.2, 1.0, 4.0]),
)


def all_statements(found: Verdict) -> list[Statement]:
    cards = [statement for card in product_cards(found) for statement in card.statements]
    return [*headline(found), *steadiness(found), *for_the_price(found), *cards]


def unexplained(statement: Statement, known: dict[str, tuple[str, ...]]) -> list[str]:
    """Figures and names of a sentence that stand in none of the findings it rests on."""
    left = statement.text
    words = {word for one in statement.rests_on for word in known[one]}
    for word in sorted(words, key=len, reverse=True):
        for form in (word, word[:1].lower() + word[1:]):
            left = re.sub(rf"(?<![\w.,]){re.escape(form)}(?![\w])", "…", left)
    left = ALWAYS.sub("", left)
    names = [name for name in (*NAMES.values(), *CRITERIA) if re.search(rf"\b{re.escape(name)}\b", left)]
    return re.findall(r"\d+", left) + names


@settings(max_examples=60, deadline=None)
@given(verdicts)
def test_every_name_and_figure_of_a_sentence_stands_in_the_findings_it_rests_on(found: Verdict) -> None:
    known = facts(found)
    for statement in all_statements(found):
        assert statement.rests_on, statement
        assert unexplained(statement, known) == [], statement


@settings(max_examples=60, deadline=None)
@given(verdicts)
def test_what_a_sentence_claims_is_what_the_verdict_holds(found: Verdict) -> None:
    """Claims in words, each held against the verdict itself."""
    by_name = {card.name: card for card in found.cards}
    said = found.sentence()
    for name, card in by_name.items():
        assert (f"{name} cannot win" in said) == (card.standing == "failed")
        assert (f"{name} is not in the running" in said) == (card.standing == "incomplete")
        assert (f"{name} is first" in said) == (found.leaders == (card.product,) and len(found.running) > 1)
    for card in product_cards(found):
        score = found.card(card.product)
        assert [gate.name for gate in score.gates if gate.outcome == "failed"] == [
            re.findall("“(.+?)”", statement.text)[0] for statement in card.fails
        ]
        best = {one.name for one in found.bests if card.product in one.leaders and not one.everybody}
        assert {re.findall("“(.+?)”", statement.text)[0] for statement in card.best_for} == best
        lead = {one.name for one in found.bests if card.product in one.leaders}
        assert not {re.findall("“(.+?)”", statement.text)[0] for statement in card.behind} & lead
        assert (card.price is not None) == (score.standing == "in the running")


def test_a_price_that_stands_alone_is_no_comparison_and_unknown_prices_are_named() -> None:
    measured = [
        one
        for one in figures(prices=dict.fromkeys(NAMES, 90.0))
        if one.measurand != "m4" or one.product == "p1"
    ]
    found = verdict(BENCH, measured, tasted(dict.fromkeys(NAMES, 5.0)), names=NAMES, draws=150)
    assert found.price is not None
    assert found.price.what == "price"
    first, last = for_the_price(found)
    assert first.text.startswith("Kettlewick is the only product in the running whose price is known: 90")
    assert last.text.startswith("Not compared by price, since none is known: ")
    assert all(name in last.text for name in ("Morgengrau", "Bramble", "Tidewater"))
    assert unexplained(last, facts(found)) == []


def test_the_end_of_a_range_is_told_from_the_share_now() -> None:
    def moved(low: float, high: float) -> Moved:
        return Moved("group", "g", "Taste", "p1", 1.0, 0.0, None, 0.5, low, high, "p2", "p3", "p1", "p1")

    assert share_words(moved(0.2, 0.7)) == ("50\u202f%", "20\u202f%", "70\u202f%")
    assert share_words(moved(0.498, 1.0)) == ("50.0\u202f%", "49.8\u202f%", "100.0\u202f%")
    assert share_words(moved(0.0, 0.5004)) == ("50.00\u202f%", "0.00\u202f%", "50.04\u202f%")
    assert share_words(moved(0.5, 0.5)) == ("50\u202f%",) * 3


def test_a_finding_that_was_otherwise_has_another_id() -> None:
    """A sentence that a product fails cannot rest on a must that it passed."""
    cool = verdict(with_criteria(*BENCH.criteria), figures(warm={"p1": 40.0}), tasted(dict.fromkeys(NAMES, 5.0)),
                   names=NAMES, draws=150)  # fmt: skip
    assert f"gate:p1:{SAFE.key}:failed" in facts(cool)
    assert f"gate:p1:{SAFE.key}:passed" not in facts(cool)
    assert f"gate:p2:{SAFE.key}:passed" in facts(cool)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Kettlewick has 4711 points.", ["4711"]),
        ("Bramble is worse.", ["Bramble"]),
        ("Kettlewick leads.", []),
    ],
)
def test_a_figure_or_name_without_a_finding_is_noticed(text: str, left: list[str]) -> None:
    """Bait for the test above."""
    found = verdict(BENCH, figures(), tasted(dict.fromkeys(NAMES, 5.0)), names=NAMES, draws=150)
    assert unexplained(Statement(text, ("total:p1",)), facts(found)) == left
    with pytest.raises(KeyError):
        unexplained(Statement(text, ("total:p9",)), facts(found))


def test_the_cards_of_a_trial_read_as_they_should() -> None:
    found = verdict(
        BENCH,
        figures(
            {"p1": 30.0, "p2": 25.0, "p3": 50.0, "p4": 22.0},
            {"p1": 66.0, "p2": 58.5, "p3": 70.0, "p4": 50.0},
            {"p3": (1.0, 0.0, 1.0)},
            {"p1": 49.0, "p2": 89.0, "p3": 60.0, "p4": 99.5},
        ),
        tasted({"p1": 7.5, "p2": 6.8, "p3": 5.0, "p4": 6.0}),
        names=NAMES,
    )
    first, second, third, fourth = product_cards(found)
    assert first.summary.text.startswith("Place 1: ")
    assert first.best_for[0].text == "Best for “Taste” as a whole."
    assert second.doubts[0].text.startswith(
        "Uncertain whether it meets “Safe”: 58.5\u202f°C (95\u202f% interval 56.3"
    )
    assert third.fails[0].text == "Fails “Does not boil over”: 1 of 3 valid runs failed."
    assert fourth.summary.text.startswith("Fails a must and cannot win. Without its musts it would have ")
