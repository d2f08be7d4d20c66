"""The fit behind the law of cooling: three values at most, some of them given, and the signs of a heater."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import significant

if TYPE_CHECKING:
    from stats.score_table import Floats

# Signs of a heater, in degrees Celsius or shares of the distance to fade. Common practice, no source.
RISE_LEAST = 1.0
RISE_SHARE = 0.10
AWAY_SHARE = 0.20
PLATEAU_LEAST = 2.0
PLATEAU_ERRORS = 3.0
# Below this rate × time the curve is a straight line within 1 % of its fall, and the ambient a guess.
LEAST_BEND = 0.02


@dataclass(frozen=True, slots=True)
class NewtonFit:
    """Fitted or given (start, rate, ambient) with their covariance (3, 3), zero for given values."""

    start: float
    rate: float
    ambient: float
    covariance: Floats
    residual_sd: float
    df: int


@dataclass(frozen=True, slots=True)
class _Problem:
    """y = ambient + (start - ambient) exp(-rate t); start and ambient may be given."""

    t: Floats
    y: Floats
    start: float | None
    ambient: float | None

    @property
    def free(self) -> list[int]:
        given = (self.start, None, self.ambient)
        return [i for i, value in enumerate(given) if value is None]

    def whole(self, theta: Floats) -> Floats:
        values = np.array([self.start or 0.0, 0.0, self.ambient or 0.0])
        values[self.free] = theta
        return values

    def residual(self, theta: Floats) -> Floats:
        start, rate, ambient = self.whole(theta)
        found: Floats = ambient + (start - ambient) * np.exp(-rate * self.t) - self.y
        return found

    def jacobian(self, theta: Floats) -> Floats:
        start, rate, _ = self.whole(theta)
        ambient = self.whole(theta)[2]
        decay = np.exp(-rate * self.t)
        J: Floats = np.stack([decay, -self.t * (start - ambient) * decay, 1 - decay], axis=1)[:, self.free]
        return J

    def at_rates(self, rates: Floats) -> tuple[Floats, Floats, Floats]:
        """Residual sum of squares, start and ambient, each (rates,): the last two are linear at a given rate."""
        decay = np.exp(-np.outer(rates, self.t))
        if self.start is None and self.ambient is None:
            centred = decay - decay.mean(axis=1, keepdims=True)
            gap = _ratio(centred @ self.y, (centred**2).sum(axis=1))
            ambient = self.y.mean() - gap * decay.mean(axis=1)
            start = ambient + gap
        elif self.start is None:
            ambient = np.full(len(rates), self.ambient)
            start = ambient + _ratio(decay @ (self.y - ambient[0]), (decay**2).sum(axis=1))
        else:
            start, lost = np.full(len(rates), self.start), 1 - decay
            left = self.y - self.start * decay
            fitted = _ratio((lost * left).sum(axis=1), (lost**2).sum(axis=1))
            ambient = fitted if self.ambient is None else np.full(len(rates), self.ambient)
        curve = ambient[:, None] + (start - ambient)[:, None] * decay
        return ((curve - self.y) ** 2).sum(axis=1), start, ambient


def _ratio(above: Floats, below: Floats) -> Floats:
    """above / below, 0 where nothing can be told."""
    out: Floats = np.divide(above, below, out=np.zeros_like(above), where=below > 1e-300)
    return out


def fit_newton(t: Floats, y: Floats, start: float | None, ambient: float | None) -> NewtonFit:
    """Least squares from the best of a grid of rates; ValueError where the readings do not determine it."""
    from scipy.optimize import least_squares

    _check(t, y, start, ambient)
    problem = _Problem(t, y, start, ambient)
    span = float(max(np.ptp(t), np.abs(t).max()))
    rates = np.geomspace(1e-3, 200, 90) / span
    squares, starts, ambients = problem.at_rates(rates)
    best = int(np.argmin(squares))
    guess = np.array([starts[best], rates[best], ambients[best]])[problem.free]
    found = least_squares(
        problem.residual,
        guess,
        jac=problem.jacobian,
        method="lm",
        x_scale="jac",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    first, rate, last = (float(value) for value in problem.whole(found.x))
    J = problem.jacobian(found.x)
    scale = np.sqrt((J**2).sum(axis=0))
    if rate <= 0:
        raise ValueError(_wrong_way(ambient))
    straight = ambient is None and rate * float(np.ptp(t)) < LEAST_BEND
    if straight or not np.all(scale > 0) or np.linalg.cond(J / scale) > 1e7:
        raise ValueError(
            f"temperature: the {len(t)} readings do not bend enough to tell rate and ambient apart; "
            "measure for longer, or give the ambient"
        )
    df = len(t) - len(problem.free)
    variance = 2 * float(found.cost) / df
    covariance = np.zeros((3, 3))
    inverse = np.linalg.inv((J / scale).T @ (J / scale)) / np.outer(scale, scale)
    covariance[np.ix_(problem.free, problem.free)] = inverse * variance
    return NewtonFit(first, rate, last, covariance, math.sqrt(variance), df)


def _wrong_way(ambient: float | None) -> str:
    towards = "an ambient" if ambient is None else f"the ambient of {significant(ambient)}"
    return (
        f"temperature: the readings do not move towards {towards}; something heats, or the ambient is wrong. "
        "Report the time inside a window instead"
    )


def _check(t: Floats, y: Floats, start: float | None, ambient: float | None) -> None:
    for name, value in (("ambient", ambient), ("start", start)):
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{name} must be a finite number, but got {value!r}")
    fitted = 1 + (ambient is None) + (start is None)
    times = len(np.unique(t))
    if times < fitted + 1:
        raise ValueError(
            f"minutes: {times} different times are too few to fit {fitted} values with an error; "
            f"at least {fitted + 1} are needed"
        )
    if np.ptp(y) <= 1e-9 * float(np.abs(y).max()):
        raise ValueError(
            f"temperature stays at {float(y[0])!r}: nothing cools, so that there is no rate to fit; "
            "report the time inside a window instead"
        )


def heater(t: Floats, y: Floats, ambient: float | None, start: float | None, fit: NewtonFit) -> str:
    """Why something seems to heat (or, for a warming sample, to cool), or "".

    Two signs: the temperature turns back by more than a reading's noise while it is away from the ambient
    (running median of three, so that one odd reading is no sign); or, with a measured ambient, the curve
    levels off well away from it.
    """
    surrounding = fit.ambient if ambient is None else ambient
    way = 1.0 if fit.start >= surrounding else -1.0
    turned = _turn(way * y, float(np.ptp(y)), None if ambient is None else way * ambient)
    if turned is not None:
        back = "rises again by" if way > 0 else "falls again by"
        return f"the temperature {back} {significant(turned)} degrees, as if something {_doing(way)}"
    if ambient is None:
        return ""
    try:
        free = fit_newton(t, y, start, None)
    except ValueError:
        return ""
    gap, distance = way * (free.ambient - ambient), abs(free.start - ambient)
    error = math.sqrt(max(float(free.covariance[2, 2]), 0.0))
    if gap > max(PLATEAU_LEAST, PLATEAU_ERRORS * error, AWAY_SHARE * distance):
        return (
            f"the temperature levels off near {significant(free.ambient)} degrees, not at the ambient of "
            f"{significant(ambient)} degrees, as if something {_doing(way)}"
        )
    return ""


def _doing(way: float) -> str:
    return "heats" if way > 0 else "cools it"


def _turn(y: Floats, span: float, ambient: float | None) -> float | None:
    """The greatest return towards the start, if it is a sign of a heater."""
    smooth = y
    if len(y) >= 5:
        smooth = np.median(np.stack([y[:-2], y[1:-1], y[2:]]), axis=0)
    lowest = np.minimum.accumulate(smooth)
    rise = smooth - lowest
    at = int(np.argmax(rise))
    if rise[at] < max(RISE_LEAST, RISE_SHARE * span):
        return None
    if ambient is not None and lowest[at] - ambient < AWAY_SHARE * (y[0] - ambient):
        return None
    return float(rise[at])
