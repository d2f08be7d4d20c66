"""The verdict in words, tables and figures: the parts that the page, the report and a reader's table show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.figures import MeanRow, means_figure
from panel.analysis.figures_verdict import Spot, against_figure, parts_figure
from panel.analysis.numbers import as_sentence, chance_text
from panel.analysis.view_parts import Column, Section, Table
from panel.bench.statements import (
    measured_words,
    name_of,
    points,
    price_words,
    share_words,
    signed_points,
)
from panel.bench.verdict_words import for_the_price, steadiness
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.analysis.figures import Figure
    from panel.bench.agreement import Agreement
    from panel.bench.price_front import PriceFront
    from panel.bench.scorecard import Scorecard
    from panel.bench.scoring import Gate
    from panel.bench.sensitivity import Moved
    from panel.bench.verdict import Verdict

ABSENT = "–"
STANDINGS = {"failed": "fails a must", "incomplete": "not complete"}
OUTCOMES = {"passed": "passed", "failed": "failed", "uncertain": "uncertain", "missing": "no value"}


def verdict_sections(verdict: Verdict, agreements: Sequence[Agreement] = ()) -> tuple[Section, ...]:
    """All parts, the scorecard first; parts with nothing to say are left out."""
    parts = (
        _scorecard(verdict),
        _gates(verdict),
        _weights(verdict),
        _price(verdict),
        _agreement(agreements),
    )
    return tuple(part for part in parts if part is not None)


def places_of(card: Scorecard) -> str:
    """ "1", "1–3" for a shared place; for what takes no place, why."""
    if card.standing in STANDINGS:
        return STANDINGS[card.standing]
    return str(card.place_low) if card.place_low == card.place_high else f"{card.place_low}–{card.place_high}"


def totals_figure(verdict: Verdict) -> Figure | None:
    """The totals with their intervals, of those in the running."""
    rows = [
        MeanRow(card.name, card.total, card.low, card.high, card.letters)
        for card in verdict.running
        if card.total is not None and card.low is not None and card.high is not None
    ]
    if not rows:
        return None
    title = "Totals with 95\u202f% intervals; products that share a letter are not told apart"
    return means_figure(rows, title=title, axis="points of 100", name="totals", what="total")


def _scorecard(verdict: Verdict) -> Section:
    whole = [card for card in verdict.cards if card.total is not None]
    groups = [group.name for group in verdict.cards[0].groups] if verdict.cards else []
    bars = [
        (card.name, [group.share * (group.score or 0.0) for group in card.groups])
        for card in whole
        if all(group.score is not None for group in card.groups)
    ]
    title = "What each group gives to the total"
    return Section(
        id="scorecard",
        title="Scorecard",
        figures=(parts_figure(bars, groups, title=title, name="score-parts"),)
        if bars and len(groups) > 1
        else (),
        tables=tuple(
            table
            for table in (totals_table(verdict), criteria_table(verdict), _ranks(verdict), _pairs(verdict))
            if table.rows
        ),
        notes=tuple(as_sentence(text) for text in (verdict.method, *verdict.notes)),
        gist=f"{count(len(verdict.cards), 'product')}, {count(len(verdict.bench.criteria), 'criterion', 'criteria')}",
        opened=True,
    )


def totals_table(verdict: Verdict) -> Table:
    """Place, total and groups of each product."""
    groups = [group.name for group in verdict.cards[0].groups] if verdict.cards else []
    shares = {group.name: group.share for card in verdict.cards[:1] for group in card.groups}
    rows = tuple(
        (
            card.name,
            places_of(card),
            _score(card.total, card.low, card.high),
            card.letters or ABSENT,
            *(_score(group.score, group.low, group.high) for group in card.groups),
        )
        for card in verdict.cards
    )
    headings = [f"{name} ({percent(shares[name])})" for name in groups]
    return Table(
        caption="Place, total and groups: points of 100 with 95\u202f% intervals",
        columns=(
            Column("Product", numeric=False),
            Column("Place"),
            Column("Total"),
            Column("Letters", numeric=False),
            *(Column(heading) for heading in headings),
        ),
        rows=rows,
        note="Products that share a letter are not told apart: they share a range of places. A product that "
        "fails a must cannot win, whatever its total.",
    )


def criteria_table(verdict: Verdict) -> Table:
    """Every criterion of every product: what was found, and the score it makes."""
    rows = []
    for card in verdict.cards:
        for one in card.criteria:
            found = one.missing or measured_words(one)
            counts = one.share > 0
            group, share = (one.group, percent(one.share, 1)) if counts else (ABSENT, ABSENT)
            score = points(one.score) if counts and one.score is not None else ABSENT
            rows.append((card.name, one.name, group, found, score, share))
    return Table(
        caption="From criterion to score",
        columns=(
            Column("Product", numeric=False),
            Column("Criterion", numeric=False),
            Column("Group", numeric=False),
            Column("Found, with its 95\u202f% interval"),
            Column("Score"),
            Column("Share of the total"),
        ),
        rows=tuple(rows),
        note=""
        if all(one.weighed for one in verdict.bench.criteria)
        else "What is only a must has no score.",
        detail=True,
    )


def _ranks(verdict: Verdict) -> Table:
    running = verdict.running
    return Table(
        caption="Chance of each place",
        columns=(
            Column("Product", numeric=False),
            *(Column(f"Place {place}") for place in range(1, len(running) + 1)),
        ),
        rows=tuple((card.name, *(chance_text(chance) for chance in card.ranks)) for card in running),
        note=f"Of those in the running, over {verdict.draws:,} draws of tasters and measurement errors. "
        f"Chance that no product meets all musts: {chance_text(verdict.nobody)}.",
        detail=True,
    )


def _pairs(verdict: Verdict) -> Table:
    rows = tuple(
        (
            f"{name_of(verdict, pair.a)} and {name_of(verdict, pair.b)}",
            signed_points(pair.difference),
            f"{signed_points(pair.low)} to {signed_points(pair.high)}",
            "apart" if pair.apart else "not told apart",
        )
        for pair in verdict.pairs
    )
    return Table(
        caption="Which pairs are really apart",
        columns=(
            Column("Products", numeric=False),
            Column("Difference of totals"),
            Column("Interval, for all pairs together"),
            Column("Verdict", numeric=False),
        ),
        rows=rows,
        detail=True,
    )


def _score(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return ABSENT
    return (
        points(value) if low is None or high is None else f"{points(value)} ({points(low)} to {points(high)})"
    )


def _gates(verdict: Verdict) -> Section | None:
    gates = [(card, gate) for card in verdict.cards for gate in card.gates]
    if not gates:
        return None
    missed = sum(gate.outcome != "passed" for _, gate in gates)
    return Section(
        id="musts",
        title="Musts",
        paragraphs=(
            "A must is a gate: whoever fails it cannot win, and no score makes up for it. One whose interval spans "
            "the limit is uncertain, neither passed nor failed.",
        ),
        tables=tuple(
            table
            for table in (
                _gate_table("Musts not passed", [(c, gate) for c, gate in gates if gate.outcome != "passed"]),
                _gate_table("All musts of each product", gates, detail=True),
            )
            if table.rows
        ),
        gist=f"{missed} of {len(gates)} not passed" if missed else "all passed",
        opened=bool(missed),
    )


def _gate_table(caption: str, gates: Sequence[tuple[Scorecard, Gate]], *, detail: bool = False) -> Table:
    """A row for each must; the reason, which holds the value and the limit, last."""
    return Table(
        caption=caption,
        columns=(
            Column("Product", numeric=False),
            Column("Must", numeric=False),
            Column("Outcome", numeric=False),
            Column("Chance of meeting it"),
            Column("Why", numeric=False),
        ),
        rows=tuple(_gate_row(card, gate) for card, gate in gates),
        detail=detail,
    )


def _gate_row(card: Scorecard, gate: Gate) -> tuple[str, ...]:
    chance = ABSENT if gate.chance is None else chance_text(gate.chance)
    return card.name, f"{gate.name} ({gate.limit})", OUTCOMES[gate.outcome], chance, gate.reason


def _weights(verdict: Verdict) -> Section | None:
    if not verdict.moved or len(verdict.running) < 2:
        return None
    return Section(
        id="weights",
        title="What changes if the weights move",
        paragraphs=tuple(one.text for one in steadiness(verdict)),
        tables=(
            Table(
                caption="The range of each weight over which the highest total stays the same",
                columns=(
                    Column("Weight of", numeric=False),
                    Column("Share now"),
                    Column("Share over which it stays"),
                    Column("Below that", numeric=False),
                    Column("Above that", numeric=False),
                ),
                rows=tuple(_moved_row(verdict, moved) for moved in verdict.moved),
                note="One weight moves, the others keep their proportions. A group's share is of the total, a "
                "criterion's of its group. Whether products are told apart at all stands in the scorecard.",
            ),
        ),
        gist="the winner stays" if all(moved.steady for moved in verdict.moved) else "the winner may change",
    )


def _moved_row(verdict: Verdict, moved: Moved) -> tuple[str, ...]:
    def who(product: str) -> str:
        return name_of(verdict, product) if product else ABSENT

    kind = "the group" if moved.kind == "group" else "the criterion"
    share, low, high = share_words(moved)
    return (
        f"{kind} “{moved.name}”",
        share,
        f"{low} to {high}",
        who(moved.rival_below),
        who(moved.rival_above),
    )


def _price(verdict: Verdict) -> Section | None:
    front = verdict.price
    if front is None:
        return None
    spots = [
        Spot(name_of(verdict, row.product), row.price, row.total, ringed=row.on_front)
        for row in front.products
    ]
    without = " without what prices add to it" if front.without_price else ""
    return Section(
        id="price",
        title="Best for the price",
        paragraphs=tuple(one.text for one in for_the_price(verdict)),
        figures=(
            against_figure(
                spots,
                title=f"Total{without} against price",
                across=f"{front.what}, {front.unit}",
                up="total, points of 100",
                name="price",
                ringed_is="no other costs no more and scores no less",
            ),
        ),
        tables=(_price_table(verdict, front, without),),
        gist=f"{sum(row.on_front for row in front.products)} of {len(front.products)} beaten by none",
    )


def _price_table(verdict: Verdict, front: PriceFront, without: str) -> Table:
    rows = tuple(
        (
            name_of(verdict, row.product),
            price_words(row.price, front.unit),
            points(row.total),
            "on the front" if row.on_front else "beaten",
            chance_text(row.chance),
        )
        for row in front.products
    )
    return Table(
        caption=f"Total{without} against {front.what}",
        columns=(
            Column("Product", numeric=False),
            Column("Price"),
            Column("Total"),
            Column("Standing", numeric=False),
            Column("Chance of being on the front"),
        ),
        rows=rows,
    )


def _agreement(found: Sequence[Agreement]) -> Section | None:
    if not found:
        return None
    return Section(
        id="agreement",
        title="Does the instrument agree with the tongue?",
        paragraphs=tuple(one.sentence() for one in found),
        figures=tuple(_agreeing(one, place) for place, one in enumerate(found) if len(one.points) > 1),
        notes=tuple(as_sentence(text) for text in (found[0].method, *found[0].notes)),
    )


def _agreeing(one: Agreement, place: int) -> Figure:
    def limits(low: float | None, high: float | None) -> tuple[float, float] | None:
        return None if low is None or high is None else (low, high)

    spots = [
        Spot(
            point.name,
            point.measured,
            point.perceived,
            limits(point.measured_low, point.measured_high),
            (point.perceived_low, point.perceived_high),
        )
        for point in one.points
    ]
    unit = f", {one.unit}" if one.unit else ""
    return against_figure(
        spots,
        title=f"“{one.measured}” measured and “{one.perceived}” perceived",
        across=f"{one.measured}{unit}",
        up=one.perceived,
        name=f"agreement-{place}",
    )
