"""The verdict in sentences: who is ahead and how surely, who is out, and where taste and bench disagree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.bench.statements import (
    Statement,
    best_id,
    gate_id,
    leading_id,
    moved_id,
    name_of,
    points,
    price_words,
    rivals_id,
    share_words,
    step_id,
    step_words,
    total_words,
)
from stats.phrasing import count, listing, percent

if TYPE_CHECKING:
    from panel.bench.scorecard import Scorecard
    from panel.bench.sensitivity import Moved
    from panel.bench.verdict import Verdict


def headline(verdict: Verdict) -> tuple[Statement, ...]:
    """The verdict: who is ahead, on which uncertain musts it hangs, who is out, and whether the halves disagree."""
    return (
        _leading(verdict),
        *_hanging(verdict),
        *(_out(card) for card in verdict.cards if card.standing == "failed"),
        *(_incomplete(card) for card in verdict.cards if card.standing == "incomplete"),
        *taste_and_bench(verdict),
    )


def taste_and_bench(verdict: Verdict) -> tuple[Statement, ...]:
    """Whether the panel and the instruments put the same product first; nothing where that cannot be said."""
    if len(verdict.parts) < 2 or any(len(part.of) < 2 for part in verdict.parts):
        return ()
    taste, bench = verdict.parts
    rests = (best_id(taste), best_id(bench))
    if set(taste.leaders).isdisjoint(bench.leaders):
        liked = listing([name_of(verdict, one) for one in taste.leaders])
        measured = listing([name_of(verdict, one) for one in bench.leaders])
        leads = "leads" if len(taste.leaders) == 1 else "lead"
        return (
            Statement(f"Taste and bench disagree: by taste {liked} {leads}, by the bench {measured}.", rests),
        )
    if len(taste.leaders) == len(bench.leaders) == 1:
        return (Statement(f"Taste and bench agree on {name_of(verdict, taste.leaders[0])}.", rests),)
    return ()


def steadiness(verdict: Verdict) -> tuple[Statement, ...]:
    """What changes if weights move."""
    if len(verdict.running) < 2:
        return ()
    winner = name_of(verdict, verdict.running[0].product)
    moving = [moved for moved in verdict.moved if not moved.steady]
    said = [_changes(verdict, moved) for moved in moving]
    if verdict.moved and not moving:
        rests = tuple(moved_id(moved) for moved in verdict.moved)
        text = f"{winner} keeps the highest total with any single weight halved or raised by half."
        said.append(Statement(text, (*rests, f"total:{verdict.running[0].product}")))
    groups = [moved for moved in verdict.moved if moved.kind == "group"]
    if groups and verdict.rivals:
        rivals = listing([name_of(verdict, one) for one in verdict.rivals], "or")
        text = f"Were all groups' weights to move by up to half at once, {rivals} could come to have the highest total."
        said.append(Statement(text, (rivals_id(verdict),)))
    return tuple(said)


def for_the_price(verdict: Verdict) -> tuple[Statement, ...]:
    """Best for the price, along the front."""
    front = verdict.price
    if front is None:
        return ()
    cheapest = next(row for row in front.products if row.on_front)
    gives = f"{price_words(cheapest.price, front.unit)} for {points(cheapest.total)} of 100"
    name = name_of(verdict, cheapest.product)
    alone = len(front.products) == 1
    text = (
        f"{name} is the only product in the running whose price is known: {gives}."
        if alone
        else f"{name} costs least of those that no other beats on price and total: {gives}."
    )
    said = [Statement(text, (f"price:{cheapest.product}:front",))]
    for step in front.steps:
        cost, more = step_words(step, front.unit)
        sure = "" if step.low > 0 else ", which may be no more at all"
        cheaper, dearer = name_of(verdict, step.cheaper), name_of(verdict, step.dearer)
        text = f"{dearer} costs {cost} more than {cheaper} and scores {more}{sure}."
        said.append(Statement(text, (step_id(step),)))
    beaten = [row for row in front.products if not row.on_front]
    if beaten:
        names = listing([name_of(verdict, row.product) for row in beaten])
        text = f"For {names} there is another that costs no more and scores no less."
        said.append(Statement(text, tuple(f"price:{row.product}:beaten" for row in beaten)))
    if front.unpriced:
        names = listing([name_of(verdict, one) for one in front.unpriced])
        said.append(Statement(f"Not compared by price, since none is known: {names}.", ("unpriced",)))
    return tuple(said)


def _leading(verdict: Verdict) -> Statement:
    kind = leading_id(verdict)
    if kind == "leading:nobody":
        return Statement("No product is in the running, so that there is no winner.", (kind,))
    top = verdict.running[0]
    rests: tuple[str, ...] = (kind, f"total:{top.product}", f"first:{top.product}", "counts")
    if kind == "leading:alone":
        text = f"{top.name} is the only product in the running, with {total_words(top)}."
    elif kind == "leading:one":
        others = count(len(verdict.running) - 1, "other product", "other products")
        text = (
            f"{top.name} is first with {total_words(top)}, told apart from the {others} in the running; "
            f"its chance of being first is {percent(top.first)}."
        )
    else:
        names = [
            f"{name_of(verdict, one)} ({points(verdict.card(one).total or 0.0)})" for one in verdict.leaders
        ]
        rests += tuple(f"total:{one}" for one in verdict.leaders[1:])
        text = (
            f"{listing(names)} share the first place: they could not be told apart, which does not make them "
            f"equal. {top.name} has the highest total, {total_words(top)}, and a chance of {percent(top.first)} "
            "of being first."
        )
    return Statement(text, rests)


def _hanging(verdict: Verdict) -> tuple[Statement, ...]:
    """Leaders of which a must is uncertain."""
    said = []
    for product in verdict.leaders:
        card = verdict.card(product)
        doubtful = [gate for gate in card.gates if gate.outcome == "uncertain"]
        for gate in doubtful:
            how = "" if gate.chance is None else f" (chance {percent(gate.chance)})"
            text = f"For {card.name} it is uncertain whether it meets the must “{gate.name}”{how}."
            said.append(Statement(text, (gate_id(product, gate),)))
    return tuple(said)


def _out(card: Scorecard) -> Statement:
    failed = [gate for gate in card.gates if gate.outcome == "failed"]
    musts = listing([f"“{gate.name}” ({gate.limit})" for gate in failed])
    text = f"{card.name} cannot win: it fails {musts}."
    return Statement(
        text, (f"standing:{card.product}:failed", *(gate_id(card.product, gate) for gate in failed))
    )


def _incomplete(card: Scorecard) -> Statement:
    text = f"{card.name} is not in the running, since a value is missing ({'; '.join(card.missing)})."
    return Statement(text, (f"standing:{card.product}:incomplete", f"missing:{card.product}"))


def _changes(verdict: Verdict, moved: Moved) -> Statement:
    whole, (share, low, high) = "total" if moved.kind == "group" else "group", share_words(moved)
    ends = []
    if moved.at_less != moved.winner:
        ends.append(f"{name_of(verdict, moved.rival_below)} if that share fell below {low}")
    if moved.at_more != moved.winner:
        ends.append(f"{name_of(verdict, moved.rival_above)} if it rose above {high}")
    text = f"“{moved.name}” makes up {share} of the {whole}; the highest total would go to {listing(ends, 'or')}."
    return Statement(text, (moved_id(moved),))
