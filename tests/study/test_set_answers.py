"""Answers about a set of cups: what can be chosen, what is right, and that guessing succeeds as the table says."""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.problems import Problem
from panel.study.set_answers import (
    NO_PREFERENCE,
    SET_ANSWER,
    SetCup,
    check_set,
    fields_of,
    is_right,
    judged,
    options,
    rearranged,
    set_kind,
)
from panel.study.test_methods import TEST_METHODS, TestMethod, method_of

FORCED = [method for method in TEST_METHODS.values() if method.chance is not None]
SETS = [method for method in TEST_METHODS.values() if method.answer != "scores"]
ROLES = {"a": "stronger", "b": ""}  # what the samples of a directed test are

# The sets that may be served, by their number of cups of each sample. Sources: ISO 4120:2021 (triangle), ISO
# 10399:2017 (duo-trio), ISO 5495:2005 (2-AFC), ISO 6658:2017 (tetrad, two-out-of-five). From memory.
SERVED = {
    "triangle": ["aab", "aba", "baa", "bba", "bab", "abb"],
    "duo-trio": ["aab", "aba", "bba", "bab"],
    "2-AFC": ["ab", "ba"],
    "3-AFC": ["abb", "bab", "bba"],
    "tetrad": ["".join(s) for s in sorted(set(permutations("aabb")))],
    "two-out-of-five": ["".join(s) for s in sorted({*permutations("aabbb"), *permutations("aaabb")})],
}


def cups_in(method: TestMethod) -> int:
    return method.set_size or 4


def every_answer(method: TestMethod) -> set[str]:
    """Every answer that is taken, found by sending every combination of what a form could hold."""
    cups = cups_in(method)
    names = fields_of(method, cups)
    single = [one.value for one in options(method, ("",) * cups)]
    values = single if set_kind(method).form == "pick" else ["", *map(str, range(1, cups + 1))]
    found = (
        check_set(method.id, cups, dict(zip(names, sent, strict=True)))
        for sent in product(values, repeat=len(names))
    )
    return {str(answer.value) for answer in found if not isinstance(answer, Problem)}


def test_every_forced_choice_of_the_table_is_tried_here() -> None:
    assert {method.id for method in FORCED} == set(SERVED)


@pytest.mark.parametrize("method", FORCED, ids=lambda method: method.id)
def test_whoever_guesses_is_right_as_often_as_the_table_says(method: TestMethod) -> None:
    """By enumeration: all answers for all sets, as exact fractions."""
    answers = every_answer(method)
    for served in SERVED[method.id]:
        roles = [ROLES[sample] for sample in served]
        right = sum(bool(is_right(method.id, served, roles, answer)) for answer in answers)
        assert float(Fraction(right, len(answers))) == method.chance, served


@pytest.mark.parametrize("method", FORCED, ids=lambda method: method.id)
def test_whoever_knows_is_right(method: TestMethod) -> None:
    """For each set the one answer that the standard's question has, worked out by hand."""
    key = {
        "triangle": lambda s: next(i for i in range(1, 4) if s.count(s[i - 1]) == 1),
        "duo-trio": lambda s: 2 if s[1] == s[0] else 3,
        "2-AFC": lambda s: s.index("a") + 1,
        "3-AFC": lambda s: s.index("a") + 1,
        "tetrad": lambda s: " ".join("1" if sample == s[0] else "2" for sample in s),
        "two-out-of-five": lambda s: " ".join(str(i) for i in range(1, 6) if s.count(s[i - 1]) == 2),
    }[method.id]
    for served in SERVED[method.id]:
        roles = [ROLES[sample] for sample in served]
        known = str(key(served))
        assert is_right(method.id, served, roles, known) is True, served
        others = every_answer(method) - {known}
        assert not any(is_right(method.id, served, roles, other) for other in others), served


@pytest.mark.parametrize(
    ("method", "samples", "roles", "answer", "right"),
    [
        ("same-different", "aa", ["", ""], "same", True),
        ("same-different", "ab", ["", ""], "same", False),
        ("same-different", "ab", ["", ""], "different", True),
        ("same-different", "bb", ["", ""], "different", False),
        ("A-not-A", "a", ["reference"], "yes", True),
        ("A-not-A", "a", ["reference"], "no", False),
        ("A-not-A", "b", [""], "no", True),
        ("A-not-A", "b", [""], "yes", False),
        ("paired preference", "ab", ["", ""], "1", None),
        ("ranking", "abc", ["", "", ""], "3 1 2", None),
    ],
)
def test_an_answer_is_judged(
    method: str, samples: str, roles: list[str], answer: str, right: bool | None
) -> None:
    assert is_right(method, samples, roles, answer) is right


