"""Exact binomial pieces of the discrimination tests: tails, critical numbers, limits.

Tails come from the incomplete beta function (scipy.special.betainc), which is exact to rounding. A tail
that equals alpha in truth may come out a rounding above it (5 of 5 in a duo-trio: p = 1/32), so tails and
levels are compared with a relative allowance of 1e-10, far below any real gap between a tail and a level.
"""

from __future__ import annotations

import math
import operator
from typing import TYPE_CHECKING, Any

from stats.thurstone import guess_probability

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

ALLOWANCE = 1e-10


def whole_number(value: Any, name: str, least: int = 0) -> int:
    """`value` as an int. Raises ValueError where it is no whole number or below `least`."""
    try:
        number = operator.index(value)
    except TypeError:
        raise ValueError(f"{name} must be a whole number, but got {value!r}") from None
    if isinstance(value, bool) or number < least:
        raise ValueError(f"{name} must be a whole number of at least {least}, but got {value!r}")
    return number


def share(value: float, name: str) -> float:
    """`value` as a float strictly between 0 and 1, or ValueError."""
    if not 0 < value < 1:
        raise ValueError(f"{name} must lie between 0 and 1 (both excluded), but got {value!r}")
    return float(value)


def counts(correct: Any, n: Any) -> tuple[int, int]:
    """Both counts checked: whole numbers, n >= 1, 0 <= correct <= n."""
    total = whole_number(n, "n", 1)
    right = whole_number(correct, "correct")
    if right > total:
        raise ValueError(f"correct must not exceed n = {total}, but got {right}")
    return right, total


def at_most(p: Any, level: float) -> Any:
    """Whether a tail probability is at most a level, forgiving rounding in its last digits."""
    return p <= level * (1 + ALLOWANCE)


def upper_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Any:
    """P(X >= x) for X binomial(n, p), vectorised; 1 for x <= 0, 0 for x > n."""
    import numpy as np
    from scipy.special import betainc

    x, n = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(n, dtype=float))
    inside = np.clip(x, 1, np.maximum(n, 1))
    tail = betainc(inside, n - inside + 1, p)
    return np.where(x <= 0, 1.0, np.where(x > n, 0.0, tail))[()]


def lower_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Any:
    """P(X <= x) for X binomial(n, p), vectorised; without the loss of 1 - upper tail."""
    import numpy as np

    return upper_tail(np.asarray(n) - np.asarray(x), n, 1.0 - np.asarray(p))


def critical_correct(method: str, n: int, alpha: float, *, two_sided: bool = False) -> int | None:
    """Least number correct with which a difference is concluded: smallest x with P(X >= x) <= alpha.

    n : number of tasters (one answer each), >= 1
    alpha : significance level, 0..1
    two_sided : for 2-AFC only: smallest x > n/2 with 2 P(X >= x) <= alpha
    Returns None where even n correct answers do not reach alpha. ValueError for other arguments.
    Source: ISO 4120 Table A.1, ISO 10399 Table A.1, ISO 5495 Tables A.1 and A.2.
    """
    import numpy as np

    total, level = whole_number(n, "n", 1), one_tail(method, alpha, two_sided)
    least = int(critical_numbers(guess_probability(method), np.array([total]), level)[0])
    return least if least <= total else None


def critical_similar(method: str, n: int, beta: float, pd: float) -> int | None:
    """Greatest number correct with which similarity is concluded: largest x with P(X <= x | pd) <= beta.

    n : number of tasters; beta : risk of calling samples similar when a share pd discriminates, 0..1
    pd : the share of discriminators that must not be missed, 0 < pd <= 1
    Returns None where not even 0 correct answers rule out pd. It may lie below chance for small n: such
    a test rarely passes samples that truly are alike. Source: ISO 4120 Table A.2, ISO 10399 Table A.2.
    """
    import numpy as np

    total, level = whole_number(n, "n", 1), share(beta, "beta")
    greatest = int(similar_numbers(share_correct(method, pd), np.array([total]), level)[0])
    return greatest if greatest >= 0 else None


