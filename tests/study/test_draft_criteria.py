"""What a draft wants measured and weighed: every contradiction is named at its field, and rows keep their meaning."""

from __future__ import annotations

import pytest

from panel.study.draft_reader import renumbered
from panel.study.drafting import Drafted, check_draft
from panel.study.measuring import NOTHING_MEASURED, Criterion, Group, Measurand
from panel.study.plan import plan_from_dict, plan_to_dict
from panel.study.quantities import QUANTITIES, figure_unit

RICE = {
    "title": "Rice cookers",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "24",
    "product-0-name": "Kettlewick Two",
    "product-1-name": "Morgengrau",
    "product-1-maker": "Öfner & Söhne",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "question-1-text": "Is it salty enough?",
    "question-1-scale": "just-about-right",
    "question-2-text": "Remarks",
    "question-2-scale": "comment",
}
BENCH = RICE | {
    "measurand-0-name": "Time to cook",
    "measurand-0-quantity": "duration",
    "measurand-0-unit": "min",
    "measurand-0-load": "full",
    "measurand-0-servings": "8",
    "measurand-0-runs": "4",
    "measurand-1-name": "Keeping warm",
    "measurand-1-quantity": "temperature-series",
    "measurand-1-unit": "°C",
    "measurand-1-low": "60",
    "measurand-1-high": "75",
    "measurand-1-threshold": "57",
    "measurand-1-ambient": "21,5",
    "measurand-2-name": "No boiling over",
    "measurand-2-quantity": "check",
    "criterion-0-name": "Liking",
    "criterion-0-source": "q1",
    "criterion-0-weight": "2",
    "criterion-1-name": "Speed",
    "criterion-1-source": "m1",
    "criterion-1-figure": "per serving",
    "criterion-1-direction": "less",
    "criterion-1-worst": "10",
    "criterion-1-best": "2",
    "criterion-1-group": "Use",
    "criterion-2-name": "Stays safe",
    "criterion-2-source": "m2",
    "criterion-2-figure": "at 120",
    "criterion-2-curve": "none",
    "criterion-2-must_least": "57",
    "criterion-2-basis": "US model food code",
    "criterion-3-name": "Salt",
    "criterion-3-source": "q2",
    "criterion-3-direction": "target",
    "criterion-4-name": "Clean",
    "criterion-4-source": "m3",
    "criterion-4-direction": "pass",
    "criterion-5-name": "Holds its warmth",
    "criterion-5-source": "m2",
    "criterion-5-figure": "time until below",
    "criterion-5-curve": "stepped",
    "criterion-5-steps": "30: 20\n60 min: 50\n120 = 100",
    "criterion-5-group": "use",
    "group-0-name": "Use",
    "group-0-weight": "1",
    "group-1-name": "Taste",
    "group-1-weight": "3",
}

