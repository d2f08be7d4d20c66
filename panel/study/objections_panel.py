"""Objections to who is asked, what is asked of them, and what would be concluded."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panel.study.draft_ballot import row_of
from panel.study.objecting import COMMON_PRACTICE, Objection, Rule
from panel.study.questions import scored_names
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan, Question

LIKING, RIGHT, INTENSITY = "hedonic-9", "just-about-right", "line-100"
MANY_SCORES = 12  # for each sample; common practice, no source
LOOSE_ALPHA = 0.1
_PREFERENCE = re.compile(r"\b(prefer\w*|like|likes|liked|liking|favou?rite|best)\b", re.IGNORECASE)
HALO = "halo: Society of Sensory Professionals, psychological errors"


def _trained_and_liking(plan: Plan, known: Circumstances) -> list[Objection]:
    if known.panel_kind != "trained" or not _asks_liking(plan):
        return []
    text = (
        "A trained panel is asked what it likes. Training makes tasters look at samples as nobody else does."
    )
    remedy = "Ask people as they come about liking, and a trained panel how strong things are or whether they differ."
    return [Objection("trained", "panel_kind", text, remedy, "ISO 11136:2014; ISO 8586:2023")]


def _asks_liking(plan: Plan) -> bool:
    by_liking = method_of(plan.method).analysis == "preference" or (
        plan.method == "ranking" and not plan.attribute
    )
    return by_liking or any(question.scale == LIKING for question in plan.questions)


def _organiser_tastes(plan: Plan, known: Circumstances) -> list[Objection]:
    if not known.organiser_tastes or plan.alone:
        return []
    text = "You taste in your own study. Whoever knows or guesses the samples finds what they expect."
    remedy = (
        "Let a second person hold the passphrase, fill and serve, so that you do not know the codes, and do not read "
        "the pour sheet; or leave yourself out and find one more taster."
    )
    return [
        Objection(
            "organiser", "organiser_tastes", text, remedy, "GB/T 12311:1990 (after ISO 4120:1983), 6.2.3"
        )
    ]


def _no_attribute(plan: Plan, _known: Circumstances) -> list[Objection]:
    method = method_of(plan.method)
    if method.asks_attribute != "must" or plan.attribute:
        return []
    text = f"A {method.name} asks which is stronger in something that you name; without it nobody can choose."
    remedy = "Name it, such as “saltiness”. If you cannot, choose a tetrad or a triangle: they ask what is different."
    return [Objection("no attribute", "attribute", text, remedy, "ISO 5495; ISO 13301", refused=True)]


def _replicates(plan: Plan, _known: Circumstances) -> list[Objection]:
    method = method_of(plan.method)
    if plan.replicates < 2 or method.wording is None or plan.method == "A-not-A":
        return []
    if plan.similarity_limit is not None:
        text = (
            f"Each taster answers {plan.replicates} times. Pooled answers may show a difference, never that there is "
            "none: similarity would not be tested at all."
        )
        remedy = "Give each taster one set, and find more tasters; or leave the limit empty and test for a difference."
        source = "AS 2542.2.4; ISO 4120:2021"
        return [Objection("replicates", "replicates", text, remedy, source, refused=True)]
    text = (
        f"{plan.tasters} tasters who answer {plan.replicates} times are {plan.tasters} tasters, not "
        f"{plan.tasters * plan.replicates}: repeats on one day say how sure each of them is, little about other people."
    )
    remedy = "Count on the number of people. Repeats help where people are few; more people help more."
    return [
        Objection("replicates", "replicates", text, remedy, "Brockhoff and Schlich 1998; Bi and Ennis 1999")
    ]


def _preference_after(plan: Plan, _known: Circumstances) -> list[Objection]:
    if method_of(plan.method).chance is None:
        return []
    return [
        Objection(
            "preference after",
            f"{row_of(question)}text",
            "Whoever has just looked for a difference is asked what they like. The search colours the answer, and "
            "those who guessed like at random.",
            "Ask other people, or the same ones on another day, in a study of preference or liking.",
            "ISO 6658:2017; ISO 5495",
        )
        for question in plan.questions
        if question.at_end and (question.scale == LIKING or _PREFERENCE.search(question.text))
    ]


def _right_and_liking(plan: Plan, _known: Circumstances) -> list[Objection]:
    asked = [question for question in plan.questions if not question.at_end]
    liking = [number for number, question in enumerate(asked) if question.scale == LIKING]
    right = [number for number, question in enumerate(asked) if question.scale == RIGHT]
    if not liking or not right:
        return []
    field = f"{row_of(asked[right[0]])}text"
    source = "Popper and others 2004, from memory"
    if right[0] < liking[0]:
        text = "“Just about right” is asked before liking: tasters then like by the list of faults they went through."
        return [
            Objection("right first", field, text, "Ask liking first, and let the verdict rest on it.", source)
        ]
    text = "“Just about right” and liking are asked about the same cup: each pulls at the other, even in this order."
    remedy = "Liking stands first, as it should. Read the penalties as hints, and ask no more of these than you need."
    return [Objection("right and liking", field, text, remedy, source)]


def _halo(plan: Plan, _known: Circumstances) -> list[Objection]:
    asked = [question for question in plan.questions if not question.at_end]
    lines = [question for question in asked if question.scale == INTENSITY]
    if not lines or not any(question.scale == LIKING for question in asked):
        return []
    text = "Liking and intensity are asked about the same cup: what is liked seems sweeter and less bitter."
    remedy = "Ask them of different people, or in sittings of their own. Together, read the intensities as impressions."
    return [Objection("halo", f"{row_of(lines[0])}text", text, remedy, HALO)]


def _many_questions(plan: Plan, _known: Circumstances) -> list[Objection]:
    scored = len(scored_names(plan))
    if scored <= MANY_SCORES or plan.method != "rating":
        return []
    last = _last_scored(plan)
    text = (
        f"Each cup gets {scored} answers. Tasters begin to tick without tasting, and the cup cools meanwhile."
    )
    remedy = f"Keep the {MANY_SCORES} that would change your verdict."
    return [Objection("many questions", f"{row_of(last)}text", text, remedy, COMMON_PRACTICE)]


def _last_scored(plan: Plan) -> Question:
    names = scored_names(plan)
    return [q for q in plan.questions if any(name.partition(".")[0] == q.key for name in names)][-1]


def _loose_alpha(plan: Plan, _known: Circumstances) -> list[Objection]:
    if plan.alpha <= LOOSE_ALPHA:
        return []
    often = round(1 / plan.alpha)
    text = f"At {plan.alpha:g} one study in {often} finds a difference where there is none."
    return [
        Objection("alpha", "alpha", text, "Use 0.05 unless you have a reason.", "definition of the level")
    ]


RULES = (
    Rule("no attribute", (), _no_attribute),
    Rule("replicates", ("replicates", "tasters"), _replicates),
    Rule("trained", (), _trained_and_liking),
    Rule("organiser", (), _organiser_tastes),
    Rule("preference after", (), _preference_after),
    Rule("right and liking", (), _right_and_liking),
    Rule("halo", (), _halo),
    Rule("many questions", (), _many_questions),
    Rule("alpha", ("alpha",), _loose_alpha),
)
