"""Which samples no other beats in one respect without losing in the other: the Pareto front."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import listing, percent
from stats.results import Result
from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class ParetoFront(Result):
    """The front of worth against cost.

    front : the samples on it by the estimates, cheapest first
    chances : sample -> share of draws in which it is admitted and on the front
    """

    front: tuple[str, ...]
    chances: ByName
    draws: int
    method: str = "Pareto front of worth (more is better) against cost (less is better)"
    notes: tuple[str, ...] = ("a sample is off the front where another costs no more and is worth no less",)

    def sentence(self) -> str:
        """One sentence for the reader."""
        said = [f"{name} ({percent(self.chances[name])} of draws)" for name in self.front]
        return f"No other gives more for less than {listing(said)}."


def pareto_front(
    names: Sequence[str],
    worth: Sequence[float],
    cost: Sequence[float],
    *,
    worth_draws: Floats | None = None,
    cost_draws: Floats | None = None,
    admitted: np.ndarray | None = None,
) -> ParetoFront:
    """The front by the estimates, and how often each sample is on it over joint draws.

    worth, cost : (samples,); worth_draws, cost_draws, admitted : (draws, samples); without draws the chances are 0
        and 1. ValueError for not-a-number. Source: definition.
    """
    value, price = np.asarray(worth, dtype=float), np.asarray(cost, dtype=float)
    drawn = value[None, :] if worth_draws is None else np.asarray(worth_draws, dtype=float)
    prices = (
        np.broadcast_to(price, drawn.shape) if cost_draws is None else np.asarray(cost_draws, dtype=float)
    )
    may = np.ones(drawn.shape, dtype=bool) if admitted is None else admitted
    for what, array in (("worth", value), ("cost", price), ("worth_draws", drawn), ("cost_draws", prices)):
        if np.isnan(array).any() or array.shape[-1] != len(names):
            raise ValueError(f"{what}: need a number for each of {len(names)} samples")
    best = on_front(value[None, :], price[None, :], np.ones((1, len(names)), dtype=bool))[0]
    order = sorted((int(i) for i in np.flatnonzero(best)), key=lambda i: (price[i], names[i]))
    return ParetoFront(
        front=tuple(names[i] for i in order),
        chances=ByName.of(names, on_front(drawn, prices, may).mean(axis=0)),
        draws=0 if worth_draws is None else len(drawn),
    )


def on_front(worth: Floats, cost: Floats, admitted: np.ndarray) -> np.ndarray:
    """Whether each sample is admitted and not dominated by an admitted one, (draws, samples)."""
    w, c = worth[:, :, None], cost[:, :, None]
    no_worse = (w >= worth[:, None, :]) & (c <= cost[:, None, :])
    better = (w > worth[:, None, :]) | (c < cost[:, None, :])
    dominates = no_worse & better & admitted[:, :, None]
    front: np.ndarray = admitted & ~dominates.any(axis=1)
    return front
