"""What each discrimination method can show: guess probability, proportion correct at a d', and back.

d' is the distance between two samples in standard deviations of perception (Thurstone 1927). It can be
compared between methods; the share of discriminators (pd) cannot. Every psychometric function is written
with Owen's T function instead of the usual integral, so that it is exact to rounding, vectorised, and
accurate in both tails. With h and a as below (Ennis 1993, J. Sensory Studies 8:353; Ennis, Ennis, Palen &
Lampe 2014, for the tetrad; Hacker & Ratcliff 1979 for m-AFC), the proportion of wrong answers is

    triangle   4 T(d/√6, √3)             duo-trio   Φ(a)Φ(-b) + Φ(-a)Φ(b), a = d/√2, b = d/√6
    2-AFC      Φ(-d/√2)                  3-AFC      Φ(-d/√2) + 2 T(d/√2, 1/√3)
    tetrad     8 T(d/√2, 1/√3)           two-out-of-five: no agreed Thurstonian model, hence no d'
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

ROOT_2, ROOT_3, ROOT_6 = math.sqrt(2), math.sqrt(3), math.sqrt(6)

GUESS: dict[str, Fraction] = {
    "triangle": Fraction(1, 3),
    "duo-trio": Fraction(1, 2),
    "2-AFC": Fraction(1, 2),
    "3-AFC": Fraction(1, 3),
    "tetrad": Fraction(1, 3),
    "two-out-of-five": Fraction(1, 10),
}


@dataclass(frozen=True, slots=True)
class _Model:
    """A method's share of wrong answers at d', its slope (of the share correct), a d' never too small."""

    wrong: Callable[[Floats], Floats]
    slope: Callable[[Floats], Floats]
    ceiling: Callable[[Floats], Floats]


def guess_probability(method: str) -> float:
    """Probability of a correct answer by guessing alone.

    method : "triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad" or "two-out-of-five"
    Raises ValueError for any other name. Source: ISO 4120, ISO 10399, ISO 5495, ISO 6658.
    """
    return float(guess_fraction(method))


def guess_fraction(method: str) -> Fraction:
    """The guess probability as an exact fraction; errors as `guess_probability`."""
    if method not in GUESS:
        raise ValueError(f"method must be one of {', '.join(GUESS)}, but got {method!r}")
    return GUESS[method]


def has_d_prime(method: str) -> bool:
    """Whether the method has an agreed Thurstonian model."""
    guess_fraction(method)
    return method != "two-out-of-five"


def percent_correct(method: str, d_prime: ArrayLike) -> Any:
    """Proportion of correct answers (0..1) at a true d'.

    d_prime : d' >= 0 in standard deviations, any shape; infinity gives 1, a missing value (NaN) stays NaN
    Returns a float for a number, else an array of the same shape.
    Raises ValueError for a negative d', an unknown method, or two-out-of-five (no agreed model).
    """
    import numpy as np

    model = _model(method)
    d = np.asarray(d_prime, dtype=float)
    if np.any(d < 0):
        raise ValueError(f"d_prime must not be negative (it is a distance), but got {d[d < 0].flat[0]!r}")
    return _like_input(1.0 - model.wrong(d))


def slope_at(method: str, d_prime: float) -> float:
    """Change of the proportion correct per unit of d'; 0 at d' = 0 for triangle, duo-trio and tetrad."""
    import numpy as np

    return float(_model(method).slope(np.asarray(d_prime, dtype=float)))


def d_prime(method: str, pc: ArrayLike) -> Any:
    """d' from a proportion correct, the inverse of `percent_correct`.

    pc : proportion correct, 0..1, any shape; a missing value (NaN) stays NaN
    Returns 0 at or below the guess probability and infinity at 1; a float for a number, else an array.
    Raises ValueError for pc outside 0..1, an unknown method, or two-out-of-five (no agreed model).
    """
    import numpy as np

    model = _model(method)
    share = np.asarray(pc, dtype=float)
    outside = (share < 0) | (share > 1)
    if np.any(outside):
        raise ValueError(f"pc must lie between 0 and 1, but got {share[outside].flat[0]!r}")
    found = np.where(np.isnan(share), np.nan, np.where(share >= 1, np.inf, 0.0))
    inner = (share > guess_probability(method)) & (share < 1)
    if np.any(inner):
        found[inner] = _solve(model, 1.0 - share[inner])
    return _like_input(found)


