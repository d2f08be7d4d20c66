"""What ruins tests is said where it is decided; each rule speaks and falls silent, and rests on what could be read."""

from __future__ import annotations

import pytest

from panel.study.drafting import check_draft
from panel.study.objections import RULES, Objection, objections_to

RATING = {
    "title": "Rice",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "24",
    "product-0-name": "Tsubaki",
    "product-1-name": "Kaede",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
}
TRIANGLE = {**RATING, "method": "triangle"}
AT_END = {"question-0-text": "What struck you?", "question-0-at_end": "yes"}


def found(typed: dict[str, str]) -> dict[str, Objection]:
    drafted = check_draft(typed)
    wrong = {problem.field for problem in drafted.problems}
    return {objection.key: objection for objection in objections_to(drafted.read, drafted.known, wrong)}


def many(number: int) -> dict[str, str]:
    return {f"product-{n}-name": f"sample {n}" for n in range(number)}


# key of the rule, what is typed, the field beside which it is said, whether it refuses
SPEAKS = [
    ("cups", {**RATING, **many(9), "lingering": "some"}, "per_taster", False),
    ("cups", {**RATING, **many(15), "lingering": "strong"}, "per_taster", True),
    ("carry-over", {**RATING, "lingering": "strong"}, "wait_seconds", False),
    ("strong set", {**TRIANGLE, "lingering": "strong"}, "method", False),
    ("looks", {**TRIANGLE, "looks_differ": "yes"}, "looks_differ", False),
    ("looks", {**RATING, "looks_differ": "yes"}, "looks_differ", False),
    ("drift", {**RATING, "temperature": "58"}, "holding_minutes", False),
    ("drift", {**RATING, "caution_hot": "yes"}, "holding_minutes", False),
    ("scald", {**RATING, "temperature": "70"}, "temperature", False),
    ("dose", {**RATING, "caffeine_mg": "250"}, "caffeine_mg", True),
    ("dose", {**RATING, "alcohol_g": "20"}, "alcohol_g", True),
    ("uncounted", {**RATING, "caution_caffeine": "yes"}, "caffeine_mg", False),
    ("uncounted", {**RATING, "caution_alcohol": "yes"}, "alcohol_g", False),
    ("long", {**RATING, **many(8), "minutes_per_cup": "6"}, "minutes_per_cup", False),
    ("one batch", {**RATING, "per_cup": "30", "per_batch": "900"}, "per_batch", False),
    ("many pairs", {**RATING, **many(7)}, "product-0-role", False),
    ("no attribute", {**RATING, "method": "3-AFC", "product-0-role": "stronger"}, "attribute", True),
    ("replicates", {**TRIANGLE, "replicates": "2"}, "replicates", False),
    ("replicates", {**TRIANGLE, "replicates": "2", "similarity_limit": "30"}, "replicates", True),
    ("trained", {**RATING, "panel_kind": "trained"}, "panel_kind", False),
    ("trained", {**RATING, "panel_kind": "trained", "method": "paired preference"}, "panel_kind", False),
    ("organiser", {**RATING, "organiser_tastes": "yes"}, "organiser_tastes", False),
    (
        "preference after",
        {**TRIANGLE, "question-0-text": "Which did you prefer?", "question-0-at_end": "yes"},
        "question-0-text",
        False,
    ),
    (
        "right and liking",
        {**RATING, "question-1-text": "How salty?", "question-1-scale": "just-about-right"},
        "question-1-text",
        False,
    ),
    (
        "right first",
        {
            **RATING,
            "question-0-text": "How salty?",
            "question-0-scale": "just-about-right",
            "question-1-text": "How much do you like it?",
            "question-1-scale": "hedonic-9",
        },
        "question-0-text",
        False,
    ),
    (
        "halo",
        {**RATING, "question-1-text": "How sweet?", "question-1-scale": "line-100"},
        "question-1-text",
        False,
    ),
    (
        "many questions",
        {**RATING, **{f"question-{n}-text": f"How much of {n}?" for n in range(13)}},
        "question-12-text",
        False,
    ),
    ("alpha", {**RATING, "alpha": "0.2"}, "alpha", False),
]
# the same decision made well
SILENT = [
    ("cups", {**RATING, **many(15), "lingering": "strong", "per_taster": "4"}),
    ("cups", {**RATING, **many(5), "lingering": "strong"}),
    ("carry-over", {**RATING, "lingering": "strong", "wait_seconds": "90", "rinse": "Rinse with water."}),
    ("strong set", {**TRIANGLE, "lingering": "strong", "method": "duo-trio"}),
    ("drift", {**RATING, "temperature": "58", "holding_minutes": "10"}),
    ("scald", {**RATING, "temperature": "60"}),
    ("dose", {**RATING, "caffeine_mg": "60"}),
    ("uncounted", {**RATING, "caution_alcohol": "yes", "alcohol_g": "3"}),
    ("one batch", {**RATING, "per_cup": "30", "per_batch": "300"}),
    ("many pairs", {**RATING, **many(7), "product-0-role": "reference"}),
    ("no attribute", {**RATING, "method": "3-AFC", "product-0-role": "stronger", "attribute": "saltiness"}),
    ("replicates", {**RATING, "replicates": "2"}),
    ("trained", {**TRIANGLE, "panel_kind": "trained"}),
    (
        "preference after",
        {**TRIANGLE, **AT_END, "question-0-scale": "comment"},
    ),
    ("right and liking", RATING),
    ("halo", RATING),
    ("alpha", {**RATING, "alpha": "0.1"}),
]


@pytest.mark.parametrize(
    ("key", "typed", "field", "refused"), SPEAKS, ids=[f"{row[0]} {n}" for n, row in enumerate(SPEAKS)]
)
def test_what_ruins_a_test_is_said_beside_its_field(
    key: str, typed: dict[str, str], field: str, refused: bool
) -> None:
    objection = found(typed)[key]
    assert (objection.field, objection.refused) == (field, refused)
    assert objection.remedy
    assert objection.source


@pytest.mark.parametrize(("key", "typed"), SILENT, ids=[row[0] for row in SILENT])
def test_a_rule_falls_silent_where_its_advice_was_taken(key: str, typed: dict[str, str]) -> None:
    assert key not in found(typed)


def test_every_rule_is_tried() -> None:
    keys = {row[0] for row in SPEAKS} - {"right first"}  # the same rule as "right and liking"
    assert {rule.key for rule in RULES} == keys


def test_a_plain_study_meets_no_objection() -> None:
    assert found(RATING) == found(TRIANGLE) == {}


def test_a_rule_stays_silent_where_what_it_rests_on_cannot_be_read() -> None:
    typed = {**RATING, "alpha": "a lot"}
    assert "alpha" not in found(typed)
    assert "dose" not in found({**RATING, "caffeine_mg": "250", "sittings": "many"})


def test_fifteen_strong_samples_are_refused_with_the_nearest_plan_that_works() -> None:
    refused = found({**RATING, **many(15), "lingering": "strong"})["cups"]
    assert "15 cups of a strong taste in one sitting" in refused.text
    assert "5 samples at a sitting" in refused.remedy
    assert "finish all 15 in 3 sittings" in refused.remedy
    better = found({**RATING, **many(15), "lingering": "strong", "per_taster": "5", "sittings": "3"})
    assert "cups" not in better


def test_refusals_come_first() -> None:
    typed = {**RATING, "caffeine_mg": "250", "panel_kind": "trained", "organiser_tastes": "yes"}
    drafted = check_draft(typed)
    assert objections_to(drafted.read, drafted.known)[0].key == "dose"