@pytest.mark.parametrize("method", SETS, ids=lambda method: method.id)
def test_an_empty_form_is_asked_for_an_answer_in_the_locked_words(method: TestMethod) -> None:
    found = check_set(method.id, cups_in(method), {})
    assert isinstance(found, Problem)
    assert method.wording is not None
    assert (found.field, found.code, found.text) == (SET_ANSWER, "missing", method.wording.missing)


@pytest.mark.parametrize("method", SETS, ids=lambda method: method.id)
@given(st.data())
def test_rubbish_is_refused(method: TestMethod, data: st.DataObject) -> None:
    cups = cups_in(method)
    known = every_answer_cached(method.id)
    sent = {name: data.draw(st.text("0123456789 -sameyno²", max_size=4)) for name in fields_of(method, cups)}
    found = check_set(method.id, cups, sent)
    assert isinstance(found, Problem) or str(found.value) in known


_ANSWERS: dict[str, set[str]] = {}


def every_answer_cached(method_id: str) -> set[str]:
    if method_id not in _ANSWERS:
        _ANSWERS[method_id] = every_answer(method_of(method_id))
    return _ANSWERS[method_id]


@pytest.mark.parametrize(
    ("method", "sent"),
    [
        ("duo-trio", {"choice": "1"}),  # the reference itself
        ("tetrad", {"choice.1": "1", "choice.2": "1", "choice.3": "1", "choice.4": "2"}),
        ("tetrad", {"choice.1": "1", "choice.2": "2"}),
        ("two-out-of-five", {"choice.1": "1"}),
        ("two-out-of-five", {f"choice.{number}": "1" for number in (1, 2, 3)}),
        ("ranking", {"choice.1": "1", "choice.2": "1", "choice.3": "2", "choice.4": "3"}),
        ("ranking", {"choice.1": "1", "choice.2": "2", "choice.3": "3"}),
        ("paired preference", {"choice": NO_PREFERENCE}),
    ],
    ids=["the reference", "three in a group", "two left over", "one", "three", "a tie", "one left out", "not offered"],
)  # fmt: skip
def test_what_is_not_whole_is_refused(method: str, sent: dict[str, str]) -> None:
    assert isinstance(check_set(method, cups_in(method_of(method)), sent), Problem)


def test_no_preference_is_an_answer_where_it_is_offered() -> None:
    found = check_set("paired preference", 2, {"choice": NO_PREFERENCE}, no_preference=True)
    assert not isinstance(found, Problem)
    assert found.value == NO_PREFERENCE
    assert [one.value for one in options(method_of("paired preference"), ("417", "283"), no_preference=True)] == [
        "1", "2", NO_PREFERENCE,
    ]  # fmt: skip


@pytest.mark.parametrize("method", FORCED, ids=lambda method: method.id)
def test_a_forced_choice_offers_no_way_out(method: TestMethod) -> None:
    """ISO 4120:2021 clause 7 and its sister standards: whoever is unsure guesses."""
    assert not any(
        one.words for one in options(method, ("417", "283", "562", "739", "846")[: method.set_size])
    )


def test_which_group_is_called_which_says_nothing() -> None:
    one = check_set("tetrad", 4, {f"choice.{n}": g for n, g in enumerate("1221", start=1)})
    other = check_set("tetrad", 4, {f"choice.{n}": g for n, g in enumerate("2112", start=1)})
    assert one == other


@pytest.mark.parametrize("method", SETS, ids=lambda method: method.id)
def test_an_answer_keeps_its_meaning_in_another_order(method: TestMethod) -> None:
    """Moved to another order and back it is the same; and it names the same cups."""
    cups = cups_in(method)
    for answer in sorted(every_answer_cached(method.id)):
        for order in permutations(range(1, cups + 1)):
            back = [order.index(number) + 1 for number in range(1, cups + 1)]
            assert rearranged(method.id, rearranged(method.id, answer, order), back) == answer


@pytest.mark.parametrize("method_id", ["triangle", "tetrad", "two-out-of-five", "2-AFC", "3-AFC"])
def test_cups_served_in_another_order_change_nothing_about_being_right(method_id: str) -> None:
    for shown in SERVED[method_id][:4]:
        for answer in sorted(every_answer_cached(method_id)):
            for order in list(permutations(range(1, len(shown) + 1)))[::5]:
                cups = [SetCup(s, ROLES[s], place) for s, place in zip(shown, order, strict=True)]
                found = judged(method_id, cups, answer)
                roles = [ROLES[sample] for sample in found.samples]
                assert is_right(method_id, found.samples, roles, found.chosen) is found.correct
