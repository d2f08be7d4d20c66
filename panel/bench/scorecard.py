"""The scorecard of one product: from its total down to group, criterion and must, each with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from panel.bench.scoring import Gate, admitted, gate, score

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from panel.bench.draws import Drawn
    from panel.study.measuring import Bench, Criterion

    Floats = NDArray[np.float64]

Standing = Literal["in the running", "failed", "incomplete"]


@dataclass(frozen=True, slots=True)
class ScoredCriterion:
    """One criterion of one product. value, low, high in `unit`, 95 %; score 0..100, None where it has none.

    share : of the total, 0..1, 0 for what is only a must; n : tasters or valid runs; bound : "at least" or ""
    missing : why there is no value, "" where there is one
    """

    criterion: str
    name: str
    group: str
    unit: str
    share: float
    value: float | None
    low: float | None
    high: float | None
    n: int
    bound: str
    score: float | None
    score_low: float | None
    score_high: float | None
    missing: str
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ScoredGroup:
    """One group of one product: the weighted mean of its criteria, None where one of them is missing."""

    name: str
    share: float
    score: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Scorecard:
    """One product.

    standing : "failed" where it fails a must, "incomplete" where a value is missing; neither can win
    total, low, high : 0..100 with its 95 % interval, None where a weighed value is missing
    ranks : chance of rank 1, 2, … among those in the running; first : chance of winning
    letters : two that share one are not told apart; place_low, place_high : the places it may have, ties told
    missing : what is missing, in words
    """

    product: str
    name: str
    standing: Standing
    total: float | None
    low: float | None
    high: float | None
    groups: tuple[ScoredGroup, ...]
    criteria: tuple[ScoredCriterion, ...]
    gates: tuple[Gate, ...]
    missing: tuple[str, ...]
    ranks: tuple[float, ...] = ()
    first: float = 0.0
    letters: str = ""
    place_low: int = 0
    place_high: int = 0

    def criterion(self, key: str) -> ScoredCriterion:
        """The criterion with that key; KeyError otherwise."""
        for one in self.criteria:
            if one.criterion == key:
                return one
        raise KeyError(key)


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """Scores of all products under one set of weights.

    shares : criterion key -> share of the total, 0..1; scores : (product, criterion key) -> score of the value
    drawn : (product, criterion key) -> (draws,) scores; gates : product -> its musts
    admitted : product -> (draws,), whether all its musts are met
    """

    drawn_values: Drawn
    bench: Bench
    shares: Mapping[str, float]
    scores: Mapping[tuple[str, str], float]
    drawn: Mapping[tuple[str, str], Floats]
    gates: Mapping[str, tuple[Gate, ...]]
    admitted: Mapping[str, NDArray[np.bool_]]

    def total(self, product: str, shares: Mapping[str, float] | None = None) -> float:
        """The weighted mean of the scores; nan where one is missing. Shares are brought to a sum of 1."""
        weights = _counting(self.shares if shares is None else shares)
        return sum(share * self.scores[product, key] for key, share in weights.items()) / sum(
            weights.values()
        )

    def total_drawn(self, product: str, shares: Mapping[str, float] | None = None) -> Floats:
        """The same over the draws."""
        weights = _counting(self.shares if shares is None else shares)
        parts = [share * self.drawn[product, key] for key, share in weights.items()]
        total: Floats = np.sum(parts, axis=0) / sum(weights.values())
        return total


def weigh(drawn: Drawn, bench: Bench) -> Weighing:
    """Scores and musts of all products. `bench` may differ from the drawn one in its weights only."""
    shares = shares_of(bench)
    weighed = [criterion for criterion in bench.criteria if criterion.weighed]
    musts = [criterion for criterion in bench.criteria if criterion.a_must]
    scores: dict[tuple[str, str], float] = {}
    drawn_scores: dict[tuple[str, str], Floats] = {}
    for product in drawn.products:
        for criterion in weighed:
            value = drawn.values[product, criterion.key]
            at = np.array([np.nan if value.value is None else value.value])
            scores[product, criterion.key] = float(score(criterion, at)[0])
            drawn_scores[product, criterion.key] = score(criterion, value.drawn)
    gates = {p: tuple(gate(must, drawn.values[p, must.key]) for must in musts) for p in drawn.products}
    may = {p: _admitted(drawn, p, musts, gates[p]) for p in drawn.products}
    return Weighing(drawn, bench, shares, scores, drawn_scores, gates, may)


def shares_of(bench: Bench) -> dict[str, float]:
    """Criterion key -> its share of the total. ValueError in words where the weights make no total."""
    groups = {group.name: group.weight for group in bench.groups}
    weighed = [criterion for criterion in bench.criteria if criterion.weighed]
    within: dict[str, float] = {}
    for criterion in weighed:
        if criterion.weight < 0 or groups.get(criterion.group, 1.0) < 0:
            raise ValueError(f"A weight of “{criterion.group}” is negative. Write 0 or more.")
        within[criterion.group] = within.get(criterion.group, 0.0) + criterion.weight
    whole = sum(groups.get(name, 1.0) for name, weight in within.items() if weight > 0)
    for name, weight in within.items():
        if weight <= 0 < groups.get(name, 1.0):
            raise ValueError(
                f"All criteria of “{name}” weigh 0. Give one a weight, or the group a weight of 0."
            )
    if weighed and whole <= 0:
        raise ValueError("All groups weigh 0. Give one a weight above 0.")
    return {
        criterion.key: groups.get(criterion.group, 1.0)
        / whole
        * (criterion.weight / within[criterion.group] if within[criterion.group] else 0.0)
        for criterion in weighed
    }


def group_names(bench: Bench) -> tuple[str, ...]:
    """The groups in the order shown: those with a weight of their own, then those only criteria name."""
    named = [group.name for group in bench.groups]
    return tuple(dict.fromkeys([*named, *(one.group for one in bench.criteria if one.weighed)]))


def card_of(weighing: Weighing, product: str) -> Scorecard:
    """The scorecard of one product, without its rank."""
    bench, drawn = weighing.bench, weighing.drawn_values
    gates = weighing.gates[product]
    missing = tuple(
        f"{criterion.name}: {value.missing}"
        for criterion in bench.criteria
        if (value := drawn.values[product, criterion.key]).value is None
        and (weighing.shares.get(criterion.key, 0.0) > 0 or criterion.a_must)
    )
    total = _interval(weighing.total(product), weighing.total_drawn(product))
    standing: Standing = "in the running"
    if any(one.outcome == "failed" for one in gates):
        standing = "failed"
    elif missing or total[0] is None:
        standing = "incomplete"
    return Scorecard(
        product=product,
        name=drawn.names[product],
        standing=standing,
        total=total[0],
        low=total[1],
        high=total[2],
        groups=_groups(weighing, product),
        criteria=tuple(_criterion(weighing, product, criterion) for criterion in bench.criteria),
        gates=gates,
        missing=missing,
    )


def _counting(shares: Mapping[str, float]) -> dict[str, float]:
    """Without what weighs nothing, so that a value missing there leaves no hole in the total."""
    return {key: share for key, share in shares.items() if share > 0}


def _admitted(
    drawn: Drawn, product: str, musts: list[Criterion], gates: tuple[Gate, ...]
) -> NDArray[np.bool_]:
    may = np.ones(drawn.draws, dtype=bool)
    for must, found in zip(musts, gates, strict=True):
        if found.outcome in ("failed", "missing"):
            may[:] = False
        else:
            may &= admitted(must, drawn.values[product, must.key])
    return may


def _groups(weighing: Weighing, product: str) -> tuple[ScoredGroup, ...]:
    found = []
    for name in group_names(weighing.bench):
        inside = {
            criterion.key: weighing.shares[criterion.key]
            for criterion in weighing.bench.criteria
            if criterion.weighed and criterion.group == name and weighing.shares[criterion.key] > 0
        }
        if inside:
            ends = _interval(weighing.total(product, inside), weighing.total_drawn(product, inside))
            found.append(ScoredGroup(name, sum(inside.values()), *ends))
    return tuple(found)


def _criterion(weighing: Weighing, product: str, criterion: Criterion) -> ScoredCriterion:
    value = weighing.drawn_values.values[product, criterion.key]
    at = (product, criterion.key)
    scored: tuple[float | None, float | None, float | None] = (None, None, None)
    if criterion.weighed:
        scored = _interval(weighing.scores[at], weighing.drawn[at])
    return ScoredCriterion(
        criterion=criterion.key,
        name=criterion.name,
        group=criterion.group,
        unit=criterion.unit,
        share=weighing.shares.get(criterion.key, 0.0),
        value=value.value,
        low=value.low,
        high=value.high,
        n=value.n,
        bound=value.bound,
        score=scored[0],
        score_low=scored[1],
        score_high=scored[2],
        missing=value.missing,
        flags=value.flags,
    )


def _interval(value: float, values: Floats) -> tuple[float | None, float | None, float | None]:
    """A value with the 95 % interval of its draws; all None where it is not a number."""
    if np.isnan(value) or np.isnan(values).any():
        return None, None, None
    low, high = np.quantile(values, [0.025, 0.975])
    return float(value), float(low), float(high)
