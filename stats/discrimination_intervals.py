"""From a proportion correct to the share of discriminators and d', with limits on all three scales.

pd = (pc - p0) / (1 - p0) and d' grow with pc, so limits of pc carry over unchanged (both are held at 0
where pc lies at or below chance). Exact: Clopper-Pearson. Profile likelihood: with one unknown it is the
likelihood-ratio interval, here with pc kept at or above chance.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stats.discrimination_exact import exact_limits, likelihood_limits
from stats.results import Estimate
from stats.thurstone import d_prime, guess_probability, has_d_prime, slope_at

if TYPE_CHECKING:
    from collections.abc import Callable

    from stats.results import Sides

EXACT = "exact (Clopper-Pearson)"
LIKELIHOOD = "profile likelihood"
Limits = tuple[float | None, float | None]


def discriminators(method: str, pc: float) -> float:
    """Share of tasters who tell the samples apart, 0 at or below chance (Abbott's formula)."""
    guess = guess_probability(method)
    return max(0.0, (pc - guess) / (1 - guess))


def finite_d_prime(method: str, pc: float) -> float | None:
    """d' of a proportion correct; None where it is infinite."""
    found = float(d_prime(method, pc))
    return found if math.isfinite(found) else None


def exact_scales(
    method: str, correct: int, n: int, confidence: float, sides: Sides, mirrored: bool = False
) -> tuple[Estimate, Estimate, Estimate | None]:
    """pc, pd and d' with Clopper-Pearson limits.

    sides : "two-sided", "lower" or "upper"; the open side of a one-sided limit is None
    mirrored : a two-sided paired test counts either direction, so pd and d' measure the distance from 1/2
    d' is None for two-out-of-five.
    """
    limits = _exact(correct, n, confidence, sides)
    pc = Estimate(correct / n, *limits, confidence, sides, EXACT)
    return pc, *_carried_over(method, pc, mirrored)


def likelihood_scales(
    method: str, correct: int, n: int, confidence: float, mirrored: bool = False
) -> tuple[Estimate, Estimate | None]:
    """pd and d' with two-sided profile-likelihood limits."""
    floor = 0.0 if mirrored else guess_probability(method)
    limits = likelihood_limits(correct, n, confidence, floor)
    pc = Estimate(correct / n, *limits, confidence, "two-sided", LIKELIHOOD)
    return _carried_over(method, pc, mirrored)


def d_prime_error(method: str, correct: int, n: int) -> float | None:
    """Standard error of d' by the delta method; None at or below chance, at n of n, and without a model.

    sqrt(pc (1 - pc) / n) / (slope of pc at d'), Bi, Ennis & O'Mahony 1997. At d' = 0 the slope of triangle,
    duo-trio and tetrad is 0, so no standard error exists there.
    """
    if not has_d_prime(method) or correct == n or correct / n <= guess_probability(method):
        return None
    pc = correct / n
    return math.sqrt(pc * (1 - pc) / n) / slope_at(method, float(d_prime(method, pc)))


def _exact(correct: int, n: int, confidence: float, sides: Sides) -> Limits:
    tail = 1 - confidence
    if sides == "two-sided":
        return exact_limits(correct, n, tail / 2, tail / 2)
    low, high = exact_limits(correct, n, tail, tail)
    return (low, None) if sides == "lower" else (None, high)


def _carried_over(method: str, pc: Estimate, mirrored: bool) -> tuple[Estimate, Estimate | None]:
    assert pc.estimate is not None
    point, limits = pc.estimate, (pc.low, pc.high)
    if mirrored:
        point, limits = max(point, 1 - point), _distance_from_half(pc)

    def scale(read: Callable[[str, float], float | None]) -> Estimate:
        low, high = (None if limit is None else read(method, limit) for limit in limits)
        return Estimate(read(method, point), low, high, pc.confidence, pc.sides, pc.how)

    return scale(discriminators), scale(finite_d_prime) if has_d_prime(method) else None


def _distance_from_half(pc: Estimate) -> Limits:
    """Limits of the larger of pc and 1 - pc: 1/2 where the interval holds 1/2."""
    assert pc.low is not None
    assert pc.high is not None
    return max(0.5, pc.low, 1 - pc.high), max(pc.high, 1 - pc.low)
