"""Page's test: are the samples ranked in an order that was predicted beforehand?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, p_text, significant
from stats.ranking import complete_ranks
from stats.ranking_exact import trend_distribution, upper_tail
from stats.results import Result
from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Frame


@dataclass(frozen=True, slots=True)
class PageTrend(Result):
    """Page's L for a predicted order, one-sided.

    statistic : L, sum of predicted place x rank sum; expected, standard_deviation : without any trend,
        given the ties; z : standardised
    p_value : p_exact where there is one (up to 8 samples), else p_normal; df : None, L has none
    """

    statistic: float
    df: None
    p_value: float
    p_exact: float | None
    p_normal: float
    z: float
    expected: float
    standard_deviation: float
    rank_sums: ByName
    mean_ranks: ByName
    order: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader."""
        how = "exact" if self.p_exact is not None else "normal approximation"
        tail = (
            f"Page's L = {significant(self.statistic, 4)}, {p_text(self.p_value)}, one-sided, {how}; "
            f"{count(len(self.tasters), 'taster')}"
        )
        line = " < ".join(self.order)
        if self.p_value <= self.alpha:
            return f"The scores rise in the predicted order {line} ({tail})."
        return f"A rise in the predicted order {line} was not shown ({tail})."


def page_trend(frame: Frame, order: Sequence[str], *, alpha: float = 0.05) -> PageTrend:
    """Page's trend test for complete blocks: do scores rise in the order predicted beforehand?

    frame : as for `friedman`; order : every sample once, from the lowest predicted score to the highest.
    Exact p (conditional on ties) up to 8 samples, beyond that normal. ValueError where `order` lacks or
    repeats a sample. Source: Page (1963), Journal of the American Statistical Association 58, 216-230;
    ISO 8587.
    """
    from scipy.special import ndtr

    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    ranks, names, tasters, notes = complete_ranks(frame)
    asked = tuple(str(name) for name in order)
    if sorted(asked) != sorted(names):
        raise ValueError(
            f"order: it must name every sample once ({', '.join(names)}), but got {', '.join(asked)}"
        )
    ranks = ranks[:, [names.index(name) for name in asked]]
    n, k = ranks.shape
    places = np.arange(1, k + 1)
    sums = ranks.sum(axis=0)
    statistic = float(places @ sums)
    expected = n * k * (k + 1) ** 2 / 4
    spread = float(((ranks - (k + 1) / 2) ** 2).sum()) * k * (k**2 - 1) / 12 / (k - 1)
    sd = float(np.sqrt(spread))
    z = (statistic - expected) / sd if sd > 0 else 0.0
    exact = trend_distribution(ranks)
    p_exact = None if exact is None else upper_tail(*exact, statistic)
    p_normal = float(ndtr(-z)) if sd > 0 else 1.0
    return PageTrend(
        statistic=statistic,
        df=None,
        p_value=p_normal if p_exact is None else p_exact,
        p_exact=p_exact,
        p_normal=p_normal,
        z=z,
        expected=expected,
        standard_deviation=sd,
        rank_sums=ByName.of(asked, sums),
        mean_ranks=ByName.of(asked, sums / n),
        order=asked,
        tasters=tasters,
        alpha=alpha,
        method="Page's trend test, one-sided",
        notes=(*notes, "the order must have been fixed before the scores were seen"),
    )