# What is typed otherwise, the field the problem belongs to, its code, and words its sentence must hold.
WRONG = [
    ({"measurand-0-name": ""}, "measurand-0-name", "missing", "measurement 1"),
    ({"measurand-0-quantity": ""}, "measurand-0-quantity", "missing", "kind of quantity"),
    ({"measurand-0-quantity": "smell"}, "measurand-0-quantity", "unknown_choice", "“smell”"),
    ({"measurand-0-unit": "°C"}, "measurand-0-unit", "unknown_choice", "s, min, h"),
    ({"measurand-0-load": "half"}, "measurand-0-load", "unknown_choice", "“half”"),
    ({"measurand-0-servings": "0"}, "measurand-0-servings", "not_in_range", "above 0"),
    ({"measurand-0-servings": "", "criterion-1-figure": "per serving"}, "criterion-1-figure", "needs_more",
     "how many servings"),
    ({"measurand-0-runs": "0"}, "measurand-0-runs", "not_in_range", "from 1 to 100"),
    ({"measurand-1-high": ""}, "measurand-1-high", "missing", "both ends"),
    ({"measurand-1-high": "50"}, "measurand-1-high", "not_in_range", "must lie below"),
    ({"measurand-1-threshold": ""}, "criterion-5-figure", "needs_more", "the threshold"),
    ({"measurand-1-low": "", "measurand-1-high": "", "criterion-5-figure": "time inside"},
     "criterion-5-figure", "needs_more", "the window"),
    ({"measurand-2-name": "time TO cook"}, "measurand-2-name", "same_name", "Measurements 1 and 3"),
    ({"criterion-0-source": ""}, "criterion-0-source", "missing", "criterion 1"),
    ({"criterion-0-source": "q3"}, "criterion-0-source", "unknown_choice", "in numbers"),
    ({"criterion-0-source": "m9"}, "criterion-0-source", "unknown_choice", "Choose something measured"),
    ({"criterion-1-figure": "at 60"}, "criterion-1-figure", "unknown_choice", "time divided by the servings"),
    ({"criterion-0-condition": "with dashi"}, "criterion-0-condition", "no_such_condition", "“as served”"),
    ({"criterion-0-weight": "0"}, "criterion-0-weight", "not_in_range", "only a must"),
    ({"criterion-0-weight": "-1"}, "criterion-0-weight", "not_in_range", "0 to 1000"),
    ({"criterion-0-direction": "up"}, "criterion-0-direction", "unknown_choice", "“up”"),
    ({"criterion-0-curve": "wavy"}, "criterion-0-curve", "unknown_choice", "“wavy”"),
    ({"criterion-1-name": "LIKING"}, "criterion-1-name", "same_name", "Criteria 1 and 2"),
    ({"criterion-1-worst": ""}, "criterion-1-worst", "missing", "scores 0"),
    ({"criterion-1-worst": "2"}, "criterion-1-best", "no_span", "the same value, 2"),
    ({"criterion-1-worst": "1"}, "criterion-1-best", "contradiction", "more is better"),
    ({"criterion-1-must_least": "3"}, "criterion-1-best", "contradiction", "rules out 2"),
    ({"criterion-1-must_least": "9", "criterion-1-must_most": "8", "criterion-1-best": "1"},
     "criterion-1-must_most", "contradiction", "cannot both be met"),
    ({"criterion-1-must_least": "few"}, "criterion-1-must_least", "not_in_range", "least that is needed"),
    ({"criterion-1-must_least": "2 min"}, "criterion-1-must_least", "not_in_range", "−1000000000 to 1000000000"),
    ({"criterion-2-must_least": ""}, "criterion-2-must_least", "missing", "only a must"),
    ({"criterion-3-must_least": "3.5"}, "criterion-3-target_low", "contradiction", "whole target from 3 to 3"),
    ({"criterion-3-target_low": "4", "criterion-3-target_high": "3"}, "criterion-3-target_high",
     "contradiction", "begins at 4"),
    ({"criterion-3-target_low": "4"}, "criterion-3-target_high", "missing", "begins and ends"),
    ({"criterion-3-worst": "-1"}, "criterion-3-worst", "not_in_range", "above 0"),
    ({"criterion-3-curve": "stepped", "criterion-3-steps": "1: 2"}, "criterion-3-curve", "contradiction", "window"),
    ({"criterion-0-curve": "window"}, "criterion-0-curve", "contradiction", "near a target"),
    ({"criterion-4-source": "m1"}, "criterion-4-direction", "not_a_check", "Only a check"),
    ({"criterion-5-steps": ""}, "criterion-5-steps", "number_of_steps", "there are 0"),
    ({"criterion-5-steps": "often"}, "criterion-5-steps", "not_a_step", "“often”"),
    ({"criterion-5-steps": "30: 101"}, "criterion-5-steps", "not_a_step", "0 to 100"),
    ({"criterion-5-steps": "60: 20\n30: 50"}, "criterion-5-steps", "contradiction", "must rise"),
    ({"criterion-5-steps": "30: 50\n60: 20"}, "criterion-5-steps", "contradiction", "scores rise"),
    ({"criterion-5-must_most": "100"}, "criterion-5-steps", "contradiction", "rules out 120"),
    ({"group-0-weight": "0"}, "group-0-weight", "not_in_range", "“Use”"),
    ({"group-2-name": "Looks"}, "group-2-name", "empty_group", "No weighed criterion"),
    ({"group-1-name": "USE"}, "group-1-name", "same_name", "twice"),
    ({"bench-cup_ml": "0"}, "bench-cup_ml", "not_in_range", "1 to 1000"),
    ({"bench-shelf_mm": "low"}, "bench-shelf_mm", "not_in_range", "under the shelf"),
]  # fmt: skip


def checked(typed: dict[str, str]) -> Drafted:
    return check_draft(renumbered(typed))


@pytest.mark.parametrize(
    ("otherwise", "field", "code", "words"),
    WRONG,
    ids=[f"{code} in {field} ({number})" for number, (_, field, code, _) in enumerate(WRONG, start=1)],
)
def test_what_is_wrong_is_said_at_its_field(
    otherwise: dict[str, str], field: str, code: str, words: str
) -> None:
    drafted = check_draft(BENCH | otherwise)
    found = [problem for problem in drafted.problems if (problem.field, problem.code) == (field, code)]
    assert len(found) == 1, drafted.problems
    assert words in found[0].text
    assert drafted.plan is None


