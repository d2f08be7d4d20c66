"""From typed fields to a plan: every problem is named, nothing typed is lost, no name stands where tasters read."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.cautions import ALLERGENS
from panel.study.draft_reader import name_key, renumbered, rows_of, tidy
from panel.study.drafting import Drafted, check_draft
from panel.study.plan import (
    plan_from_dict,
    plan_to_dict,
    product_from_dict,
    product_to_dict,
)

RATING = {
    "title": "Rice cookers",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "24",
    "product-0-name": "Kettlewick Two",
    "product-1-name": "Morgengrau",
    "product-1-maker": "Öfner & Söhne",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "question-1-text": "How firm is it?",
    "question-1-scale": "line-100",
    "question-1-low": "soft",
    "question-1-high": "firm",
}
TRIANGLE = {key: value for key, value in RATING.items() if not key.startswith("question-")} | {
    "method": "triangle"
}
THIRD = {"product-2-name": "Dritter"}

# Base, what is typed otherwise, the field the problem belongs to, its code, and words its sentence must hold.
WRONG = [
    (RATING, {"title": "  "}, "title", "missing", "Write a title."),
    (RATING, {"title": "x" * 121}, "title", "too_long", "has 121"),
    (RATING, {"question": ""}, "question", "missing", "Write the question"),
    (RATING, {"method": "guesswork"}, "method", "unknown_choice", "“guesswork”"),
    (RATING, {"tasters": ""}, "tasters", "not_in_range", "from 1 to 2000"),
    (RATING, {"sittings": "2"}, "replicates", "uneven", "With 2 sittings for each taster, write 2"),
    (RATING, {"sittings": "2", "replicates": "3"}, "replicates", "uneven", "write 2"),
    (RATING, {"tasters": "0"}, "tasters", "not_in_range", "not “0”"),
    (RATING, {"tasters": "2001"}, "tasters", "not_in_range", "not “2001”"),
    (RATING, {"tasters": "-3"}, "tasters", "not_in_range", "not “-3”"),
    (RATING, {"tasters": "many"}, "tasters", "not_in_range", "not “many”"),
    (RATING, {"tasters": "2.5"}, "tasters", "not_in_range", "whole number"),
    (RATING, {"replicates": "7"}, "replicates", "not_in_range", "from 1 to 6"),
    (RATING, {"alpha": "0.7"}, "alpha", "not_in_range", "0.0001 to 0.5"),
    (RATING, {"alpha": "nan"}, "alpha", "not_in_range", "0.0001 to 0.5"),
    (RATING, {"alpha": "five"}, "alpha", "not_in_range", "0.0001 to 0.5"),
    (TRIANGLE, {"similarity_limit": "100"}, "similarity_limit", "not_in_range", "1 to 99"),
    (RATING, {"product-1-name": ""}, "product-1-name", "missing", "name for sample 2"),
    (RATING, {"product-1-name": "n" * 121}, "product-1-name", "too_long", "has 121"),
    (RATING, {"product-1-name": "KETTLEWICK  two"}, "product-1-name", "same_name", "Samples 1 and 2"),
    (RATING, {"product-1-name": "Ｋettlewick Two"}, "product-1-name", "same_name", "Samples 1 and 2"),
    (RATING, {"product-1-name": "Kettle\u200bwick Two"}, "product-1-name", "same_name", "Samples 1 and 2"),
    (RATING, {"product-1-name": "", "product-1-maker": ""}, "product-0-name", "number_of_samples", "only one"),
    (TRIANGLE, THIRD, "product-0-name", "number_of_samples", "2 samples, but there are 3"),
    (RATING, {"question-1-scale": "guess"}, "question-1-scale", "unknown_choice", "“guess”"),
    (RATING, {"question-1-text": ""}, "question-1-text", "missing", "question 2"),
    (RATING, {"question-1-text": "how much do you LIKE it?"}, "question-1-text", "same_question", "twice"),
    (RATING, {"question-1-text": "q" * 301}, "question-1-text", "too_long", "has 301"),
    (RATING, {"question-0-scale": "comment", "question-1-scale": "comment"},
     "question-0-text", "no_question", "on a scale"),
    (RATING, {"primary": "q7"}, "primary", "unknown_choice", "“q7”"),
    (RATING, {"question-1-scale": "comment", "primary": "q2"}, "primary", "cannot_carry", "on a scale"),
    (RATING, {"condition_mode": "mixed"}, "condition_mode", "unknown_choice", "“mixed”"),
    (RATING, {"code_rule": "none"}, "code_rule", "unknown_choice", "“none”"),
    (RATING, {"condition-0-name": "plain", "condition-1-name": "PLAIN"}, "condition-1-name", "same_name", "twice"),
    (RATING, {f"condition-{n}-name": f"way {n}" for n in range(5)}, "condition-0-name", "too_many", "at most 4"),
]  # fmt: skip


def checked(typed: dict[str, str]) -> Drafted:
    return check_draft(renumbered(typed))


@pytest.mark.parametrize(
    ("base", "otherwise", "field", "code", "words"),
    WRONG,
    ids=[f"{code} in {field} ({number})" for number, (_, _, field, code, _) in enumerate(WRONG, start=1)],
)
def test_what_is_wrong_is_said_at_its_field(
    base: dict[str, str], otherwise: dict[str, str], field: str, code: str, words: str
) -> None:
    drafted = checked(base | otherwise)
    found = [problem for problem in drafted.problems if (problem.field, problem.code) == (field, code)]
    assert len(found) == 1, drafted.problems
    assert words in found[0].text
    assert drafted.plan is None


@pytest.mark.parametrize("base", [RATING, TRIANGLE], ids=["rating", "triangle"])
def test_a_complete_draft_has_no_problem(base: dict[str, str]) -> None:
    drafted = checked(base)
    assert (drafted.problems, drafted.plan is not None) == ((), True)


def test_all_problems_are_named_at_once() -> None:
    drafted = checked({"method": "triangle"})
    assert {"title", "question", "tasters", "product-0-name"} <= {
        problem.field for problem in drafted.problems
    }


# ---- names in sight

SIGHTS = ["title", "heading", "question", "briefing", "rinse", "serving_note", "other_allergens",
          "condition-0-name", "question-0-text", "question-1-low", "question-1-high"]  # fmt: skip


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize(
    "bait",
    ["is morgengrau better?", "MORGENGRAU", "by Öfner & Söhne", "by öfner &\tsöhne", "Morgen\u00adgrau"],
    ids=["a name", "in capitals", "a maker", "with a tab", "with a soft hyphen"],
)
def test_a_sample_is_not_named_where_tasters_or_the_analyst_read(sight: str, bait: str) -> None:
    drafted = checked(RATING | {sight: bait})
    assert [(problem.field, problem.code) for problem in drafted.problems] == [(sight, "names_a_sample")]


def test_a_word_that_only_contains_a_name_is_no_name() -> None:
    assert checked(RATING | {"briefing": "Morgengrauen is dawn"}).problems == ()


def test_the_plan_holds_no_word_of_the_products() -> None:
    bait = {"product-0-lot": "L-7781", "product-0-price": "€ 84.90", "product-0-note": "rubber smell"}
    plan = checked(RATING | bait).plan
    assert plan is not None
    said = json.dumps(plan_to_dict(plan), ensure_ascii=False)
    assert not any(word in said for word in ("Kettlewick", "Morgengrau", "Öfner", "7781", "84.90", "rubber"))


def test_allergens_of_all_samples_become_one_list_in_a_fixed_order() -> None:
    ticks = {"product-1-allergen_milk": "1", "product-0-allergen_sesame": "1", "allergen_fish": "1"}
    plan = checked(RATING | ticks).plan
    assert plan is not None
    assert plan.allergens == tuple(key for key in ALLERGENS if key in ("fish", "milk", "sesame"))


# ---- what is typed survives

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
FORMS = st.dictionaries(
    st.sampled_from(
        ["title", "primary"]
        + [f"product-{n}-{part}" for n in (0, 1, 5) for part in ("name", "maker", "note")]
        + [f"question-{n}-{part}" for n in (0, 2, 3) for part in ("text", "low", "high")]
        + [f"condition-{n}-name" for n in (0, 4)]
    ),
    WORDS,
    max_size=14,
)


@given(FORMS)
def test_no_typed_word_is_lost_by_renumbering(typed: dict[str, str]) -> None:
    typed = typed | {"primary": "q1"}
    before = sorted(value for name, value in typed.items() if tidy(value) and name != "primary")
    after = renumbered(typed)
    assert sorted(value for name, value in after.items() if tidy(value) and name != "primary") == before


@given(FORMS)
def test_renumbering_twice_changes_nothing_more(typed: dict[str, str]) -> None:
    assert renumbered(renumbered(typed)) == renumbered(typed)


@given(FORMS)
def test_rows_are_numbered_from_nought_without_a_gap(typed: dict[str, str]) -> None:
    for kind in ("product", "question", "condition"):
        rows = rows_of(renumbered(typed), kind)
        assert rows == list(range(len(rows)))


def test_rows_keep_their_order() -> None:
    typed = {"product-7-name": "c", "product-10-name": "d", "product-2-name": "b", "product-1-name": " "}
    assert renumbered(typed) == {"product-0-name": "b", "product-1-name": "c", "product-2-name": "d"}


def test_the_verdict_stays_with_its_question_when_an_empty_row_before_it_goes() -> None:
    typed = RATING | {
        "question-1-text": "", "question-1-low": "", "question-1-high": "",
        "question-2-text": "How sweet is it?", "question-2-scale": "line-100", "primary": "q3",
    }  # fmt: skip
    plan = checked(typed).plan
    assert plan is not None
    assert plan.question_called(plan.primary).text == "How sweet is it?"


@given(st.dictionaries(st.sampled_from([*sorted(RATING), "alpha", "replicates", "heading"]), WORDS))
def test_whatever_is_typed_gives_a_plan_or_problems_and_never_both(typed: dict[str, str]) -> None:
    drafted = checked(RATING | typed)
    assert (drafted.plan is None) is bool(drafted.problems)
    if drafted.plan is not None:
        assert plan_from_dict(json.loads(json.dumps(plan_to_dict(drafted.plan)))) == drafted.plan
        for product in drafted.products:
            assert product_from_dict(json.loads(json.dumps(product_to_dict(product)))) == product


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Cafe\u0301 rice", "Café rice"), ("a\tb", "a b"), ("bell\x07", "bell"), (" \n two\nlines\r\n", "two\nlines"),
        ("𝕽ice 🍚", "𝕽ice 🍚"), ("\x00", ""),
    ],
    ids=["composed", "tab", "control character", "lines", "beyond the basic plane", "nul"],
)  # fmt: skip
def test_text_is_tidied_and_otherwise_kept(typed: str, kept: str) -> None:
    assert tidy(typed) == kept


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Straße", "STRASSE", True), ("ＡＢＣ", "abc", True), ("ﬁne", "FINE", True), ("A  B", "a b", True),
        ("Cafe\u0301", "CAFÉ", True), ("Cafe", "Café", False), ("Rice 1", "Rice 2", False),
    ],
)  # fmt: skip
def test_names_that_read_alike_count_as_one(one: str, other: str, same: bool) -> None:
    """Unicode Standard, section 5.18 (caseless matching) and UAX 15 (compatibility forms)."""
    assert (name_key(one) == name_key(other)) is same
