"""Six plain questions lead to a test, people, design, ballot, shopping list and time; what cannot work is refused."""

from __future__ import annotations

import pytest

from panel.analysis.advising import Advice, advise
from panel.analysis.planning_limits import limits_of, refusals
from panel.study.asking import QUESTIONS, read_situation
from panel.study.circumstances import Circumstances
from panel.study.drafting import check_draft
from panel.study.plan import Layout, Plan, Question

KNOWN = Circumstances()
LIKING = (Question("q1", "How much do you like it?", "hedonic-9"),)


def advice_on(**typed: str) -> Advice:
    situation, problems = read_situation({"about": "rice", "people": "24", **typed})
    assert problems == ()
    return advise(situation)


# what is asked and known -> the test, and the least lasting number of people by the exact calculation
@pytest.mark.parametrize(
    ("typed", "method", "lasting"),
    [
        # Lasting numbers at 5 % and 80 %, recomputed by enumeration in test_planning_measures (pd 30 % in a triangle).
        ({"asks": "apart"}, "tetrad", 15),
        ({"asks": "apart", "lingering": "some"}, "triangle", 42),
        ({"asks": "apart", "cups": "3"}, "triangle", 42),
        ({"asks": "apart", "lingering": "strong"}, "duo-trio", 49),
        ({"asks": "apart", "cups": "2"}, "same-different", 94),
        ({"asks": "apart", "attribute": "saltiness", "knows_stronger": "yes"}, "2-AFC", 11),
        ({"asks": "apart", "attribute": "saltiness"}, "tetrad", 15),
        ({"asks": "change"}, "tetrad", 15),
        ({"asks": "change", "hope": "unnoticed"}, "triangle", 46),
        ({"asks": "as good"}, "triangle", 46),
        ({"asks": "as good", "lingering": "strong"}, "duo-trio", 77),
        ({"asks": "liked"}, "paired preference", 97),
        ({"asks": "liked", "products": "2", "size": "large"}, "paired preference", 35),
        ({"asks": "liked", "products": "5"}, "rating", 88),
        ({"asks": "like what", "products": "4"}, "rating", 80),
        ({"asks": "rank", "products": "12"}, "rating", None),
        ({"asks": "rank", "products": "2"}, "paired preference", 97),
        ({"asks": "rank", "products": "4"}, "ranking", None),
    ],
)
def test_a_question_leads_to_a_test(typed: dict[str, str], method: str, lasting: int | None) -> None:
    advice = advice_on(**typed)
    assert advice.test.id == method
    assert advice.needed is not None
    if lasting is not None:
        assert advice.needed.lasting == lasting
    assert advice.proposal.why
    assert advice.proposal.design
    assert advice.people
    assert advice.ballot
    assert {line.what for line in advice.supplies} >= {"Of each sample", "Cups, all alike", "Labels"}
    assert len(advice.times) >= 2
    assert all(line.why for line in (*advice.supplies, *advice.times))


@pytest.mark.parametrize("asks", QUESTIONS)
def test_every_advice_is_a_draft_that_only_lacks_names(asks: str) -> None:
    advice = advice_on(asks=asks, products="3", people="120")
    lacking = check_draft(advice.typed).problems
    assert {problem.field.split("-")[0] for problem in lacking} == {"product"}
    named = {f"product-{number}-name": f"Rice {number}" for number in range(advice.plan.samples)}
    drafted = check_draft(advice.typed | named)
    assert drafted.problems == ()
    assert drafted.plan == advice.plan


def test_the_plan_takes_all_there_are_or_enough_with_a_reserve() -> None:
    assert advice_on(asks="apart", people="14").plan.tasters == 14
    # 15 lasting, 15 % more is 17.25, and six orders make a group: 18.
    assert advice_on(asks="apart", people="60").plan.tasters == 18
    assert advice_on(asks="apart", people="").plan.tasters == 18


def test_too_many_products_are_shared_out_over_sittings() -> None:
    advice = advice_on(asks="liked", products="15", people="60", lingering="strong", visits="3")
    assert advice.plan.layout == Layout(per_taster=4, sittings=3)
    assert "incomplete blocks" in advice.proposal.design[0]
    assert not advice.refused
    assert "Plain crackers" in {line.what for line in advice.supplies}
    assert advice.plan.allergens == ("gluten",)


def test_a_shopping_list_holds_amounts_with_spares() -> None:
    # 24 people, 5 products, each takes all: 24 cups and 2 spare of each, 40 g a cup: 1040 g.
    advice = advice_on(asks="liked", products="5", per_cup="40", at_once="6", caution_hot="yes")
    lines = {line.what: line.amount for line in (*advice.supplies, *advice.times)}
    assert lines["Of each sample"] == "1.04 kg"
    assert lines["Cups, all alike"] == "130"
    assert lines["Each taster"] == "20 minutes"  # 5 to arrive, 5 cups at 3 minutes
    assert lines["The whole sitting"] == "80 minutes"  # four groups of six
    assert "Lids and a thermometer" in lines


