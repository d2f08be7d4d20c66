"""A card for each product: what it is best for, where it falls behind, what it fails; nothing but findings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.statements import (
    Statement,
    best_id,
    gate_id,
    leading_id,
    measured_words,
    name_of,
    points,
    price_words,
    total_words,
)
from stats.phrasing import listing, percent

if TYPE_CHECKING:
    from panel.bench.scorecard import Scorecard
    from panel.bench.verdict import Best, Verdict

MOST_BEHIND = 2


@dataclass(frozen=True, slots=True)
class ProductCard:
    """What there is to say of one product.

    summary : its standing and place; best_for, behind, fails, doubts : sentences, () where there are none
    price : on its price, None without one
    """

    product: str
    name: str
    summary: Statement
    best_for: tuple[Statement, ...]
    behind: tuple[Statement, ...]
    fails: tuple[Statement, ...]
    doubts: tuple[Statement, ...]
    price: Statement | None

    @property
    def statements(self) -> tuple[Statement, ...]:
        """All sentences, in the order read."""
        price = (self.price,) if self.price else ()
        return (self.summary, *self.fails, *self.best_for, *self.behind, *self.doubts, *price)


def product_cards(verdict: Verdict) -> tuple[ProductCard, ...]:
    """A card for each product, in the order of the verdict."""
    return tuple(
        ProductCard(
            product=card.product,
            name=card.name,
            summary=_summary(verdict, card),
            best_for=_best_for(verdict, card),
            behind=_behind(verdict, card),
            fails=_gates(card, "failed"),
            doubts=(*_gates(card, "uncertain"), *_gates(card, "missing")),
            price=_price(verdict, card),
        )
        for card in verdict.cards
    )


def _summary(verdict: Verdict, card: Scorecard) -> Statement:
    standing = f"standing:{card.product}:{card.standing}"
    if card.standing == "failed":
        total = f" Without its musts it would have {total_words(card)}." if card.total is not None else ""
        rests = (standing, *((f"total:{card.product}",) if total else ()))
        return Statement(f"Fails a must and cannot win.{total}", rests)
    if card.standing == "incomplete":
        text = f"Not in the running, since a value is missing ({'; '.join(card.missing)})."
        return Statement(text, (standing, f"missing:{card.product}"))
    rests = (standing, f"total:{card.product}", f"first:{card.product}", f"places:{card.product}", "counts")
    first = f"chance of being first {percent(card.first)}"
    if card.place_low == card.place_high:
        return Statement(f"Place {card.place_low}: {total_words(card)}; {first}.", rests)
    places = f"Shares places {card.place_low} to {card.place_high}"
    return Statement(f"{places}: {total_words(card)}; {first}.", (*rests, leading_id(verdict)))


def _best_for(verdict: Verdict, card: Scorecard) -> tuple[Statement, ...]:
    """What it leads in, alone or with a few; not where nobody was told apart from the highest."""
    said = []
    for best in verdict.bests:
        if card.product not in best.leaders or best.everybody or len(best.of) < 2:
            continue
        others = [name_of(verdict, one) for one in best.leaders if one != card.product]
        shared = f", together with {listing(others)}" if others else ""
        rests: tuple[str, ...] = (best_id(best),)
        value = ""
        if best.kind == "criterion":
            one = card.criterion(best.key)
            value = f": {measured_words(one)}"
            rests += (f"criterion:{card.product}:{best.key}",)
        said.append(Statement(f"Best for {_titled(best)}{shared}{value}.", rests))
    return tuple(said)


def _behind(verdict: Verdict, card: Scorecard) -> tuple[Statement, ...]:
    """Where it loses most of the total against the best, told apart from it."""
    lost = []
    for best in verdict.bests:
        if best.kind != "criterion" or card.product not in best.of or card.product in best.leaders:
            continue
        own, top = card.criterion(best.key), verdict.card(best.leaders[0]).criterion(best.key)
        if own.score is not None and top.score is not None:
            lost.append((own.share * (top.score - own.score), best))
    said = []
    for _, best in sorted(lost, key=lambda pair: -pair[0])[:MOST_BEHIND]:
        own, top = card.criterion(best.key), verdict.card(best.leaders[0]).criterion(best.key)
        text = (
            f"Behind in {_titled(best)}: {measured_words(own)}, a score of {points(own.score or 0.0)} where "
            f"{name_of(verdict, best.leaders[0])} has {points(top.score or 0.0)}."
        )
        rests = (
            best_id(best),
            f"criterion:{card.product}:{best.key}",
            f"criterion:{best.leaders[0]}:{best.key}",
        )
        said.append(Statement(text, rests))
    return tuple(said)


def _gates(card: Scorecard, outcome: str) -> tuple[Statement, ...]:
    said = []
    for gate in card.gates:
        if gate.outcome != outcome:
            continue
        words = {
            "failed": "Fails",
            "uncertain": "Uncertain whether it meets",
            "missing": "Not known whether it meets",
        }
        chance = "" if gate.chance is None or outcome != "uncertain" else f" Chance {percent(gate.chance)}."
        text = f"{words[outcome]} “{gate.name}”: {gate.reason[0].lower() + gate.reason[1:]}{chance}"
        said.append(Statement(text, (gate_id(card.product, gate),)))
    return tuple(said)


def _price(verdict: Verdict, card: Scorecard) -> Statement | None:
    if verdict.price is None:
        return None
    row = next((row for row in verdict.price.products if row.product == card.product), None)
    if row is None:
        return None
    cost = price_words(row.price, verdict.price.unit)
    if row.on_front:
        text = f"Costs {cost}; no other gives as much for less, or more for as much ({percent(row.chance)} of draws)."
        return Statement(text, (f"price:{card.product}:front",))
    sure = percent(1 - row.chance)
    text = f"Costs {cost}; another costs no more and scores no less ({sure} of draws)."
    return Statement(text, (f"price:{card.product}:beaten",))


def _titled(best: Best) -> str:
    return f"“{best.name}”" if best.kind == "criterion" else f"“{best.name}” as a whole"
