"""Mandel's h and k: how far each taster's level and spread lie from the panel's, with limits.

ISO 5725-2:2019, 7.3.1, made for laboratories; here each taster stands in a laboratory's place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.phrasing import count, listing
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Mapping

WARNING, ACTION = 0.05, 0.01
FEWEST = 3  # tasters without whom h says nothing: with two it is always ±0.71


@dataclass(frozen=True, slots=True)
class MandelTaster:
    """One taster. h : level less the panel's, in standard deviations of the levels; k : spread over the pooled one.

    k is None where nobody repeated, or not everybody equally often.
    """

    taster: str
    h: float
    k: float | None


@dataclass(frozen=True, slots=True)
class Mandel(Result):
    """Between-taster and within-taster consistency of one panel on one attribute.

    h_warning, h_action : two-sided limits of |h| at 5 % and 1 %; k_warning, k_action : upper limits of k, None
        without k; repeats : degrees of freedom behind each spread, 0 without k
    """

    tasters: tuple[MandelTaster, ...]
    h_warning: float
    h_action: float
    k_warning: float | None
    k_action: float | None
    repeats: int
    method: str
    notes: tuple[str, ...]

    def of(self, taster: str) -> MandelTaster:
        """The figures of one taster; KeyError for an unknown one."""
        for one in self.tasters:
            if one.taster == taster:
                return one
        raise KeyError(taster)

    def outside(self, taster: str, *, action: bool = False) -> tuple[str, ...]:
        """Which of "level" and "spread" lie beyond the warning (or the action) limits."""
        one = self.of(taster)
        h, k = (self.h_action, self.k_action) if action else (self.h_warning, self.k_warning)
        found = ("level",) if abs(one.h) > h else ()
        return (*found, "spread") if one.k is not None and k is not None and one.k > k else found

    def sentence(self) -> str:
        """Who lies beyond the limits."""
        out = [one.taster for one in self.tasters if self.outside(one.taster)]
        if not out:
            return f"Of {count(len(self.tasters), 'taster')} none lies beyond the 5 % limits of h or k."
        return (
            f"Of {count(len(self.tasters), 'taster')} {listing(out)} {'lies' if len(out) == 1 else 'lie'} beyond the "
            "5 % limits of h or k; one in twenty does by chance."
        )


def mandel(levels: Mapping[str, float], spreads: Mapping[str, tuple[float, int]] | None = None) -> Mandel:
    """h, and where everybody repeated equally often k, of every taster.

    levels : taster -> mean, or level adjusted for what was scored; at least three
    spreads : taster -> (standard deviation of repeats, its degrees of freedom); None without repeats
    ValueError for fewer than three tasters, or levels that do not differ at all.
    Source: ISO 5725-2:2019, 7.3.1; limits as in its annex on Mandel's statistics, from Student's t and from F.
    """
    p = len(levels)
    if p < FEWEST:
        raise ValueError(f"levels: at least {FEWEST} tasters are needed, but there are {p}")
    mean = math.fsum(levels.values()) / p
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in levels.values()) / (p - 1))
    if sd == 0:
        raise ValueError("levels: they are all the same, so that none lies apart")
    k, repeats = _spreads(levels, spreads or {})
    return Mandel(
        tasters=tuple(MandelTaster(name, (value - mean) / sd, k.get(name)) for name, value in levels.items()),
        h_warning=h_limit(p, WARNING),
        h_action=h_limit(p, ACTION),
        k_warning=k_limit(p, repeats, WARNING) if k else None,
        k_action=k_limit(p, repeats, ACTION) if k else None,
        repeats=repeats,
        method="Mandel's h and k (ISO 5725-2:2019, 7.3.1), tasters in place of laboratories",
        notes=(
            "assumes levels that are normal over tasters, and everybody having scored the same",
            "one taster in twenty lies beyond a 5 % limit by chance, and one in a hundred beyond a 1 % limit",
        ),
    )


def h_limit(p: int, alpha: float) -> float:
    """|h| that a taster of p exceeds by chance with probability alpha: (p - 1) t / sqrt(p (t^2 + p - 2))."""
    from scipy.special import stdtrit

    t = float(stdtrit(p - 2, 1 - alpha / 2))
    return (p - 1) * t / math.sqrt(p * (t * t + p - 2))


def k_limit(p: int, repeats: int, alpha: float) -> float:
    """k that a taster of p exceeds by chance with probability alpha: sqrt(p / (1 + (p - 1) / F)).

    repeats : degrees of freedom of each spread; F on repeats and (p - 1) repeats degrees of freedom.
    """
    from scipy.special import fdtri

    f = float(fdtri(repeats, (p - 1) * repeats, 1 - alpha))
    return math.sqrt(p / (1 + (p - 1) / f))


def _spreads(
    levels: Mapping[str, float], spreads: Mapping[str, tuple[float, int]]
) -> tuple[dict[str, float], int]:
    found = {name: spreads[name] for name in levels if name in spreads}
    repeats = {df for _, df in found.values()}
    pooled = math.fsum(sd * sd for sd, _ in found.values()) / len(found) if found else 0.0
    if len(found) < len(levels) or len(repeats) != 1 or pooled == 0 or 0 in repeats:
        return {}, 0
    return {name: sd / math.sqrt(pooled) for name, (sd, _) in found.items()}, repeats.pop()
