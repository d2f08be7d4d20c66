"""Sentences that are drawn from findings only: each carries the ids of the findings it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.scoring import value_words
from stats.phrasing import percent

if TYPE_CHECKING:
    from panel.bench.price_front import PriceStep
    from panel.bench.scorecard import Scorecard, ScoredCriterion
    from panel.bench.scoring import Gate
    from panel.bench.sensitivity import Moved
    from panel.bench.verdict import Best, Verdict


ALIKE = 1e-9  # shares nearer than this are the same but for rounding


@dataclass(frozen=True, slots=True)
class Statement:
    """One sentence, or two that belong together. rests_on : ids of `facts`."""

    text: str
    rests_on: tuple[str, ...]


def facts(verdict: Verdict) -> dict[str, tuple[str, ...]]:
    """Finding's id -> the names and figures, as printed, that a sentence resting on it may use.

    What a finding says stands in its id, so that a sentence cannot rest on a must that was passed to say it failed.
    """
    found: dict[str, tuple[str, ...]] = {
        leading_id(verdict): tuple(name_of(verdict, one) for one in verdict.leaders),
        "counts": (
            str(verdict.tasters),
            str(len(verdict.cards)),
            str(len(verdict.running)),
            str(len(verdict.running) - 1),
        ),
        "nobody": (percent(verdict.nobody),),
    }
    for card in verdict.cards:
        found |= _facts_of(card)
    for best in (*verdict.parts, *verdict.bests):
        named = tuple(name_of(verdict, one) for one in best.leaders)
        found[best_id(best)] = (best.name, *named)
    for moved in verdict.moved:
        found[moved_id(moved)] = (moved.name, *(name_of(verdict, one) for one in moved_products(moved)))
        found[moved_id(moved)] += share_words(moved)
    found[rivals_id(verdict)] = tuple(name_of(verdict, one) for one in verdict.rivals)
    if verdict.price:
        unit = verdict.price.unit
        found["unpriced"] = tuple(name_of(verdict, one) for one in verdict.price.unpriced)
        for row in verdict.price.products:
            found[f"price:{row.product}:{'front' if row.on_front else 'beaten'}"] = (
                name_of(verdict, row.product),
                price_words(row.price, unit),
                points(row.total),
                percent(row.chance if row.on_front else 1 - row.chance),
            )
        for step in verdict.price.steps:
            found[step_id(step)] = (
                name_of(verdict, step.cheaper),
                name_of(verdict, step.dearer),
                *step_words(step, unit),
            )
    return found


def _facts_of(card: Scorecard) -> dict[str, tuple[str, ...]]:
    found = {
        f"standing:{card.product}:{card.standing}": (card.name,),
        f"first:{card.product}": (card.name, percent(card.first)),
        f"places:{card.product}": (card.name, str(card.place_low), str(card.place_high)),
        f"missing:{card.product}": (card.name, *card.missing),
    }
    if card.total is not None:
        found[f"total:{card.product}"] = (card.name, points(card.total), total_words(card))
    for gate in card.gates:
        chance = () if gate.chance is None else (percent(gate.chance),)
        found[gate_id(card.product, gate)] = (card.name, gate.name, gate.limit, gate.reason, *chance)
    for one in card.criteria:
        if one.value is not None:
            score = () if one.score is None else (points(one.score),)
            found[f"criterion:{card.product}:{one.criterion}"] = (
                card.name,
                one.name,
                measured_words(one),
                *score,
            )
    return found


def name_of(verdict: Verdict, product: str) -> str:
    """The product's name as printed."""
    return verdict.card(product).name


def leading_id(verdict: Verdict) -> str:
    """The finding about who is ahead: nobody, one alone in the running, one told apart, or several."""
    if not verdict.leaders:
        return "leading:nobody"
    if len(verdict.running) == 1:
        return "leading:alone"
    return "leading:one" if len(verdict.leaders) == 1 else "leading:several"


def gate_id(product: str, gate: Gate) -> str:
    """The finding about one must of one product."""
    return f"gate:{product}:{gate.criterion}:{gate.outcome}"


def best_id(best: Best) -> str:
    """The finding about who leads in something."""
    return f"best:{best.kind}:{best.key}"


def moved_id(moved: Moved) -> str:
    """The finding about one weight."""
    return f"moved:{moved.kind}:{moved.key}:{'steady' if moved.steady else 'changes'}"


def rivals_id(verdict: Verdict) -> str:
    """The finding about all groups' weights moving at once."""
    return f"rivals:{'some' if verdict.rivals else 'none'}"


def step_id(step: PriceStep) -> str:
    """The finding about two neighbours on the price front."""
    return f"step:{step.cheaper}:{step.dearer}"


def moved_products(moved: Moved) -> tuple[str, ...]:
    """Products that a sentence about a weight may name."""
    named = (moved.winner, moved.at_less, moved.at_more, moved.rival_below, moved.rival_above)
    return tuple(one for one in named if one)


def share_words(moved: Moved) -> tuple[str, str, str]:
    """A weight's share now, and both ends of its range, with the decimals that tell an end from the share now."""
    ends = (moved.share_low, moved.share_high)
    decimals = next(
        (
            places
            for places in (0, 1)
            if all(
                abs(end - moved.share) < ALIKE or percent(end, places) != percent(moved.share, places)
                for end in ends
            )
        ),
        2,
    )
    low, high = (percent(end, decimals) for end in ends)
    return percent(moved.share, decimals), low, high


def points(score: float) -> str:
    """A score as printed: whole points."""
    return f"{score:.0f}"


def total_words(card: Scorecard) -> str:
    """A total with its interval."""
    if card.total is None or card.low is None or card.high is None:
        return "no total"
    if points(card.low) == points(card.high):
        return f"{points(card.total)} of 100"
    return f"{points(card.total)} of 100 (95\u202f% interval {points(card.low)} to {points(card.high)})"


def measured_words(one: ScoredCriterion) -> str:
    """A criterion's value with its interval, "at least" said where it is a bound."""
    if one.value is None:
        return "no value"
    said = value_words(one.value, one.low, one.high, one.unit)
    return f"{one.bound} {said}" if one.bound else said


def price_words(price: float, unit: str) -> str:
    """An amount of money."""
    return f"{price:.2f}\u202f{unit}" if price != int(price) else f"{price:.0f}\u202f{unit}"


def step_words(step: PriceStep, unit: str) -> tuple[str, str]:
    """What the dearer one costs more, and scores more with its interval."""
    span = f"{signed_points(step.low)} to {signed_points(step.high)}"
    more = f"{points(step.more_total)} points more (95\u202f% interval {span})"
    return price_words(step.more_price, unit), more


def signed_points(score: float) -> str:
    """A difference of scores, with a real minus sign."""
    return points(score).replace("-", "−") if points(score) != "-0" else "0"
