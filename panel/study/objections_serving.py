"""Objections to how samples are served: how many, how far apart, how warm, how much they give away."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from panel.study.doses import dose_of, too_much
from panel.study.objecting import COMMON_PRACTICE, Objection, Rule
from panel.study.servings import cups_at_a_sitting, cups_of_one_sample, minutes_of_a_sitting
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan

# Cups at a sitting by how long a taste stays: from here on tasters tire, and from here on no answer is worth much.
# Common practice, no source.
TIRING_CUPS = {"": 12, "none": 12, "some": 8, "strong": 5}
HOPELESS_CUPS = {"none": 30, "some": 18, "strong": 10}
LONG_MINUTES = 45.0
HOT = 50.0  # degrees Celsius from which a sample cools noticeably while it is served
SCALDING = 65.0
MANY_SAMPLES = 7


def _too_many_cups(plan: Plan, known: Circumstances) -> list[Objection]:
    cups, staying = cups_at_a_sitting(plan), known.lingering
    tiring = TIRING_CUPS[staying]
    if cups <= tiring:
        return []
    taste = {"": "", "none": "", "some": " of a taste that stays", "strong": " of a strong taste"}[staying]
    refused = staying in HOPELESS_CUPS and cups > HOPELESS_CUPS[staying]
    text = (
        f"{cups} cups{taste} in one sitting are more than a palate can judge: the last answers are about the cups "
        "before."
        if refused
        else f"{cups} cups{taste} in one sitting tire tasters; about {tiring} stay fresh."
    )
    return [
        Objection("cups", "per_taster", text, _fewer_cups(plan, cups, tiring), COMMON_PRACTICE, refused),
    ]


def _fewer_cups(plan: Plan, cups: int, tiring: int) -> str:
    """The nearest plan that stays within so many cups at a sitting."""
    method = method_of(plan.method)
    if not method.in_parts:
        return f"Give each taster fewer sets at a sitting, and let them come again: at most {tiring} cups each time."
    fewest = method.fewest if method.wording else 2
    taken = max(fewest, (plan.layout.per_taster or plan.samples) * tiring // cups)
    sittings = math.ceil(plan.samples / taken)
    rest = f" The same tasters finish all {plan.samples} in {sittings} sittings." if sittings <= 10 else ""
    return (
        f"Give each taster {taken} samples at a sitting (“Samples for each taster at a sitting”): every pair still "
        f"meets as evenly as can be.{rest}"
    )


def _carry_over(plan: Plan, known: Circumstances) -> list[Objection]:
    if known.lingering != "strong" or cups_at_a_sitting(plan) < 2:
        return []
    if plan.pace.wait_seconds >= 60 and plan.rinse:
        return []
    text = (
        "A strong taste is still there when the next cup comes: each sample is judged through the one before."
    )
    remedy = "Write what to rinse with, and a wait of a minute or more between samples; a balanced order does the rest."
    return [
        Objection(
            "carry-over", "wait_seconds", text, remedy, "MacFie and others 1989; Lucak and Delwiche 2009"
        )
    ]


def _triangle_of_a_strong_taste(plan: Plan, known: Circumstances) -> list[Objection]:
    if known.lingering != "strong" or plan.method not in ("triangle", "tetrad", "two-out-of-five"):
        return []
    cups = method_of(plan.method).set_size
    text = (
        f"{cups} cups with a taste that stays are hard to hold against each other: the test loses its power."
    )
    remedy = "Choose a duo-trio, or a 2-AFC where you can name in what they differ: two cups to compare."
    return [Objection("strong set", "method", text, remedy, "ISO 4120:2021; ISO 10399")]


def _looks(plan: Plan, known: Circumstances) -> list[Objection]:
    if not known.looks_differ:
        return []
    if method_of(plan.method).chance is not None or plan.method in ("same-different", "A-not-A"):
        text = "The samples can be told apart by eye, so the test would show that they look different, which you know."
    else:
        text = "The samples can be told apart by eye: tasters know which cup came back, and may taste what they see."
    remedy = (
        "Serve in opaque cups with lids and a straw or a hole, or in dim light with the red look of the tasters’ "
        "pages: a white phone lights up a cup. Where neither is possible, ask about looks as a question of its own."
    )
    return [Objection("looks", "looks_differ", text, remedy, "ISO 4120:2021, 5.4; ISO 13299:2016")]


def _drift(plan: Plan, _known: Circumstances) -> list[Objection]:
    warm = plan.kitchen.temperature is not None and plan.kitchen.temperature >= HOT
    if plan.kitchen.holding is not None or not (warm or {"hot", "warm-held"} & set(plan.cautions)):
        return []
    text = "Hot samples cool while they are carried out: a few minutes can change the taste more than the product does."
    remedy = (
        "Write the serving temperature and within how many minutes a cup must be served; the kitchen’s page then times "
        "each batch. Same cup, same amount, same lid for all."
    )
    return [Objection("drift", "holding_minutes", text, remedy, "Chapko and Seo 2019")]


def _scald(plan: Plan, _known: Circumstances) -> list[Objection]:
    if plan.kitchen.temperature is None or plan.kitchen.temperature <= SCALDING:
        return []
    text = f"At {plan.kitchen.temperature:g} °C a sip scalds within two seconds."
    remedy = (
        "Serve at about 55 to 60 °C, tick the caution “hot”, and keep to the local rules for holding food hot until it "
        "is served."
    )
    return [
        Objection(
            "scald", "temperature", text, remedy, "burn times at 60, 65 and 69 °C, from memory; IARC 2016"
        )
    ]


def _dose(plan: Plan, _known: Circumstances) -> list[Objection]:
    cups = cups_at_a_sitting(plan)
    refused = too_much(plan, cups)
    if not refused:
        return []
    over = next(dose for dose in dose_of(plan, cups) if dose.over)
    field = "caffeine_mg" if over.agent.key == "caffeine" else "alcohol_g"
    fits = int(over.agent.per_day // over.per_cup)
    remedy = (
        f"At this strength {fits} cups a day are within it."
        if fits > 0
        else "Even one cup is above it: serve less."
    )
    return [Objection("dose", field, refused, remedy, over.agent.source, refused=True)]


def _uncounted(plan: Plan, _known: Circumstances) -> list[Objection]:
    amounts = {"caffeine": ("caffeine_mg", plan.caffeine_mg), "alcohol": ("alcohol_g", plan.alcohol_g)}
    return [
        Objection(
            "uncounted",
            field,
            f"Samples contain {what}, but how much is in a cup is not said: nobody is stopped at a day’s limit.",
            "Write the amount in the strongest cup; every cup is then counted as that one and as swallowed.",
            "EFSA 2015 (caffeine); UK Chief Medical Officers 2016 (alcohol)",
        )
        for what, (field, amount) in amounts.items()
        if what in plan.cautions and amount is None
    ]


def _long_sitting(plan: Plan, _known: Circumstances) -> list[Objection]:
    minutes = minutes_of_a_sitting(plan)
    if minutes <= LONG_MINUTES:
        return []
    text = f"A sitting takes each taster about {minutes:.0f} minutes. Attention goes before that."
    remedy = "Give fewer samples at a sitting, shorten the waits, or plan a break."
    return [Objection("long", "minutes_per_cup", text, remedy, COMMON_PRACTICE)]


def _one_batch(plan: Plan, _known: Circumstances) -> list[Objection]:
    kitchen = plan.kitchen
    if kitchen.per_batch is None or kitchen.per_cup is None:
        return []
    needed = (cups_of_one_sample(plan) + kitchen.spare_cups) * kitchen.per_cup / (1 - kitchen.loss)
    if needed > kitchen.per_batch:
        return []
    text = (
        "One preparation of each sample fills all cups. The result is then about that one preparation, not about the "
        "product."
    )
    remedy = (
        "Prepare each sample twice or more and fill the cups from both by turns, or say so in the verdict."
    )
    return [Objection("one batch", "per_batch", text, remedy, "ISO 13299:2016; ASTM E1871")]


def _many_pairs(plan: Plan, _known: Circumstances) -> list[Objection]:
    if plan.samples < MANY_SAMPLES or plan.with_reference:
        return []
    pairs = plan.samples * (plan.samples - 1) // 2
    text = (
        f"{plan.samples} samples make {pairs} pairs. Compared one by one, about {pairs * 0.05:.1f} would seem to "
        "differ by chance alone; the report corrects for that, so each pair needs a larger difference."
    )
    remedy = f"Where one sample is what you compare with, mark it as the reference: {plan.samples - 1} pairs instead."
    return [Objection("many pairs", "product-0-role", text, remedy, f"{pairs} pairs at 0.05, computed")]


RULES = (
    Rule("cups", ("per_taster", "sittings", "replicates", "product-0-name"), _too_many_cups),
    Rule("dose", ("caffeine_mg", "alcohol_g", "per_taster", "sittings", "replicates"), _dose),
    Rule("uncounted", ("caffeine_mg", "alcohol_g"), _uncounted),
    Rule("carry-over", ("wait_seconds", "rinse"), _carry_over),
    Rule("strong set", ("method",), _triangle_of_a_strong_taste),
    Rule("looks", (), _looks),
    Rule("drift", ("temperature", "holding_minutes"), _drift),
    Rule("scald", ("temperature",), _scald),
    Rule("long", ("minutes_per_cup", "wait_seconds", "per_taster", "sittings", "replicates"), _long_sitting),
    Rule("one batch", ("per_batch", "per_cup", "loss", "spare_cups", "tasters"), _one_batch),
    Rule("many pairs", ("product-0-name",), _many_pairs),
)
