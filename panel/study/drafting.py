"""From what the organiser typed to a plan that can be sealed, or to what is still wrong with it.

A draft is kept exactly as typed, so that nothing is lost while it is not yet complete.
Form fields: plain names, and numbered rows such as `product-0-name` and `question-2-text`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, get_args

from panel.study.alone import refuse_unfit_alone
from panel.study.cautions import ALLERGENS, CAUTIONS
from panel.study.circumstances import Circumstances, read_circumstances
from panel.study.draft_ballot import check_conditions, read_attribute, read_primary, read_questions, row_of
from panel.study.draft_criteria import bench_texts, read_bench
from panel.study.draft_reader import LONGEST_NAME, Reader, name_key
from panel.study.draft_samples import read_products, samples_in
from panel.study.draft_serving import (
    read_conditions,
    read_kitchen,
    read_layout,
    read_pace,
    refuse_uneven_sittings,
)
from panel.study.draft_words import read_words
from panel.study.languages import ENGLISH, LANGUAGES, THEMES
from panel.study.plan import CodeRule, ConditionMode, Correction, Plan, Product, Question, QuestionOrder
from panel.study.sequential import refuse_unfit_sequential
from panel.study.taster_words import field_of
from panel.study.test_methods import TEST_METHODS, TestMethod

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.problems import Problem

MOST_TASTERS = 2000
MOST_REPLICATES = 6


@dataclass(frozen=True, slots=True)
class Drafted:
    """A checked draft: the plan and products when there are no problems.

    read : the plan as far as it can be read, a wrong field at its lowest or default value; known : what else was said
    """

    plan: Plan | None
    products: tuple[Product, ...]
    problems: tuple[Problem, ...]
    read: Plan
    known: Circumstances


def check_draft(typed: Mapping[str, str]) -> Drafted:
    """The plan and products that the typed fields mean, or every problem that keeps them from meaning one.

    The rows must be numbered as `draft_reader.renumbered` numbers them.
    """
    reader = Reader(typed)
    method = TEST_METHODS[reader.choice("method", "a test", TEST_METHODS, "rating")]
    products = read_products(reader, method)
    questions = read_questions(reader, method)
    plan = _read_plan(reader, method, products, questions)
    check_conditions(reader, plan)
    plan = replace(plan, bench=read_bench(reader, plan))
    _refuse_names_in_sight(reader, plan, products)
    if plan.alone:
        refuse_unfit_alone(reader, method, plan)
    refuse_uneven_sittings(reader, plan)
    if plan.sequential:
        refuse_unfit_sequential(reader, method, plan)
    known = read_circumstances(reader)
    return Drafted(None if reader.problems else plan, products, tuple(reader.problems), plan, known)


def _read_plan(
    reader: Reader, method: TestMethod, products: tuple[Product, ...], questions: tuple[Question, ...]
) -> Plan:
    alpha = reader.number("alpha", "the significance level", 0.0001, 0.5)
    beta = reader.number("beta", "the risk of missing that share", 0.0001, 0.4)
    order: Any = reader.choice("question_order", "the order of questions", get_args(QuestionOrder), "fixed")
    correction: Any = reader.choice("correction", "a correction", get_args(Correction), "holm")
    what = "the largest tolerable share of discriminators, in per cent,"
    limit = reader.number("similarity_limit", what, 1, 99)
    plan = Plan(
        title=reader.text("title", "a title", required=True, longest=LONGEST_NAME),
        heading=reader.text("heading", "the title for tasters", longest=LONGEST_NAME) or "Blind tasting",
        question=reader.text("question", "the question this study answers", required=True, longest=500),
        method=method.id,
        samples=samples_in(products),
        tasters=reader.whole("tasters", "the number of tasters", 1, MOST_TASTERS),
        replicates=reader.whole("replicates", "the number of repeats", 1, MOST_REPLICATES, default=1),
        with_reference=any(product.role == "reference" for product in products),
        questions=questions,
        primary=read_primary(reader, questions) if method.wording is None else "",
        question_order=order,
        attribute=read_attribute(reader, method),
        no_preference=bool(reader.typed.get("no_preference")) and method.analysis == "preference",
        alpha=0.05 if alpha is None else alpha,
        correction=correction,
        similarity_limit=limit / 100 if limit is not None and method.chance is not None else None,
        beta=0.05 if beta is None else beta,
        sequential=bool(reader.typed.get("sequential")),
    )
    return _with_serving(reader, method, _with_words(reader, plan, products))


def _with_serving(reader: Reader, method: TestMethod, plan: Plan) -> Plan:
    mode: Any = reader.choice(
        "condition_mode", "how the next serving is made", get_args(ConditionMode), "separate"
    )
    rule: Any = reader.choice("code_rule", "how codes are given", get_args(CodeRule), "per cup")
    return replace(
        plan,
        conditions=read_conditions(reader),
        condition_mode=mode,
        code_rule=rule,
        layout=read_layout(reader, method, plan.samples),
        kitchen=read_kitchen(reader),
        pace=read_pace(reader, method),
    )


def _with_words(reader: Reader, plan: Plan, products: tuple[Product, ...]) -> Plan:
    beyond = reader.ticked("allergen_", ALLERGENS)
    held = {key for product in products for key in product.allergens}
    doses = {
        "caffeine": reader.number("caffeine_mg", "the caffeine in the strongest cup, in mg,", 0.1, 1000),
        "alcohol": reader.number("alcohol_g", "the alcohol in the strongest cup, in g,", 0.01, 100),
    }
    warned = {*reader.ticked("caution_", CAUTIONS), *(key for key, amount in doses.items() if amount)}
    return replace(
        plan,
        briefing=reader.text("briefing", "the briefing"),
        consent_more=reader.text("consent_more", "what you add to what is kept", longest=1000),
        words=read_words(reader),
        rinse=reader.text("rinse", "what to do between samples", longest=300),
        serving_note=reader.text("serving_note", "how it is served", longest=500),
        allergens=tuple(key for key in ALLERGENS if key in beyond or key in held),
        other_allergens=reader.text("other_allergens", "the other allergens", longest=300),
        cautions=tuple(key for key in CAUTIONS if key in warned),
        caffeine_mg=doses["caffeine"],
        alcohol_g=doses["alcohol"],
        alone=bool(reader.typed.get("alone")),
        ask_name=bool(reader.typed.get("ask_name")),
        language=reader.choice("language", "a language", LANGUAGES, ENGLISH),
        theme=reader.choice("theme", "the look of the page", THEMES, ""),
    )


def _refuse_names_in_sight(reader: Reader, plan: Plan, products: tuple[Product, ...]) -> None:
    """Words that tasters or the analyst read must not name a sample."""
    sights = {name: getattr(plan, name) for name in ("title", "heading", "question", "briefing", "rinse")}
    sights |= {"serving_note": plan.serving_note, "other_allergens": plan.other_allergens}
    sights |= {"consent_more": plan.consent_more} | {field_of(text): own for text, own in plan.words.items()}
    sights |= {"controls": "\n".join(plan.kitchen.controls)}
    sights |= {f"condition-{number}-name": text for number, text in enumerate(plan.conditions)}
    sights |= {"attribute": plan.attribute} | bench_texts(reader)
    for item in plan.questions:
        sights |= {f"{row_of(item)}{part}": getattr(item, part) for part in ("text", "low", "high", "unit")}
        sights |= {f"{row_of(item)}points": "\n".join(item.points)}
    for name, text in sights.items():
        for product in products:
            for word in (product.name, product.maker, product.lot):
                if _tells(text, word):
                    reader.wrong(
                        name,
                        "names_a_sample",
                        f"“{text}” contains “{word}”, which belongs to a sample. "
                        "Tasters or the analyst read this before the reveal: say it without the name.",
                    )


def _tells(text: str, word: str) -> bool:
    key = name_key(word)
    return len(key) >= 2 and re.search(rf"(?<!\w){re.escape(key)}(?!\w)", name_key(text)) is not None
