"""Ready sets are a draft that can be sealed as it stands, and say where every limit comes from."""

from __future__ import annotations

import pytest

from panel.study.drafting import check_draft
from panel.study.quantities import QUANTITIES
from panel.study.ready_criteria import NO_SOURCE, READY_SETS, ReadySet, with_ready_set

DRAFT = {
    "title": "Appliances",
    "question": "Which one is liked best?",
    "method": "rating",
    "tasters": "24",
    "product-0-name": "Kettlewick Two",
    "product-1-name": "Morgengrau",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "criterion-0-name": "Liking",
    "criterion-0-source": "q1",
}


@pytest.mark.parametrize("ready", READY_SETS.values(), ids=list(READY_SETS))
def test_a_ready_set_reads_back_as_itself(ready: ReadySet) -> None:
    drafted = check_draft(with_ready_set(DRAFT, ready.id))
    assert drafted.problems == ()
    assert drafted.plan is not None
    assert drafted.plan.bench.measurands == ready.measurands
    read = drafted.plan.bench.criteria[1:]
    said = [
        (c.name, c.source, c.figure, c.worst, c.best, c.must_least, c.must_most, c.basis)
        for c in ready.criteria
    ]
    assert said == [
        (c.name, c.source, c.figure, c.worst, c.best, c.must_least, c.must_most, c.basis) for c in read
    ]


@pytest.mark.parametrize("ready", READY_SETS.values(), ids=list(READY_SETS))
def test_every_limit_says_where_it_comes_from(ready: ReadySet) -> None:
    named = (NO_SOURCE, "US model food code", "UK food safety guidance", "ISO ", "IEC ", "EN ")
    for criterion in ready.criteria:
        assert any(word in criterion.basis for word in named), criterion.name


@pytest.mark.parametrize("ready", READY_SETS.values(), ids=list(READY_SETS))
def test_whoever_heats_food_is_warned_and_sent_to_local_codes(ready: ReadySet) -> None:
    """Holding limits of the two codes: 57 °C (135 °F) and 63 °C."""
    for criterion in ready.criteria:
        measurand = next(m for m in ready.measurands if m.key == criterion.source)
        if QUANTITIES[measurand.quantity].entry == "series" and criterion.must_least is not None:
            assert criterion.must_least in (57, 63)
            assert "Local codes decide" in criterion.basis
            assert "local codes decide" in ready.caution


def test_a_set_added_twice_or_beside_another_adds_nothing_twice() -> None:
    once = with_ready_set(DRAFT, "rice-cooker")
    assert with_ready_set(once, "rice-cooker") == once
    both = check_draft(with_ready_set(once, "any"))
    assert both.problems == ()
    assert both.plan is not None
    names = [criterion.name for criterion in both.plan.bench.criteria]
    assert len(names) == len(set(names))


def test_the_shelf_typed_is_the_one_that_counts() -> None:
    plan = check_draft(with_ready_set(DRAFT | {"bench-shelf_mm": "380"}, "any")).plan
    assert plan is not None
    assert {c.must_most for c in plan.bench.criteria if c.name == "Fits under the shelf"} == {380.0}
