"""Planning preference tests (exact) and ranking tests (by seeded simulation).

Preference: every outcome (A, B, no preference) is weighed by its trinomial probability, so the rule for "no
preference" is planned with. Ranking: each taster's impressions are normal around the samples' true positions with
standard deviation 1 (Thurstone's case V), ranked, and summed; the critical value comes from the same number of
simulated panels without any difference, so that ties of rank sums in small panels are respected.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.discrimination_exact import critical_numbers, share, upper_tail, whole_number
from stats.phrasing import percent
from stats.preference import RULES, Rule
from stats.results import Result
from stats.sample_size import PowerAtBoth, sizes_to_try

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PreferencePower(Result):
    """Exact power of a preference test.

    tasters, prefer_a, prefer_b, alpha, two_sided, no_preference_rule : as given
    power : chance to conclude for the sample that more people prefer; wrong_way : for the other one
    """

    tasters: int
    prefer_a: float
    prefer_b: float
    alpha: float
    two_sided: bool
    no_preference_rule: Rule
    power: float
    wrong_way: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The power in words."""
        return (
            f"If {percent(self.prefer_a)} prefer A and {percent(self.prefer_b)} prefer B, {self.tasters} tasters "
            f"show the preference with a power of {percent(self.power, 1)}."
        )


@dataclass(frozen=True, slots=True)
class RequiredForPreference(Result):
    """Tasters a preference test needs: smallest, lasting (recommended) and exact power at both."""

    prefer_a: float
    prefer_b: float
    alpha: float
    target_power: float
    two_sided: bool
    no_preference_rule: Rule
    smallest: int
    lasting: int
    power: PowerAtBoth
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The number to plan for."""
        return (
            f"If {percent(self.prefer_a)} prefer A and {percent(self.prefer_b)} prefer B, {self.lasting} tasters show "
            f"the preference with a power of at least {percent(self.target_power)} (the smallest number that does is "
            f"{self.smallest}, but some between fall short)."
            if self.smallest < self.lasting
            else f"If {percent(self.prefer_a)} prefer A and {percent(self.prefer_b)} prefer B, {self.lasting} or more "
            f"tasters show the preference with a power of at least {percent(self.target_power)}."
        )


@dataclass(frozen=True, slots=True)
class RankingPower(Result):
    """Simulated power of the Friedman test of rank sums.

    positions : true positions of the samples, in standard deviations of one impression
    tasters, power, error : numbers of tasters, power at each, and its simulation standard error
    target_power, smallest, lasting : where a number was asked for (among those simulated), else None
    """

    positions: tuple[float, ...]
    alpha: float
    tasters: tuple[int, ...]
    power: tuple[float, ...]
    error: tuple[float, ...]
    target_power: float | None
    smallest: int | None
    lasting: int | None
    simulations: int
    seed: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The power, or the number of tasters for it."""
        by_simulation = f"by {self.simulations} simulated panels, seed {self.seed}"
        if self.lasting is not None and self.target_power is not None:
            at = self.power[self.tasters.index(self.lasting)]
            return (
                f"{self.lasting} tasters ranking {len(self.positions)} samples find these differences with a power of "
                f"{percent(at)} ({by_simulation}); the smallest number that reached {percent(self.target_power)} was "
                f"{self.smallest}."
            )
        each = ", ".join(f"{percent(p)} with {n}" for n, p in zip(self.tasters, self.power, strict=True))
        ranking = f"Ranking {len(self.positions)} samples finds these differences"
        return f"{ranking} with a power of {each} tasters ({by_simulation})."


def preference_power(
    tasters: int,
    *,
    prefer_a: float,
    prefer_b: float | None = None,
    alpha: float = 0.05,
    two_sided: bool = True,
    no_preference_rule: Rule = "split",
) -> PreferencePower:
    """Exact power of `paired_preference`.

    tasters : >= 1; prefer_a, prefer_b : true shares, together at most 1 (default: all the rest prefers B); what is
        left has no preference. One-sided tests ask whether A is preferred.
    Raises ValueError for shares outside 0..1 or an unknown rule. Source: ISO 5495; trinomial enumeration.
    """
    n = whole_number(tasters, "tasters", 1)
    a, b = _shares(prefer_a, prefer_b)
    level = _level(alpha, two_sided, no_preference_rule)
    for_a, for_b = (_chance(n, *pair, level, no_preference_rule) for pair in ((a, b), (b, a)))
    if not two_sided:
        for_b = 0.0
    power, wrong = (for_a, for_b) if a >= b or not two_sided else (for_b, for_a)
    return PreferencePower(n, a, b, alpha, two_sided, no_preference_rule, power, wrong, _METHOD, _NOTES)