def _solve(model: _Model, wrong: Floats) -> Floats:
    """Newton's method on log P(wrong), which is concave: from the right it falls straight to the root."""
    import numpy as np

    d = np.asarray(model.ceiling(wrong), dtype=float)
    target = np.log(wrong)
    for _ in range(120):  # near chance the root is almost double, and each step only halves the distance
        now = model.wrong(d)
        slope = np.maximum(model.slope(d), np.finfo(float).tiny)
        step = (target - np.log(now)) * now / slope
        after = np.clip(d - step, 0.0, d)
        after = np.where(after == 0, d / 2, after)
        if np.all(np.abs(after - d) <= 1e-14 * np.maximum(d, 1e-3)):
            return after
        d = after
    return d


def _model(method: str) -> _Model:
    if not has_d_prime(method):
        raise ValueError(
            "method 'two-out-of-five' has no agreed Thurstonian model, so d' is not defined for it"
        )
    return {
        "triangle": _triangle,
        "duo-trio": _duo_trio,
        "2-AFC": _two_afc,
        "3-AFC": _three_afc,
        "tetrad": _tetrad,
    }[method]()


def _triangle() -> _Model:
    from scipy.special import ndtr, ndtri, owens_t

    return _Model(
        wrong=lambda d: 4 * owens_t(d / ROOT_6, ROOT_3),
        slope=lambda d: 4 / ROOT_6 * _density(d / ROOT_6) * (ndtr(d / ROOT_2) - 0.5),
        ceiling=lambda wrong: -ROOT_6 * ndtri(wrong / 2),
    )


def _duo_trio() -> _Model:
    from scipy.special import ndtr, ndtri

    def wrong(d: Floats) -> Any:
        a, b = d / ROOT_2, d / ROOT_6
        return ndtr(a) * ndtr(-b) + ndtr(-a) * ndtr(b)

    def slope(d: Floats) -> Any:
        a, b = d / ROOT_2, d / ROOT_6
        return 2 * (_density(a) / ROOT_2 * (ndtr(b) - 0.5) + _density(b) / ROOT_6 * (ndtr(a) - 0.5))

    return _Model(wrong=wrong, slope=slope, ceiling=lambda wrong: -ROOT_6 * ndtri(wrong / 2))


def _two_afc() -> _Model:
    from scipy.special import ndtr, ndtri

    return _Model(
        wrong=lambda d: ndtr(-d / ROOT_2),
        slope=lambda d: _density(d / ROOT_2) / ROOT_2,
        ceiling=lambda wrong: -ROOT_2 * ndtri(wrong),
    )


def _three_afc() -> _Model:
    from scipy.special import ndtr, ndtri, owens_t

    return _Model(
        wrong=lambda d: ndtr(-d / ROOT_2) + 2 * owens_t(d / ROOT_2, 1 / ROOT_3),
        slope=lambda d: _density(d / ROOT_2) * ndtr(d / ROOT_6) * 2 / ROOT_2,
        ceiling=lambda wrong: -ROOT_2 * ndtri(wrong / 2),
    )


def _tetrad() -> _Model:
    from scipy.special import ndtr, ndtri, owens_t

    return _Model(
        wrong=lambda d: 8 * owens_t(d / ROOT_2, 1 / ROOT_3),
        slope=lambda d: 8 / ROOT_2 * _density(d / ROOT_2) * (ndtr(d / ROOT_6) - 0.5),
        ceiling=lambda wrong: -ROOT_2 * ndtri(wrong / 4),
    )


def _density(z: Floats) -> Any:
    import numpy as np

    return np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


def _like_input(values: Any) -> Any:
    """A float where a single number came in, else the array."""
    return float(values) if values.ndim == 0 else values
