"""How far a weight may move before another sample has the highest weighted mean: exact, for it is linear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import significant
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class WeightRange(Result):
    """The range of one weight, the others held, over which the winner stays.

    weight : as declared; low, high : ends of the range, high None where there is no end
    rival_below, rival_above : who would be ahead beyond each end, "" where nobody
    """

    winner: str
    weight: float
    low: float
    high: float | None
    rival_below: str = ""
    rival_above: str = ""
    method: str = "exact: the margin over each rival is linear in one weight"
    notes: tuple[str, ...] = ("the other weights are held; estimates only, without their uncertainty",)

    def holds_at(self, weight: float) -> bool:
        """Whether the winner stays at that weight."""
        return self.low <= weight and (self.high is None or weight <= self.high)

    def sentence(self) -> str:
        """One sentence for the reader."""
        if self.high is None and self.low == 0:
            return f"{self.winner} stays ahead whatever this weight."
        upper = "any greater weight" if self.high is None else significant(self.high)
        return f"{self.winner} stays ahead from a weight of {significant(self.low)} to {upper}."


def weight_range(
    names: Sequence[str], scores: Floats, weights: Sequence[float], which: int, winner: str | None = None
) -> WeightRange:
    """The range of weights[which] over which the highest weighted mean stays where it is.

    scores : (samples, parts); weights : (parts,), none negative and not all 0; which : index of the weight
    winner : another sample than the highest may be asked about only where it ties with it. ValueError otherwise.
    Source: definition; the divisor is the same for all samples and drops out of every comparison.
    """
    table, weight = np.asarray(scores, dtype=float), np.asarray(weights, dtype=float)
    if table.shape != (len(names), len(weight)) or np.isnan(table).any():
        raise ValueError(f"scores: need {len(names)} by {len(weight)} numbers, but got {table.shape}")
    if (weight < 0).any() or weight.sum() <= 0:
        raise ValueError("weights: none may be negative, and one must be above 0")
    held = weight.copy()
    held[which] = 0.0
    return margin_range(names, table @ held, table[:, which], float(weight[which]), winner)


def margin_range(
    names: Sequence[str], fixed: Floats, moving: Floats, at: float, winner: str | None = None
) -> WeightRange:
    """The range of x >= 0 over which fixed + x moving is highest for the sample that is highest at x = `at`."""
    total = fixed + at * moving
    top = names.index(winner) if winner is not None else int(np.argmax(total))
    level, slope = fixed[top] - fixed, moving[top] - moving
    dust = 1e-12 * max(1.0, float(np.abs(fixed).max()), float(np.abs(moving).max()))
    if total[top] < total.max() - 1e-9 * max(1.0, float(np.abs(total).max())):
        raise ValueError(f"winner: {names[top]} does not have the highest total")
    low, high, below, above = 0.0, np.inf, "", ""
    for rival in range(len(names)):
        if rival == top or abs(slope[rival]) <= dust:
            continue
        meets = (
            min(-level[rival] / slope[rival], at)
            if slope[rival] > 0
            else max(-level[rival] / slope[rival], at)
        )
        if slope[rival] > 0 and meets > low:
            low, below = float(meets), names[rival]
        elif slope[rival] < 0 and meets < high:
            high, above = float(meets), names[rival]
    return WeightRange(names[top], at, low, None if np.isinf(high) else high, below, above)


def rivals_within(
    names: Sequence[str], scores: Floats, low: Sequence[float], high: Sequence[float], winner: str
) -> tuple[str, ...]:
    """Who could be ahead of `winner` for some weights between low and high, all moving at once; exact.

    scores : (samples, parts); low, high : (parts,). A margin is least where each weight takes the end that helps
    the rival more, since it is linear in each of them.
    """
    table = np.asarray(scores, dtype=float)
    margin = table[names.index(winner)] - table
    least = np.where(margin > 0, margin * np.asarray(low), margin * np.asarray(high)).sum(axis=1)
    return tuple(name for name, value in zip(names, least, strict=True) if value < -1e-9 and name != winner)