def test_a_size_of_ones_own_counts() -> None:
    assert advice_on(asks="as good", own_notice="20").plan.similarity_limit == 0.2
    assert advice_on(asks="as good", own_notice="20").needed.lasting == 96  # type: ignore[union-attr]
    kept = advice_on(asks="liked", products="5", own_points="1.5", spread="20").typed
    assert (kept["own_points"], kept["spread"]) == ("1.5", "20")


@pytest.mark.parametrize(
    ("typed", "field"),
    [({"asks": "liked", "products": "1"}, "products"), ({"asks": "apart", "cups": "1"}, "cups")],
)
def test_what_cannot_be_asked_at_all_is_refused_with_the_nearest(typed: dict[str, str], field: str) -> None:
    advice = advice_on(**typed)
    assert advice.refused
    first = advice.objections[0]
    assert (first.field, first.refused) == (field, True)
    assert "The nearest that works" in first.remedy


def test_as_good_with_twelve_people_is_refused() -> None:
    advice = advice_on(asks="as good", people="12")
    assert advice.refused
    assert "would pass only 39\u202f% of the time" in advice.objections[0].text
    assert "Plan 46" in advice.objections[0].remedy


def test_words_beyond_what_a_taster_can_score_are_a_problem() -> None:
    _, problems = read_situation(
        {"asks": "like what", "words": "\n".join(f"word {n}" for n in range(13)), "products": "many"}
    )
    assert {problem.field for problem in problems} == {"words", "products"}


# ---- refused, warned, fine


def plan_of(method: str, people: int, samples: int = 2, **more: object) -> Plan:
    questions = LIKING if method == "rating" else ()
    primary = "q1" if questions else ""
    return Plan("t", "h", "q", method, samples, people, questions=questions, primary=primary, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("plan", "refused", "nearest"),
    [
        # The least number that can be significant at 5 %: (1/3)^n, (1/2)^n, 2 (1/2)^n, (1/10)^n; FAO V7180E Appendix A.
        (plan_of("tetrad", 2), True, "has 3 tasters"),
        (plan_of("tetrad", 3), False, ""),
        (plan_of("triangle", 2), True, "has 3 tasters"),
        (plan_of("duo-trio", 4), True, "has 5 tasters"),
        (plan_of("two-out-of-five", 1), True, "has 2 tasters"),
        (plan_of("paired preference", 5), True, "has 6 tasters"),
        (plan_of("paired preference", 6), False, ""),
        (plan_of("triangle", 2, replicates=2), False, ""),
        # 3 right of 3 and 0 of 3: Fisher 1/20, so 3 of each kind, 6 pairs.
        (plan_of("same-different", 5), True, "has 6 tasters"),
        # Full agreement on 5 samples: chi-square 8 for two (p .09), 12 for three (p .017), 4 df.
        (plan_of("ranking", 2, 5), True, "has 3 tasters"),
        (plan_of("ranking", 3, 5), False, ""),
        (plan_of("rating", 1), True, "has 2 tasters"),
        (plan_of("rating", 2), True, "With 4 it is found four times out of five"),
        (plan_of("rating", 4), False, ""),
        (plan_of("rating", 5, 15, layout=Layout(per_taster=4)), True, "has 10 tasters"),
        (plan_of("triangle", 12, similarity_limit=0.3), True, "Plan 46"),
        (plan_of("triangle", 24, similarity_limit=0.3), False, ""),
    ],
    ids=lambda value: f"{value.method} {value.tasters}" if isinstance(value, Plan) else None,
)
def test_only_what_cannot_work_is_refused(plan: Plan, refused: bool, nearest: str) -> None:
    problems = refusals(plan, KNOWN)
    assert bool(problems) is refused
    if refused:
        assert nearest in problems[0].text
        assert problems[0].field == "tasters"


def test_what_finds_too_little_is_warned_of_with_a_number() -> None:
    (warned,) = limits_of(plan_of("triangle", 20), KNOWN)
    assert not warned.refused
    assert "47\u202f% of the time" in warned.text
    assert "Plan 42" in warned.remedy
    assert "A tetrad of the same two needs about 15" in warned.remedy
    assert limits_of(plan_of("triangle", 42), KNOWN) == ()


def test_whoever_works_alone_is_told_in_rounds() -> None:
    assert "2 rounds" in refusals(plan_of("triangle", 2, alone=True), KNOWN)[0].text