def required_tasters_for_preference(
    *,
    prefer_a: float,
    prefer_b: float | None = None,
    alpha: float = 0.05,
    power: float = 0.8,
    two_sided: bool = True,
    no_preference_rule: Rule = "split",
) -> RequiredForPreference:
    """Tasters needed so that `paired_preference` shows the preference with this power, exact.

    Arguments as `preference_power`. Raises ValueError where the shares are equal, where a one-sided test would have
    to find B, or where more than a million tasters would be needed.
    """
    import numpy as np

    a, b = _shares(prefer_a, prefer_b)
    level = _level(alpha, two_sided, no_preference_rule)
    if two_sided and b > a:
        more, less = b, a
    else:
        more, less = a, b
    if more <= less:
        raise ValueError(f"prefer_a={a!r} must differ from prefer_b={b!r}, and exceed it in a one-sided test")
    tasters = sizes_to_try((more - less) / 2, level, share(power, "power"))
    reached = np.array([_chance(int(n), more, less, level, no_preference_rule) for n in tasters])
    meets = reached >= power * (1 - 1e-12)
    smallest = int(np.argmax(meets))
    lasting = int(np.flatnonzero(~meets)[-1]) + 1 if not meets.all() else 0
    both = PowerAtBoth(float(reached[smallest]), float(reached[lasting]))
    sizes = int(tasters[smallest]), int(tasters[lasting])
    return RequiredForPreference(
        a, b, alpha, power, two_sided, no_preference_rule, *sizes, both, _METHOD, _NOTES
    )


def ranking_power(
    tasters: int | Sequence[int],
    positions: Sequence[float],
    *,
    alpha: float = 0.05,
    simulations: int = 5000,
    seed: int = 0,
) -> RankingPower:
    """Simulated power of the Friedman test when tasters rank all samples.

    tasters : one number or several, each >= 2
    positions : true positions of at least two samples, in standard deviations of one impression (d' units)
    Same seed, same result. Raises ValueError for other arguments. Source: Thurstone 1927, case V; ISO 8587.
    """
    import numpy as np

    several = [tasters] if np.ndim(tasters) == 0 else list(tasters)  # type: ignore[arg-type]
    sizes = [whole_number(n, "tasters", 2) for n in several]
    if not sizes:
        raise ValueError("tasters must hold at least one number, but is empty")
    power = _simulated(max(sizes), positions, alpha, simulations, seed)
    return _ranking(positions, alpha, sizes, [power[n - 1] for n in sizes], simulations, seed)


def required_tasters_for_ranking(
    positions: Sequence[float],
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    most: int = 200,
    simulations: int = 5000,
    seed: int = 0,
) -> RankingPower:
    """Tasters needed so that the Friedman test finds these positions with this power, by simulation.

    most : the largest number tried; lasting holds among the numbers up to it. Arguments else as `ranking_power`.
    Raises ValueError where `most` tasters do not reach the power.
    """
    import numpy as np

    share(power, "power")
    sizes = list(range(2, whole_number(most, "most", 2) + 1))
    curve = _simulated(most, positions, alpha, simulations, seed)[1:]
    meets = curve >= power
    if not meets[-1]:
        raise ValueError(
            f"most={most} tasters reach a power of only {curve[-1]:.3f}, not power={power!r}: raise most"
        )
    smallest = sizes[int(np.argmax(meets))]
    lasting = sizes[0] if meets.all() else sizes[int(np.flatnonzero(~meets)[-1]) + 1]
    return _ranking(positions, alpha, sizes, curve, simulations, seed, (power, smallest, lasting))


_METHOD = "Exact trinomial power of a binomial preference test"
_NOTES = (
    "Assumes one independent answer per taster.",
    "Power is a saw-tooth in n: plan for the lasting number.",
)


