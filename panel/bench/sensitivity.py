"""What changes if weights move: the range of each over which the winner stays, and what half as much more does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.weight_ranges import margin_range, rivals_within

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from panel.bench.scorecard import Weighing

    Floats = NDArray[np.float64]

HALF = 0.5


@dataclass(frozen=True, slots=True)
class Moved:
    """One weight moved, all others held. Exact: the margin over each rival is linear in one weight.

    kind : "group" or "criterion"; weight : as it is; low, high : over which the winner stays, high None for no end
    share, share_low, share_high : the same as a share, of the total for a group, of its group for a criterion
    rival_below, rival_above : product ahead beyond each end, "" where nobody
    at_less, at_more : product ahead with half the weight, and with half as much again
    """

    kind: str
    key: str
    name: str
    winner: str
    weight: float
    low: float
    high: float | None
    share: float
    share_low: float
    share_high: float
    rival_below: str
    rival_above: str
    at_less: str
    at_more: str

    @property
    def steady(self) -> bool:
        """Whether the winner stays with half the weight and with half as much again."""
        return self.at_less == self.winner == self.at_more


def weights_moved(weighing: Weighing, running: Sequence[str]) -> tuple[Moved, ...]:
    """Each group's and each criterion's weight moved on its own; () where nobody is in the running.

    running : products in the running, the highest total first. A criterion alone in its group does not matter
    and is left out. Estimates only: whether the products are told apart at all stands elsewhere.
    """
    if not running:
        return ()
    bench = weighing.bench
    weights = {group.name: group.weight for group in bench.groups}
    inside: dict[str, list[str]] = {}
    for criterion in bench.criteria:
        if criterion.weighed and weighing.shares[criterion.key] > 0:
            inside.setdefault(criterion.group, []).append(criterion.key)
    own = {criterion.key: criterion.weight for criterion in bench.criteria}
    scores = {
        name: np.array([weighing.total(product, {key: own[key] for key in keys}) for product in running])
        for name, keys in inside.items()
    }
    found = []
    names = {criterion.key: criterion.name for criterion in bench.criteria}
    rests = {
        name: sum(
            (weights.get(other, 1.0) * scores[other] for other in inside if other != name),
            np.zeros(len(running)),
        )
        for name in inside
    }
    for name in inside if len(inside) > 1 else ():
        at = (weights.get(name, 1.0), sum(weights.get(other, 1.0) for other in inside if other != name))
        found.append(_moved(running, ("group", name, name), rests[name], scores[name], at))
    for name, keys in inside.items():
        for key in keys if len(keys) > 1 else ():
            group = weights.get(name, 1.0)
            fixed, moving, others = _inner(weighing, running, key, keys, own, group, rests[name])
            at = (own[key], others)
            found.append(_moved(running, ("criterion", key, names[key]), fixed, moving, at))
    return tuple(found)


def rivals_together(weighing: Weighing, running: Sequence[str]) -> tuple[str, ...]:
    """Who could be ahead of the winner were all groups' weights to move by up to half at once; exact."""
    if len(running) < 2:
        return ()
    shares: dict[str, dict[str, float]] = {}
    for criterion in weighing.bench.criteria:
        if criterion.weighed and weighing.shares[criterion.key] > 0:
            shares.setdefault(criterion.group, {})[criterion.key] = weighing.shares[criterion.key]
    table = np.array([[weighing.total(product, inside) for inside in shares.values()] for product in running])
    whole = np.array([sum(inside.values()) for inside in shares.values()])
    return rivals_within(running, table, list(whole * (1 - HALF)), list(whole * (1 + HALF)), running[0])


def _inner(
    weighing: Weighing,
    running: Sequence[str],
    key: str,
    keys: Sequence[str],
    own: dict[str, float],
    group: float,
    rest: Floats,
) -> tuple[Floats, Floats, float]:
    """The margin of totals, times the criteria's summed weight, as fixed + moving × weight of `key`.

    total = rest + group (others' sum + w s) / (others + w), and multiplying by (others + w) > 0 keeps every order.
    """
    others = sum(own[other] for other in keys if other != key)
    summed = np.array(
        [
            sum(own[other] * weighing.scores[product, other] for other in keys if other != key)
            for product in running
        ]
    )
    score = np.array([weighing.scores[product, key] for product in running])
    return rest * others + group * summed, rest + group * score, others


def _moved(
    running: Sequence[str], of: tuple[str, str, str], fixed: Floats, moving: Floats, at: tuple[float, float]
) -> Moved:
    weight, others = at
    found = margin_range(running, fixed, moving, weight, running[0])

    def share(value: float | None) -> float:
        return 1.0 if value is None else value / (value + others)

    def ahead(value: float) -> str:
        return running[0] if found.holds_at(value) else running[int(np.argmax(fixed + value * moving))]

    return Moved(
        *of,
        winner=running[0],
        weight=weight,
        low=found.low,
        high=found.high,
        share=share(weight),
        share_low=share(found.low),
        share_high=share(found.high),
        rival_below=found.rival_below,
        rival_above=found.rival_above,
        at_less=ahead(weight * (1 - HALF)),
        at_more=ahead(weight * (1 + HALF)),
    )
