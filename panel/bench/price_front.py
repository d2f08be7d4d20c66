"""Best for the price: which products give most for what they cost, as a front and not as one ratio."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from panel.study.quantities import QUANTITIES
from stats.pareto import pareto_front

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from panel.bench.figures import Figure
    from panel.bench.scorecard import Weighing
    from panel.study.measuring import Measurand

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Priced:
    """One product: price, total without what prices add to it, and the chance that it is on the front."""

    product: str
    price: float
    total: float
    on_front: bool
    chance: float


@dataclass(frozen=True, slots=True)
class PriceStep:
    """From one product of the front to the next dearer one: what it costs more and scores more, 95 % interval."""

    cheaper: str
    dearer: str
    more_price: float
    more_total: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PriceFront:
    """The front of total against price, cheapest first.

    what : "price" or "price per serving"; unit : currency; unpriced : in the running, but without a price
    without_price : whether criteria on price were left out of the totals, so that price does not count twice
    """

    what: str
    unit: str
    products: tuple[Priced, ...]
    steps: tuple[PriceStep, ...]
    unpriced: tuple[str, ...]
    without_price: bool


def best_for_the_price(weighing: Weighing, running: Sequence[str]) -> PriceFront | None:
    """The front of those in the running; None where no price was taken down or nothing but prices is weighed."""
    bench = weighing.bench
    priced = [measurand for measurand in bench.measurands if measurand.quantity == "price"]
    if not priced or not running:
        return None
    paid = {measurand.key for measurand in priced}
    shares = {
        one.key: weighing.shares[one.key]
        for one in bench.criteria
        if one.weighed and one.source not in paid and weighing.shares[one.key] > 0
    }
    prices = _prices(weighing, priced[0], running)
    known = [product for product in running if product in prices]
    if not shares or not known:
        return None
    totals = np.array([weighing.total(product, shares) for product in known])
    drawn = np.column_stack([weighing.total_drawn(product, shares) for product in known])
    may = np.column_stack([weighing.admitted[product] for product in known])
    cost = [prices[product].value or 0.0 for product in known]
    found = pareto_front(known, list(totals), cost, worth_draws=drawn, admitted=may)
    rows = [
        Priced(product, cost[i], float(totals[i]), product in found.front, float(found.chances[product]))
        for i, product in enumerate(known)
    ]
    place = {product: i for i, product in enumerate(known)}
    return PriceFront(
        what=QUANTITIES["price"].figures[_figure(priced[0])],
        unit=prices[known[0]].unit,
        products=tuple(sorted(rows, key=lambda row: (row.price, -row.total, row.product))),
        steps=tuple(
            _step(cheaper, dearer, place, cost, totals, drawn)
            for cheaper, dearer in zip(found.front, found.front[1:], strict=False)
        ),
        unpriced=tuple(product for product in running if product not in prices),
        without_price=any(one.source in paid for one in bench.criteria if one.weighed),
    )


def _figure(measurand: Measurand) -> str:
    return "per serving" if measurand.servings else "mean"


def _prices(weighing: Weighing, measurand: Measurand, running: Sequence[str]) -> dict[str, Figure]:
    return {
        figure.product: figure
        for figure in weighing.drawn_values.figures
        if figure.measurand == measurand.key
        and figure.figure == _figure(measurand)
        and figure.value is not None
        and figure.product in running
    }


def _step(
    cheaper: str, dearer: str, place: dict[str, int], cost: Sequence[float], totals: Floats, drawn: Floats
) -> PriceStep:
    i, j = place[cheaper], place[dearer]
    low, high = np.quantile(drawn[:, j] - drawn[:, i], [0.025, 0.975])
    return PriceStep(
        cheaper, dearer, cost[j] - cost[i], float(totals[j] - totals[i]), float(low), float(high)
    )
