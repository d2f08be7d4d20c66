"""What a plan asks to be bought and laid out, and how long it takes: each line with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.servings import (
    BRIEFING_MINUTES,
    cups_at_a_sitting,
    cups_of_one_sample,
    minutes_of_a_sitting,
    screens_at_a_sitting,
)

if TYPE_CHECKING:
    from panel.study.plan import Plan

WATER_PER_CUP = 60  # ml to rinse with; common practice, no source
LONG_WAIT = 30


@dataclass(frozen=True, slots=True)
class Supply:
    """One line of the shopping list, or of the timetable."""

    what: str
    amount: str
    why: str


def supplies_of(plan: Plan, most_cups: int | None = None) -> tuple[Supply, ...]:
    """The shopping list. most_cups : of any one sample as drawn; counted from the plan where it is not drawn yet."""
    of_one = (cups_of_one_sample(plan) if most_cups is None else most_cups) + plan.kitchen.spare_cups
    cups = (
        plan.tasters * plan.layout.sittings * cups_at_a_sitting(plan) + plan.samples * plan.kitchen.spare_cups
    )
    spare = f"{plan.kitchen.spare_cups} spare" if plan.kitchen.spare_cups else "no spare"
    lines = [
        Supply(
            "Of each sample",
            _amount(plan, of_one),
            f"{of_one} cups, {spare} among them. Buy the same lot for all, and keep some closed.",
        ),
        Supply("Cups, all alike", f"{cups}", "One for every serving, without print or mark of their own."),
        Supply("Labels", f"{cups}", "Printed here once the plan is sealed: a three-digit code on each cup."),
    ]
    return (*lines, *_beside(plan, cups))


def _beside(plan: Plan, cups: int) -> tuple[Supply, ...]:
    litres = math.ceil(cups * WATER_PER_CUP / 500) / 2
    lines = [Supply("Water to rinse with", f"{litres:g} l", f"About {WATER_PER_CUP} ml after each cup.")]
    if "cracker" in plan.rinse:
        lines.append(
            Supply("Plain crackers", f"{cups}", "One after each cup; they hold gluten, which is announced.")
        )
    if {"alcohol", "caffeine"} & set(plan.cautions):
        lines.append(Supply("Cups to spit into", f"{plan.tasters}", "So that nobody has to swallow."))
    if "hot" in plan.cautions or "warm-held" in plan.cautions:
        lines.append(
            Supply("Lids and a thermometer", "for every cup", "Warm samples cool while they are carried.")
        )
    lines.append(Supply("A tray or a place mat", f"{plan.tasters}", "Printed here: which cup stands where."))
    return tuple(lines)


def _amount(plan: Plan, cups: int) -> str:
    kitchen = plan.kitchen
    if kitchen.per_cup is None:
        return f"{cups} cups"
    needed = cups * kitchen.per_cup / (1 - kitchen.loss)
    if needed >= 1000:
        return f"{needed / 1000:.3g} {'kg' if kitchen.unit == 'g' else 'l'}"
    return f"{needed:.0f} {kitchen.unit}"


def times_of(plan: Plan) -> tuple[Supply, ...]:
    """How long it takes each taster, and the whole of it."""
    each = minutes_of_a_sitting(plan)
    cups, sittings = cups_at_a_sitting(plan), plan.layout.sittings
    at_once = min(plan.kitchen.at_once or plan.tasters, plan.tasters)
    groups = math.ceil(plan.tasters / at_once)
    waits = (screens_at_a_sitting(plan) - 1) * plan.pace.wait_seconds / 60
    pause = (
        f", {waits:.0f} minutes of waiting between"
        if plan.pace.wait_seconds >= LONG_WAIT and waits >= 1
        else ""
    )
    lines = [
        Supply(
            "Each taster" + (" and sitting" if sittings > 1 else ""),
            _long(each),
            f"{BRIEFING_MINUTES:.0f} minutes to arrive and read, {cups} cups at {plan.kitchen.minutes_per_cup:g} "
            f"minutes{pause}.",
        ),
        Supply(
            "The whole sitting" if sittings == 1 else "Each sitting",
            _long(each * groups),
            f"{plan.tasters} tasters"
            + (f" in {groups} groups of {at_once}." if groups > 1 else ", all at once."),
        ),
    ]
    if sittings > 1:
        lines.append(
            Supply(
                "All sittings",
                _long(each * groups * sittings),
                f"{sittings} sittings, best on different days.",
            )
        )
    if plan.kitchen.minutes is not None:
        lines.append(
            Supply("One preparation", _long(plan.kitchen.minutes), "Before the first cup is served.")
        )
    return tuple(lines)


def _long(minutes: float) -> str:
    whole = math.ceil(minutes)
    if whole < 90:
        return f"{whole} minutes"
    hours, rest = divmod(round(minutes / 15) * 15, 60)
    return f"{hours} {'hour' if hours == 1 else 'hours'}" + (f" {rest} minutes" if rest else "")