def share_correct(method: str, pd: float, name: str = "pd") -> float:
    """Proportion correct when a share pd (0 < pd <= 1) discriminates and the rest guess."""
    if not 0 < pd <= 1:
        raise ValueError(f"{name} must lie above 0 and at most at 1, but got {pd!r}")
    guess = guess_probability(method)
    return guess + (1 - guess) * pd


def critical_numbers(p: float, n: ArrayLike, level: float) -> Integers:
    """For every n the smallest x with P(X >= x) <= level; n + 1 where there is none."""
    import numpy as np
    from scipy.special import ndtri

    n = np.asarray(n, dtype=np.int64)
    x = np.clip(_normal_quantile(p, n, -float(ndtri(level))) + 1, 1, n + 1)
    while np.any(too_low := (x <= n) & ~at_most(upper_tail(x, n, p), level)):
        x = x + too_low
    while np.any(too_high := (x > 1) & at_most(upper_tail(x - 1, n, p), level)):
        x = x - too_high
    return x


def similar_numbers(p: float, n: ArrayLike, level: float) -> Integers:
    """For every n the largest x with P(X <= x) <= level; -1 where there is none."""
    import numpy as np

    n = np.asarray(n, dtype=np.int64)
    return n - critical_numbers(1.0 - p, n, level)


def _normal_quantile(p: float, n: Integers, z: float) -> Integers:
    """Cornish-Fisher guess of a binomial quantile: a start for the exact search, within a count or two."""
    import numpy as np

    guess = n * p + z * np.sqrt(n * p * (1 - p)) + (1 - 2 * p) * (z * z - 1) / 6
    start: Integers = np.floor(guess).astype(np.int64)
    return start


def one_tail(method: str, alpha: float, two_sided: bool) -> float:
    """The error allowed in one tail. ValueError for a bad alpha or method, or a method with one direction."""
    share(alpha, "alpha")
    guess_probability(method)
    if two_sided and method != "2-AFC":
        raise ValueError(
            f"two_sided must be False for {method!r}: only a paired comparison (2-AFC) has two directions"
        )
    return alpha / 2 if two_sided else alpha


def exact_limits(correct: int, n: int, tail_low: float, tail_high: float) -> tuple[float, float]:
    """Clopper-Pearson limits of a proportion with the given error in each tail (Clopper & Pearson 1934)."""
    from scipy.special import betaincinv

    low = 0.0 if correct == 0 else float(betaincinv(correct, n - correct + 1, tail_low))
    high = 1.0 if correct == n else float(betaincinv(correct + 1, n - correct, 1 - tail_high))
    return low, high


def likelihood_limits(correct: int, n: int, confidence: float, floor: float = 0.0) -> tuple[float, float]:
    """Likelihood-ratio limits of a proportion that cannot lie below `floor` (chance).

    All p in [floor, 1] with 2 (l(p*) - l(p)) <= chi-square quantile, p* the best p in that range.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtri

    best = max(correct / n, floor)
    cut = float(chdtri(1, 1 - confidence))

    def excess(p: float) -> float:
        return 2 * (log_likelihood(correct, n, best) - log_likelihood(correct, n, p)) - cut

    tiny = 1e-300
    low = (
        floor
        if best <= floor or excess(max(floor, tiny)) <= 0
        else float(brentq(excess, max(floor, tiny), best))
    )
    top = 1 - 2**-53
    high = 1.0 if best >= 1 or excess(top) <= 0 else float(brentq(excess, best, top, xtol=1e-14))
    return low, high


def log_likelihood(correct: int, n: int, p: float) -> float:
    """Binomial log likelihood without its constant; 0 log 0 counts as 0."""
    right = correct * math.log(p) if correct else 0.0
    wrong = (n - correct) * math.log1p(-p) if correct < n else 0.0
    return right + wrong
