"""Made-up answers are accepted by the ballot, are true to what was made up, and give a report of every test."""

from __future__ import annotations

import pytest

from panel import randomiser
from panel.analysis.planning_measures import measure_of
from panel.analysis.rehearsing import Rehearsed, Truth, possible_answers, rehearse
from panel.analysis.study_analysis import analyse_study
from panel.store.sealing import drawn
from panel.study.answers import check_answer
from panel.study.circumstances import Circumstances
from panel.study.plan import Layout, Plan, Question
from panel.study.problems import Problem
from panel.study.questions import terms_of
from panel.study.set_answers import check_set, fields_of
from panel.study.test_methods import TEST_METHODS, method_of

KNOWN = Circumstances()
EVERY = (
    Question("q1", "How much do you like it?", "hedonic-9"),
    Question("q2", "How salty?", "just-about-right"),
    Question("q3", "How sweet?", "line-100"),
    Question("q4", "How firm?", "category", points=("soft", "firm", "hard")),
    Question("q5", "What fits?", "check-all", points=("nutty", "burnt")),
    Question("q6", "Is it …?", "yes-no-list", points=("sticky", "dry")),
    Question("q7", "Again?", "yes-no"),
    Question("q8", "How many grams?", "number", least=5, most=50),
    Question("q9", "How many?", "number"),
    Question("q10", "A word?", "short-text"),
    Question("q11", "Anything else?", "comment", required=False),
    Question("q12", "How often do you eat rice?", "category", points=("never", "often"), at_end=True),
)


def plan_of(method: str, people: int = 24, **more: object) -> Plan:
    row = method_of(method)
    questions = EVERY if row.wording is None else ()
    samples = 5 if row.most > 2 else 2
    return Plan(
        "t", "h", "q", method, samples, people,
        questions=questions,
        primary="q1" if questions else "",
        attribute="saltiness" if row.directed else "",
        with_reference=row.needs_reference,
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def made(plan: Plan, truth: Truth, seed: str = "a") -> Rehearsed:
    roles = ["reference" if plan.with_reference else "", *[""] * (plan.samples - 1)]
    if method_of(plan.method).directed:
        roles[1] = "stronger"
    labels = randomiser.blind_labels(plan.samples, seed=3)
    return rehearse(plan, KNOWN, drawn(plan, "5eed"), labels, roles, truth=truth, seed=seed)


PLANS = [
    *(plan_of(name) for name in TEST_METHODS),
    plan_of("triangle", similarity_limit=0.3),
    plan_of("triangle", 60, similarity_limit=0.3, sequential=True),
    plan_of("paired preference", no_preference=True),
    plan_of("A-not-A", replicates=4),
    plan_of("rating", conditions=("plain", "with dashi"), replicates=2),
    plan_of("rating", 40, layout=Layout(per_taster=3, warm_up=True)),
]


@pytest.mark.parametrize("truth", ["none", "planned"])
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: f"{plan.method}, {plan.tasters} x {plan.replicates}")
def test_the_real_analysis_reads_a_rehearsal_of_every_test(plan: Plan, truth: Truth) -> None:
    answers = made(plan, truth)
    assert analyse_study(plan, answers.scores, answers.choices).sentence()
    assert answers == made(plan, truth), "the same seed, the same people"
    assert answers != made(plan, truth, "b")
    assert answers.truth.startswith("Made up:")


def test_every_made_up_score_is_one_that_the_ballot_accepts() -> None:
    plan = plan_of("rating")
    asked = {question.key: question for question in EVERY}
    terms = {name: question for question in EVERY for name in terms_of(question)}
    seen = set()
    for score in made(plan, "planned").scores:
        seen.add(score.question)
        if score.question in terms:
            assert score.value in (0.0, 1.0)
        elif score.value is not None:
            typed = score.value if isinstance(score.value, str) else f"{score.value:g}"
            assert not isinstance(check_answer(asked[score.question], {score.question: typed}), Problem)
    assert seen == {*asked, *terms} - {"q5", "q6"}
    positions = {score.position for score in made(plan, "none").scores if score.question == "q1"}
    assert positions == {1, 2, 3, 4, 5}


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: f"{plan.method}, {plan.tasters} x {plan.replicates}")
def test_every_made_up_choice_is_one_that_the_ballot_accepts(plan: Plan) -> None:
    method = method_of(plan.method)
    for choice in made(plan, "planned").choices:
        fields = fields_of(method, len(choice.samples))
        given = choice.chosen.split()
        if method.answer == "two of a kind":
            sent = {fields[int(cup) - 1]: "1" for cup in given}
        else:
            sent = dict(zip(fields, given if len(fields) > 1 else [choice.chosen], strict=True))
        checked = check_set(plan.method, len(choice.samples), sent, no_preference=plan.no_preference)
        assert not isinstance(checked, Problem), choice


@pytest.mark.parametrize(
    ("method", "answers", "right"),
    # How many answers there are and how many are right gives the chance of the method's row.
    [
        ("triangle", 3, 1),
        ("duo-trio", 2, 1),
        ("2-AFC", 2, 1),
        ("3-AFC", 3, 1),
        ("tetrad", 3, 1),
        ("two-out-of-five", 10, 1),
    ],
)
def test_all_answers_of_a_set_are_known(method: str, answers: int, right: int) -> None:
    found = possible_answers(method, method_of(method).set_size)
    assert len(set(found)) == answers
    assert right / answers == pytest.approx(method_of(method).chance)


@pytest.mark.parametrize("method", ["triangle", "tetrad", "duo-trio", "2-AFC", "3-AFC", "two-out-of-five"])
@pytest.mark.parametrize("truth", ["none", "planned"])
def test_made_up_tasters_are_right_as_often_as_the_power_assumes(method: str, truth: Truth) -> None:
    plan = plan_of(method, 400)
    measure = measure_of(plan, KNOWN)
    assert measure is not None
    chance = method_of(method).chance or 0.0
    expected = chance + (1 - chance) * (measure.planned if truth == "planned" else 0.0)
    choices = made(plan, truth).choices
    share = sum(bool(choice.correct) for choice in choices) / len(choices)
    # five standard errors: one false alarm in two million
    assert share == pytest.approx(expected, abs=5 * (expected * (1 - expected) / 400) ** 0.5)


def test_rehearsals_find_what_is_planned_as_often_as_the_plan_says() -> None:
    """200 rehearsals of 14 people in a tetrad: 73 % find it, five standard errors of 200 being 16 %."""
    plan = plan_of("tetrad", 14)
    found = [analyse_study(plan, (), made(plan, "planned", f"{n}").choices) for n in range(200)]
    share = sum(report.difference.significant for report in found) / 200  # type: ignore[union-attr]
    measure = measure_of(plan, KNOWN)
    assert measure is not None
    assert share == pytest.approx(measure.power(14, measure.planned), abs=0.16)
