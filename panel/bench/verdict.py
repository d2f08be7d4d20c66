"""The verdict: taste and measurement weighed by the sealed rules, with the uncertainty of both carried through."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from panel.bench.draws import Drawn, drawn
from panel.bench.price_front import PriceFront, best_for_the_price
from panel.bench.scorecard import Scorecard, Weighing, card_of, group_names, shares_of, weigh
from panel.bench.sensitivity import Moved, rivals_together, weights_moved
from stats.joint_pairs import ApartPair, JointPairs, joint_pairs
from stats.rank_chances import rank_chances
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from panel.bench.figures import Figure
    from panel.study.measuring import Bench

METHOD = (
    "weighted mean of criterion scores by the rules of the plan; bootstrap over whole tasters, adjusted for "
    "incomplete blocks, and Monte Carlo over measurement error; pairs by single-step max-t over the joint draws, "
    "never below Šidák's t where tasters are in it"
)
NOTES = (
    "musts are gates: a product that fails one, or lacks a value, is not in the running and takes no rank",
    "a must counts in each draw in which it is met, so that an uncertain one lowers the chance of winning",
    "measurement errors are drawn independently; an error that all products share would cancel in differences",
    "figures of one series are drawn independently although they come from the same runs",
    "intervals of totals are 95 % each; those of differences hold for all pairs together",
    "who leads in one criterion or group is corrected for the pairs in it, not for the number of criteria",
)
# 200 simulated panels of 12, each tasting two of four equal products: some pair apart in 9 % and not 5 %; of 24: 6.5 %.
FEW_TASTERS = 20
FEW_IN_BLOCKS = (
    "few tasters, each with some of the products only: intervals are a little too narrow, and pairs come apart a "
    "little too easily"
)


@dataclass(frozen=True, slots=True)
class Best:
    """Who is best in one criterion, one group, or one part ("taste", "bench"), in the running or not.

    of : the products that have a score in it; leaders : those not told apart from the highest, which comes first,
        corrected for the pairs in it
    """

    kind: str
    key: str
    name: str
    of: tuple[str, ...]
    leaders: tuple[str, ...]

    @property
    def everybody(self) -> bool:
        """Whether nobody was told apart from the highest."""
        return len(self.leaders) == len(self.of)


@dataclass(frozen=True, slots=True)
class Verdict(Result):
    """The verdict on all products.

    cards : those in the running by their total, then those that failed, then the incomplete
    pairs : of those in the running; leaders : not told apart from the highest total, which comes first
    nobody : chance that no product meets all musts; parts, bests : who leads in what
    moved : what happens as one weight moves; rivals : who could be ahead were all groups' weights to move by up
        to half at once; price : the front of total against price, None without prices
    declared : whether the weights are those of the plan; tasters, draws, seed, alpha : of the resampling
    """

    cards: tuple[Scorecard, ...]
    pairs: tuple[ApartPair, ...]
    leaders: tuple[str, ...]
    nobody: float
    parts: tuple[Best, ...]
    bests: tuple[Best, ...]
    moved: tuple[Moved, ...]
    rivals: tuple[str, ...]
    price: PriceFront | None
    bench: Bench
    declared: bool
    tasters: int
    draws: int
    seed: int
    alpha: float
    method: str = METHOD
    notes: tuple[str, ...] = NOTES

    def card(self, product: str) -> Scorecard:
        """The scorecard of that product; KeyError otherwise."""
        for card in self.cards:
            if card.product == product:
                return card
        raise KeyError(product)

    @property
    def running(self) -> tuple[Scorecard, ...]:
        """The cards of those in the running, by their total."""
        return tuple(card for card in self.cards if card.standing == "in the running")

    def sentence(self) -> str:
        """The verdict in a few plain sentences."""
        from panel.bench.verdict_words import headline

        return " ".join(statement.text for statement in headline(self))


def verdict(
    bench: Bench,
    figures: Sequence[Figure],
    taste: pd.DataFrame | None,
    *,
    names: Mapping[str, str] | None = None,
    draws: int = 4000,
    seed: int = 0,
    alpha: float = 0.05,
) -> Verdict:
    """Weigh taste and measurement. Arguments as for `draws.drawn`; alpha : family-wise level of the pairs.

    ValueError without a weighed criterion, for figures in other units than the plan's, and for weights that make
    no total. The same input and seed give the same verdict, in whatever order the rows come.
    """
    return judged(drawn(bench, figures, taste, names=names, draws=draws, seed=seed), bench, alpha=alpha)


def reweighed(
    values: Drawn, groups: Mapping[str, float], criteria: Mapping[str, float], *, alpha: float = 0.05
) -> Verdict:
    """The verdict under other weights, from the same draws: group name -> weight, criterion key -> weight.

    What is not named keeps its weight. KeyError for an unknown name, ValueError where the weights make no total.
    """
    bench = values.bench
    for name in groups:
        if name not in {group.name for group in bench.groups}:
            raise KeyError(name)
    for key in criteria:
        if key not in {criterion.key for criterion in bench.criteria}:
            raise KeyError(key)
    moved = replace(
        bench,
        groups=tuple(replace(group, weight=groups.get(group.name, group.weight)) for group in bench.groups),
        criteria=tuple(replace(one, weight=criteria.get(one.key, one.weight)) for one in bench.criteria),
    )
    return judged(values, moved, alpha=alpha)


def judged(values: Drawn, bench: Bench, *, alpha: float = 0.05) -> Verdict:
    """The verdict from draws that were made before."""
    if not shares_of(bench):
        raise ValueError("No criterion is weighed, so that there is no total. Give one a curve.")
    weighing = weigh(values, bench)
    cards = [card_of(weighing, product) for product in values.products]
    running = sorted(
        (card for card in cards if card.standing == "in the running"), key=lambda card: -(card.total or 0.0)
    )
    others = [card for way in ("failed", "incomplete") for card in cards if card.standing == way]
    products = [card.product for card in running]
    pairs = _pairs(weighing, products, weighing.shares, alpha)
    ranked, nobody = _ranked(weighing, running, pairs)
    return Verdict(
        cards=(*ranked, *others),
        pairs=pairs.pairs if pairs else (),
        leaders=pairs.leaders if pairs else (),
        nobody=nobody,
        parts=_parts(weighing, alpha),
        bests=_bests(weighing, alpha),
        moved=weights_moved(weighing, products),
        rivals=rivals_together(weighing, products),
        price=best_for_the_price(weighing, products),
        bench=bench,
        declared=bench == values.bench,
        tasters=values.tasters,
        draws=values.draws,
        seed=values.seed,
        alpha=alpha,
        notes=(*NOTES, *_cautions(weighing, cards)),
    )


def _pairs(
    weighing: Weighing, products: Sequence[str], shares: Mapping[str, float], alpha: float
) -> JointPairs | None:
    """All pairs of these products by some of the criteria; None without products."""
    if not products:
        return None
    estimates = [weighing.total(product, shares) for product in products]
    values = np.column_stack([weighing.total_drawn(product, shares) for product in products])
    tasted = any(
        one.key in shares and shares[one.key] > 0 and not one.figure for one in weighing.bench.criteria
    )
    df = weighing.drawn_values.tasters - 1 if tasted else None
    return joint_pairs(products, estimates, values, alpha=alpha, df=df)


def _ranked(
    weighing: Weighing, running: Sequence[Scorecard], pairs: JointPairs | None
) -> tuple[tuple[Scorecard, ...], float]:
    """The cards in the running with rank chances, letters and places; and the chance that nobody wins."""
    if pairs is None:
        return (), 1.0
    products = [card.product for card in running]
    totals = np.column_stack([weighing.total_drawn(product) for product in products])
    may = np.column_stack([weighing.admitted[product] for product in products])
    chances = rank_chances(products, totals, may)
    ahead = dict.fromkeys(products, 0)
    behind = dict(ahead)
    for pair in pairs.pairs:
        if pair.apart:
            better, worse = (pair.a, pair.b) if pair.difference > 0 else (pair.b, pair.a)
            ahead[worse] += 1
            behind[better] += 1
    cards = tuple(
        replace(
            card,
            ranks=chances.chances[card.product],
            first=chances.first[card.product],
            letters=pairs.letters[card.product],
            place_low=1 + ahead[card.product],
            place_high=len(products) - behind[card.product],
        )
        for card in running
    )
    return cards, chances.nobody


def _parts(weighing: Weighing, alpha: float) -> tuple[Best, ...]:
    """Who leads by taste alone and by the bench alone, each with the weights inside it; empty where one is all."""
    taste = {one.key for one in weighing.bench.criteria if not one.figure}
    parts = {
        "taste": {key: share for key, share in weighing.shares.items() if key in taste and share > 0},
        "bench": {key: share for key, share in weighing.shares.items() if key not in taste and share > 0},
    }
    if not all(parts.values()):
        return ()
    found = [_best(weighing, ("part", name, name), shares, alpha) for name, shares in parts.items()]
    return tuple(best for best in found if best)


def _bests(weighing: Weighing, alpha: float) -> tuple[Best, ...]:
    """Who leads in each group and in each weighed criterion."""
    counting = [one for one in weighing.bench.criteria if weighing.shares.get(one.key, 0.0) > 0]
    found = []
    for name in group_names(weighing.bench):
        inside = {one.key: weighing.shares[one.key] for one in counting if one.group == name}
        if inside:
            found.append(_best(weighing, ("group", name, name), inside, alpha))
    for one in counting:
        found.append(_best(weighing, ("criterion", one.key, one.name), {one.key: 1.0}, alpha))
    return tuple(best for best in found if best)


def _best(
    weighing: Weighing, what: tuple[str, str, str], shares: Mapping[str, float], alpha: float
) -> Best | None:
    products = [one for one in weighing.drawn_values.products if not np.isnan(weighing.total(one, shares))]
    pairs = _pairs(weighing, products, shares, alpha)
    return Best(*what, tuple(products), pairs.leaders) if pairs else None


def _cautions(weighing: Weighing, cards: Sequence[Scorecard]) -> tuple[str, ...]:
    """What makes this verdict weaker than it looks."""
    values = weighing.drawn_values
    unknown = sorted(
        {
            criterion.name
            for criterion in weighing.bench.criteria
            for product in values.products
            if (value := values.values[product, criterion.key]).value is not None and value.low is None
        }
    )
    some = any(
        0 < values.values[product, one.key].n < values.tasters
        for one in weighing.bench.criteria
        if not one.figure
        for product in values.products
    )
    bounds = sorted({one.name for card in cards for one in card.criteria if one.bound and one.share > 0})
    said = []
    if unknown:
        said.append(
            f"nothing is known of the uncertainty of {', '.join(unknown)}: intervals are too narrow by it"
        )
    if some and values.tasters < FEW_TASTERS:
        said.append(FEW_IN_BLOCKS)
    if bounds:
        said.append(f"{', '.join(bounds)}: some runs ended early, so that a total is at least what it says")
    return tuple(said)
