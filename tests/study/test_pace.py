"""Tasting again and going back: what a draft may allow, by test."""

from __future__ import annotations

import pytest

from panel.study.drafting import check_draft
from panel.study.plan import Plan
from panel.study.test_methods import TEST_METHODS

TYPED = {
    "title": "Rice",
    "question": "Which rice?",
    "tasters": "6",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "product-0-name": "Tomoshibi",
    "product-0-role": "reference",
    "product-1-name": "Kumorigama",
    "product-1-role": "stronger",
    "attribute": "saltiness",
}


def plan_of(method: str, **typed: str) -> Plan:
    fields = TYPED | {"method": method} | typed
    if method == "ranking":
        fields |= {"product-2-name": "Ricelet"}
    drafted = check_draft(fields)
    assert drafted.problems == ()
    assert drafted.plan is not None
    return drafted.plan


@pytest.mark.parametrize("method", list(TEST_METHODS))
def test_tasting_again_is_usual_but_for_single_cups_against_memory(method: str) -> None:
    """Common practice, no source: cups of one comparison may be tasted again; A-not-A compares with memory."""
    assert plan_of(method).pace.retaste == (method != "A-not-A")
    assert plan_of(method, retaste="yes").pace.retaste
    assert not plan_of(method, retaste="no").pace.retaste


@pytest.mark.parametrize("method", list(TEST_METHODS))
def test_only_a_rating_can_let_tasters_go_back(method: str) -> None:
    assert plan_of(method, way_back="yes").pace.way_back == (method == "rating")
    assert not plan_of(method).pace.way_back


def test_a_choice_that_is_not_offered_is_named() -> None:
    (problem,) = check_draft(TYPED | {"method": "triangle", "retaste": "sometimes"}).problems
    assert (problem.field, problem.code) == ("retaste", "unknown_choice")
