"""How many cups and minutes a plan asks of one taster, and of each sample, before anything is drawn."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.study.plan import Plan

BRIEFING_MINUTES = 5.0  # to arrive, read and consent; common practice, no source


def cups_at_a_sitting(plan: Plan) -> int:
    """The most cups one taster gets in one sitting; an addition into the same cup is no further cup."""
    method, layout = method_of(plan.method), plan.layout
    ways = 1 if plan.condition_mode == "same cup" else len(plan.conditions)
    each = layout.per_taster or plan.samples if method.set_size == 0 or method.wording is None else 0
    rounds = plan.replicates if layout.per_taster else math.ceil(plan.replicates / layout.sittings)
    if method.known_first:
        return rounds * ways + 1  # the known one comes first
    cups = (each or method.set_size) * rounds * ways
    return cups + (1 if layout.warm_up and method.wording is None else 0)


def cups_of_one_sample(plan: Plan) -> int:
    """The most cups that any one sample can need, spares left out: an upper bound that balance nearly reaches."""
    method, layout, n = method_of(plan.method), plan.layout, plan.tasters
    ways = 1 if plan.condition_mode == "same cup" else len(plan.conditions)
    if method.known_first:
        return math.ceil(n * ways * plan.replicates / 2) + n * layout.sittings
    if method.set_size == 0 or method.wording is None:
        served = n * (layout.sittings if layout.per_taster else 1)
        share = (layout.per_taster or plan.samples) / plan.samples
        times = math.ceil(served * share) if not (layout.per_taster and plan.with_reference) else served
        warm_ups = math.ceil(n / plan.samples) * layout.sittings if layout.warm_up else 0
        return times * ways * plan.replicates + warm_ups
    return _cups_in_sets(plan, n * plan.replicates * ways)


def _cups_in_sets(plan: Plan, sets: int) -> int:
    """Sets that hold one sample more often than the other are dealt in balanced blocks; the last may be cut off."""
    method = method_of(plan.method)
    more = math.ceil(method.set_size / 2)
    less = method.set_size - more
    if plan.method == "3-AFC" or (method.keeps_reference and plan.with_reference):
        return 2 * sets
    if plan.method == "same-different":
        more, less = 2, 0
    if more == less:
        return sets * more
    block = {"two-out-of-five": 20, "same-different": 4}.get(plan.method, 6 if method.set_size == 3 else 4)
    whole, rest = divmod(sets, block)
    ahead = min(rest, block // 2)
    return whole * block * method.set_size // 2 + ahead * more + (rest - ahead) * less


def screens_at_a_sitting(plan: Plan) -> int:
    """Screens with cups that one taster meets in one sitting."""
    method = method_of(plan.method)
    cups = cups_at_a_sitting(plan)
    if (method.set_size <= 1 and method.wording is None) or method.set_size == 1:
        return cups * (len(plan.conditions) if plan.condition_mode == "same cup" else 1)
    per_set = method.set_size or plan.layout.per_taster or plan.samples
    return max(1, cups // per_set)


def minutes_of_a_sitting(plan: Plan) -> float:
    """Minutes one taster spends in one sitting: arriving, tasting at the kitchen's pace, and the waits between."""
    tasting = cups_at_a_sitting(plan) * plan.kitchen.minutes_per_cup
    waits = (screens_at_a_sitting(plan) - 1) * plan.pace.wait_seconds / 60
    return BRIEFING_MINUTES + tasting + waits
