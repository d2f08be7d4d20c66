"""A sample served twice under two labels: how far apart the panel put it from itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats
from panel.analysis.numbers import decimals_for, fixed
from stats.phrasing import listing, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from panel.analysis.wording import Called


@dataclass(frozen=True, slots=True)
class DuplicateDistance:
    """One attribute: mean of the first label less the second, with limits within tasters; p of no difference."""

    attribute: str
    title: str
    first: str
    second: str
    difference: float
    low: float
    high: float
    confidence: float
    p_value: float


def duplicate_pair(roles: Mapping[str, str]) -> tuple[str, str] | None:
    """The two labels whose role is "duplicate"; None without any. ValueError for another number than two."""
    labels = sorted(label for label, role in roles.items() if role == "duplicate")
    if not labels:
        return None
    if len(labels) != 2:
        raise ValueError(
            f"roles: a duplicate needs two labels, but {listing(labels)} {'is' if len(labels) == 1 else 'are'} named"
        )
    return labels[0], labels[1]


def duplicate_distance(
    frame: pd.DataFrame, pair: tuple[str, str], attribute: str, title: str
) -> DuplicateDistance | None:
    """The distance on one attribute; None where it cannot be computed (one taster, or equal scores)."""
    both = frame[frame["sample"].isin(pair)]
    keys = [name for name in ("taster", "sample", "score") if name in both]
    means = both[keys].groupby(["taster", "sample"], as_index=False)["score"].mean()
    try:
        found = stats.hedonic_anova(means, adjust="none")
    except ValueError:
        return None
    one = found.pairs[0]
    if one.low is None or one.high is None:
        return None
    return DuplicateDistance(
        attribute, title, one.a, one.b, one.difference, one.low, one.high, found.confidence, found.p_value
    )


def duplicates_sentence(found: tuple[DuplicateDistance, ...], called: Called) -> str:
    """How far the panel put a product from itself, attribute by attribute."""
    first, second = called(found[0].first), called(found[0].second)
    told = []
    for one in found:
        decimals = decimals_for([(one.high - one.low) / 2])
        size = fixed(abs(one.difference), decimals)
        low, high = (one.low, one.high) if one.difference >= 0 else (-one.high, -one.low)
        told.append(f"“{one.title}” {size} ({fixed(low, decimals)} to {fixed(high, decimals)})")
    return (
        f"{first} and {second} are one product, served twice. Points between them, with "
        f"{percent(found[0].confidence)} intervals: {'; '.join(told)}. What lies between them comes from the panel and "
        "the serving, not from the product: read differences of that size between other samples with caution."
    )