def test_a_complete_bench_is_read_as_meant() -> None:
    plan = checked(BENCH).plan
    assert plan is not None, checked(BENCH).problems
    bench = plan.bench
    assert bench.measurands == (
        Measurand("m1", "Time to cook", "duration", "min", "full", 8.0, runs=4),
        Measurand("m2", "Keeping warm", "temperature-series", "°C", low=60.0, high=75.0, threshold=57.0, ambient=21.5),
        Measurand("m3", "No boiling over", "check"),
    )  # fmt: skip
    assert bench.criteria == (
        Criterion("c1", "Liking", "q1", worst=1.0, best=9.0, weight=2.0),
        Criterion("c2", "Speed", "m1", "per serving", "", "min", "less", worst=10.0, best=2.0, group="Use"),
        Criterion("c3", "Stays safe", "m2", "at 120", "", "°C", must_least=57.0, curve="none",
                  group="Bench", basis="US model food code"),
        Criterion("c4", "Salt", "q2", direction="target", curve="window", worst=2.0, target_low=3.0, target_high=3.0),
        Criterion("c5", "Clean", "m3", "mean", direction="pass", curve="none", group="Bench"),
        Criterion("c6", "Holds its warmth", "m2", "time until below", "", "min", curve="stepped",
                  steps=((30.0, 20.0), (60.0, 50.0), (120.0, 100.0)), group="Use"),
    )  # fmt: skip
    assert bench.groups == (Group("Use", 1.0), Group("Taste", 3.0))
    assert plan_from_dict(plan_to_dict(plan)) == plan


def test_capitals_and_real_minus_signs_are_read_as_meant() -> None:
    otherwise = {"criterion-0-condition": "As Served", "criterion-2-must_least": "−18"}
    otherwise |= {"criterion-5-steps": "−5: 20\n60: 50"}
    plan = checked(BENCH | otherwise).plan
    assert plan is not None, checked(BENCH | otherwise).problems
    assert plan.bench.criteria[0].condition == "as served"
    assert plan.bench.criteria[2].must_least == -18
    assert plan.bench.criteria[5].steps == ((-5.0, 20.0), (60.0, 50.0))


def test_without_groups_each_named_one_weighs_the_same() -> None:
    plan = checked({name: value for name, value in BENCH.items() if not name.startswith("group-")}).plan
    assert plan is not None
    assert [(group.name, group.weight) for group in plan.bench.groups] == [("Taste", 1.0), ("Use", 1.0)]


def test_nothing_typed_is_nothing_measured() -> None:
    plan = checked(RICE).plan
    assert plan is not None
    assert plan.bench == NOTHING_MEASURED


def test_only_musts_make_no_total() -> None:
    kept = {name: value for name, value in BENCH.items() if not name.startswith(("criterion-", "group-"))}
    kept |= {"criterion-0-name": "Clean", "criterion-0-source": "m3", "criterion-0-direction": "pass"}
    assert [(p.field, p.code) for p in checked(kept).problems] == [("criterion-0-curve", "nothing_weighed")]


@pytest.mark.parametrize(
    "sight",
    [
        "measurand-0-name",
        "measurand-1-condition",
        "criterion-0-name",
        "criterion-2-basis",
        "criterion-1-group",
        "group-0-name",
    ],
)
@pytest.mark.parametrize("bait", ["Kettlewick Two", "öfner & SÖHNE"])
def test_no_product_is_named_where_the_analyst_reads(sight: str, bait: str) -> None:
    drafted = check_draft(BENCH | {sight: f"as {bait} does it"})
    assert (sight, "names_a_sample") in {(problem.field, problem.code) for problem in drafted.problems}


def test_a_source_keeps_its_row_when_rows_above_it_go() -> None:
    without = {
        name: value for name, value in BENCH.items() if not name.startswith(("measurand-0", "question-0"))
    }
    kept = renumbered(without)
    assert (kept["measurand-0-name"], kept["question-0-text"]) == ("Keeping warm", "Is it salty enough?")
    assert [kept[f"criterion-{row}-source"] for row in range(6)] == ["", "", "m1", "q1", "m2", "m1"]


def test_a_term_of_a_question_can_be_a_criterion() -> None:
    typed = RICE | {
        "question-3-text": "What fits?",
        "question-3-scale": "check-all",
        "question-3-points": "fluffy\nburnt",
        "criterion-0-name": "Burnt",
        "criterion-0-source": "q4.2",
        "criterion-0-direction": "less",
    }
    plan = checked(typed).plan
    assert plan is not None, checked(typed).problems
    assert plan.bench.criteria == (Criterion("c1", "Burnt", "q4.2", direction="less", worst=1.0, best=0.0),)


def test_every_figure_has_a_unit() -> None:
    for quantity in QUANTITIES.values():
        for figure in quantity.figures:
            unit = figure_unit(quantity.id, figure, quantity.units[0] if quantity.units else "", "EUR")
            assert unit or quantity.entry in ("number", "check", "rating", "usability")
