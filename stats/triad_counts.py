"""Circular triads in one taster's paired comparisons: counted, and set against answering at random."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stats.score_table import Codes

EXACT_UP_TO = 10


@dataclass(frozen=True, slots=True)
class TasterTriads:
    """One taster: circular triads d, the coefficient of consistence, and P(at most d | at random).

    wins : number of wins per sample; greatest : the most triads that so many samples allow
    least_p : the p-value of a taster without any circular triad
    """

    taster: str
    triads: int
    greatest: int
    zeta: float
    p_value: float
    least_p: float
    exact: bool
    wins: tuple[int, ...]


def taster_triads(taster: str, wins: Codes) -> TasterTriads:
    """Circular triads from the wins per sample of a complete set of pairs."""
    n = len(wins)
    d = triads(tuple(int(one) for one in wins))
    top = greatest_triads(n)
    return TasterTriads(
        taster=taster,
        triads=d,
        greatest=top,
        zeta=1 - d / top,
        p_value=_p_at_most(d, n),
        least_p=_p_at_most(0, n),
        exact=n <= EXACT_UP_TO,
        wins=tuple(int(one) for one in wins),
    )


def triads(wins: tuple[int, ...]) -> int:
    """d = n(n-1)(2n-1)/12 - sum of squared wins / 2."""
    n = len(wins)
    return (n * (n - 1) * (2 * n - 1) - 6 * sum(one * one for one in wins)) // 12


def greatest_triads(n: int) -> int:
    """(n^3 - n)/24 for odd n, (n^3 - 4n)/24 for even n."""
    return (n**3 - (n if n % 2 else 4 * n)) // 24


def _p_at_most(d: int, n: int) -> float:
    if n <= EXACT_UP_TO:
        return math.fsum(p for triad, p in triad_distribution(n).items() if triad <= d)
    from scipy.special import chdtrc

    df = n * (n - 1) * (n - 2) / (n - 4) ** 2
    return float(chdtrc(df, 8 / (n - 4) * (math.comb(n, 3) / 4 - d + 0.5) + df))


@cache
def triad_distribution(n: int) -> dict[int, float]:
    """P(d) for d circular triads among n samples when every pair is decided by a fair coin.

    Samples join one at a time; only the sorted wins matter, so that few states carry all 2^(n(n-1)/2)
    outcomes.
    """
    states: dict[tuple[int, ...], int] = {(0,): 1}
    for size in range(1, n):
        grown: dict[tuple[int, ...], int] = {}
        for wins, ways in states.items():
            for beaten, chosen in _beaten(wins):
                new = tuple(sorted((*beaten, size - sum(beaten) + sum(wins))))
                grown[new] = grown.get(new, 0) + ways * chosen
        states = grown
    whole = 2 ** math.comb(n, 2)
    found: dict[int, int] = {}
    for wins, ways in states.items():
        found[triads(wins)] = found.get(triads(wins), 0) + ways
    return {d: found[d] / whole for d in sorted(found)}


def _beaten(wins: tuple[int, ...]) -> list[tuple[tuple[int, ...], int]]:
    """The wins after a new sample met each old one, and in how many ways; equal wins are interchangeable."""
    levels = sorted(set(wins))
    sizes = [wins.count(level) for level in levels]
    found = []
    for gains in product(*(range(size + 1) for size in sizes)):
        new: list[int] = []
        for level, size, gain in zip(levels, sizes, gains, strict=True):
            new += [level + 1] * gain + [level] * (size - gain)
        found.append((tuple(new), math.prod(map(math.comb, sizes, gains))))
    return found


def kendall_u(wins: Codes, tasters: int) -> tuple[float, float | None]:
    """Coefficient of agreement u over complete tasters, and its chi-square p (None under three tasters).

    wins : how many tasters preferred row over column. Siegel & Castellan 1988, Nonparametric Statistics for
    the Behavioral Sciences, section 9.8 (after Kendall & Babington Smith 1940), from memory.
    """
    from scipy.special import chdtrc

    n, m = len(wins), tasters
    together = float((wins * (wins - 1) / 2).sum())
    pairs, judges = math.comb(n, 2), math.comb(m, 2)
    u = 2 * together / (judges * pairs) - 1
    if m < 3:
        return u, None
    statistic = 4 / (m - 2) * (together - pairs * judges * (m - 3) / (2 * (m - 2)))
    return u, float(chdtrc(pairs * m * (m - 1) / (m - 2) ** 2, max(statistic, 0.0)))