def _shares(prefer_a: float, prefer_b: float | None) -> tuple[float, float]:
    b = 1 - prefer_a if prefer_b is None else prefer_b
    for name, value in (("prefer_a", prefer_a), ("prefer_b", b)):
        if not 0 <= value <= 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    if prefer_a + b > 1 + 1e-12 or prefer_a + b == 0:
        raise ValueError(f"prefer_a + prefer_b must lie above 0 and at most at 1, but got {prefer_a + b!r}")
    return float(prefer_a), float(b)


def _level(alpha: float, two_sided: bool, rule: Rule) -> float:
    if rule not in RULES:
        raise ValueError(f"no_preference_rule must be 'split' or 'drop', but got {rule!r}")
    return share(alpha, "alpha") / (1 + two_sided)


def _chance(n: int, share_for: float, share_against: float, level: float, rule: Rule) -> float:
    """P(the test concludes for the sample preferred with `share_for`)."""
    import numpy as np

    choosing = min(1.0, share_for + share_against)
    chosen = _likely(n, choosing)
    if rule == "drop":
        needed: Any = critical_numbers(0.5, np.maximum(chosen, 1), level)
    else:  # the odd undecided one goes to the smaller side, hence never to the winner
        needed = int(critical_numbers(0.5, np.array([n]), level)[0]) - (n - chosen) // 2
    won = upper_tail(needed, chosen, share_for / (share_for + share_against))
    # fewer than `needed` chose at all: no conclusion. upper_tail says 0 for needed > chosen
    return float(np.sum(_binomial(chosen, n, choosing) * won))


def _likely(n: int, p: float) -> Any:
    """All counts of a binomial(n, p) but those that together weigh less than 1e-14."""
    import numpy as np

    reach = math.sqrt(n * 0.5 * math.log(2e14))  # Hoeffding
    return np.arange(max(0, math.floor(n * p - reach)), min(n, math.ceil(n * p + reach)) + 1)


def _binomial(x: Any, n: int, p: float) -> Any:
    import numpy as np
    from scipy.special import gammaln, xlog1py, xlogy

    return np.exp(gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1) + xlogy(x, p) + xlog1py(n - x, -p))


def _simulated(most: int, positions: Sequence[float], alpha: float, simulations: int, seed: int) -> Floats:
    """Power at 1 .. most tasters: one growing panel per simulation, with and without the differences."""
    import numpy as np

    true = np.asarray(positions, dtype=float)
    if true.ndim != 1 or true.size < 2 or not np.all(np.isfinite(true)):
        raise ValueError(f"positions must hold at least two finite numbers, but got {positions!r}")
    share(alpha, "alpha")
    runs = whole_number(simulations, "simulations", 100)
    draw = np.random.default_rng(whole_number(seed, "seed"))
    shape = (runs, true.size)
    sums, null_sums, power = np.zeros(shape), np.zeros(shape), np.zeros(most)
    for taster in range(most):
        sums += _ranks(draw.standard_normal(shape) + true)
        null_sums += _ranks(draw.standard_normal(shape))
        # the spread of rank sums orders panels as Friedman's statistic does: no ties within a taster
        spread, null_spread = (np.var(each, axis=1).round(9) for each in (sums, null_sums))
        edge = np.sort(null_spread)[::-1][math.floor(alpha * runs)]
        power[taster] = np.mean(spread > edge)
    return power


def _ranks(impressions: Floats) -> Any:
    return impressions.argsort(axis=1).argsort(axis=1)


def _ranking(
    positions: Sequence[float],
    alpha: float,
    sizes: Sequence[int],
    power: Any,
    simulations: int,
    seed: int,
    asked: tuple[float, int, int] | tuple[None, None, None] = (None, None, None),
) -> RankingPower:
    return RankingPower(
        positions=tuple(float(value) for value in positions),
        alpha=alpha,
        tasters=tuple(sizes),
        power=tuple(float(p) for p in power),
        error=tuple(math.sqrt(p * (1 - p) / simulations) for p in map(float, power)),
        target_power=asked[0],
        smallest=asked[1],
        lasting=asked[2],
        simulations=simulations,
        seed=seed,
        method="Friedman test of complete rankings, power and critical value simulated",
        notes=("Assumes no ties, impressions normal with one spread, and tasters alike.",),
    )
