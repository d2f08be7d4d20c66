"""Newton's law of cooling fitted to a temperature series, with standard errors; a heater is noticed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.cooling_fit import fit_newton, heater
from stats.phrasing import percent, significant
from stats.results import Estimate, Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class Derived:
    """A figure derived from the fit: value, standard error (delta method) and t interval."""

    value: float
    standard_error: float
    interval: Estimate


@dataclass(frozen=True, slots=True)
class Cooling(Result):
    """temperature = ambient + (start - ambient) exp(-rate × minutes), by least squares.

    rate : per minute; start, ambient : in the unit of the temperatures; half_life : minutes in which the
        distance to the ambient halves
    rate_se, start_se, ambient_se, half_life_se : standard errors; 0 for a value that was given, not fitted
    rate_interval, ... : confidence intervals (t)
    residual_sd : standard deviation about the curve; n : readings used; df : residual degrees of freedom
    covariance : of (start, rate, ambient), with zero rows for given values
    heater : why something seems to heat, or "" where nothing does; the fit then describes no cooling
    """

    rate: float
    rate_se: float
    rate_interval: Estimate
    half_life: float
    half_life_se: float
    half_life_interval: Estimate
    start: float
    start_se: float
    ambient: float
    ambient_se: float
    ambient_given: bool
    residual_sd: float
    n: int
    df: int
    covariance: tuple[tuple[float, ...], ...]
    confidence: float
    heater: str
    method: str
    notes: tuple[str, ...]

    def temperature_at(self, minutes: float) -> float:
        """Temperature on the curve at a time in minutes from zero of the series."""
        return self.ambient + (self.start - self.ambient) * math.exp(-self.rate * minutes)

    def time_to(self, temperature: float) -> float:
        """Minutes until the curve reaches `temperature`.

        ValueError where it never does: beyond the ambient, or on the far side of the start.
        """
        return self.time_to_interval(temperature).value

    def time_to_interval(self, temperature: float) -> Derived:
        """`time_to` with its standard error by the delta method."""
        gap, left = self.start - self.ambient, temperature - self.ambient
        if not math.isfinite(temperature) or left == 0 or left / gap <= 0:
            raise ValueError(
                f"temperature {temperature!r} is never reached: the series runs from {significant(self.start)} "
                f"towards {significant(self.ambient)}"
            )
        if left / gap > 1:
            raise ValueError(
                f"temperature {temperature!r} lies before the start of the series at {significant(self.start)}"
            )
        time = math.log(gap / left) / self.rate
        slope = np.array([1 / (self.rate * gap), -time / self.rate, (1 / left - 1 / gap) / self.rate])
        return self._derived(time, slope, "delta method, t")

    def temperature_interval(self, minutes: float) -> Derived:
        """`temperature_at` with the standard error of the curve (not of a new reading)."""
        decay = math.exp(-self.rate * minutes)
        slope = np.array([decay, -minutes * (self.start - self.ambient) * decay, 1 - decay])
        return self._derived(self.temperature_at(minutes), slope, "delta method, t")

    def _derived(self, value: float, slope: Floats, how: str) -> Derived:
        error = math.sqrt(max(float(slope @ np.array(self.covariance) @ slope), 0.0))
        return Derived(value, error, _interval(value, error, self.df, self.confidence, how))

    def sentence(self) -> str:
        """How fast it cools, or that something heats."""
        if self.heater:
            return f"Newton's law of cooling does not describe this series: {self.heater}."
        low, high = self.half_life_interval.low, self.half_life_interval.high
        span = (
            ""
            if low is None or high is None
            else f" ({percent(self.confidence)} interval {_span(low, high)})"
        )
        source = "measured" if self.ambient_given else "fitted"
        return (
            f"The distance to the {source} ambient of {significant(self.ambient)} degrees halves every "
            f"{significant(self.half_life)} minutes{span}."
        )


def _span(low: float, high: float) -> str:
    return f"{significant(low)} to {significant(high)}"


def cooling(
    minutes: Sequence[float],
    temperature: Sequence[float],
    ambient: float | None = None,
    *,
    start: float | None = None,
    confidence: float = 0.95,
) -> Cooling:
    """Fit Newton's law of cooling (or warming) to one temperature series.

    minutes, temperature : equally long; pairs with a missing entry (None, nan) are left out and noted
    ambient : surrounding temperature where it was measured, otherwise it is fitted
    start : temperature at minute 0 where it is known, otherwise it is fitted
    confidence : of the intervals (t with n - fitted parameters degrees of freedom)

    Nonlinear least squares (scipy.optimize), standard errors from the Jacobian, derived figures by the delta
    method (Bates & Watts 1988, Nonlinear Regression, ch. 2). Errors are taken as independent; a logger's
    close readings are not, and the standard errors are then too small.
    A heater is suspected where the temperature rises again by more than the noise while it is above where it
    ends, or levels off clearly away from the measured ambient.
    Raises ValueError for unequal lengths, too few readings, numbers that are not finite, a temperature that
    does not change, an ambient that the series crosses, and a series that does not bend enough to fit.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, but got {confidence!r}")
    t, y, missing = series_of(minutes, temperature)
    fit = fit_newton(t, y, start, ambient)
    errors = np.sqrt(np.maximum(np.diag(fit.covariance), 0.0))
    rate, df = fit.rate, fit.df
    half, half_error = math.log(2) / rate, math.log(2) / rate**2 * float(errors[1])
    return Cooling(
        rate=rate,
        rate_se=float(errors[1]),
        rate_interval=_interval(rate, float(errors[1]), df, confidence, "t"),
        half_life=half,
        half_life_se=half_error,
        half_life_interval=_interval(half, half_error, df, confidence, "delta method, t"),
        start=fit.start,
        start_se=float(errors[0]),
        ambient=fit.ambient,
        ambient_se=float(errors[2]),
        ambient_given=ambient is not None,
        residual_sd=fit.residual_sd,
        n=len(t),
        df=df,
        covariance=tuple(tuple(map(float, row)) for row in fit.covariance),
        confidence=confidence,
        heater=heater(t, y, ambient, start, fit),
        method="Newton's law of cooling, nonlinear least squares, delta method",
        notes=_notes(y, missing, ambient is not None, fit.ambient),
    )


def _notes(y: Floats, missing: int, given: bool, ambient: float) -> tuple[str, ...]:
    notes = [f"{missing} of {missing + len(y)} readings are missing and left out"] if missing else []
    if not given and abs(y[-1] - ambient) > abs(y[0] - y[-1]):
        notes.append(
            "the series ends far from the fitted ambient: measure the ambient, it is extrapolated here"
        )
    return (*notes, "readings are taken as independent about the curve")


def _interval(value: float, error: float, df: int, confidence: float, how: str) -> Estimate:
    from scipy.special import stdtrit

    half = float(stdtrit(df, 1 - (1 - confidence) / 2)) * error
    return Estimate(value, value - half, value + half, confidence, how=f"{how}, {df} degrees of freedom")


def series_of(minutes: Sequence[float], temperature: Sequence[float]) -> tuple[Floats, Floats, int]:
    """Times and temperatures (n,) in order of time without missing pairs, and how many were missing.

    ValueError for unequal lengths and numbers that are not finite.
    """
    found = []
    for name, values in (("minutes", minutes), ("temperature", temperature)):
        try:
            one = np.asarray([np.nan if value is None else value for value in values], dtype=np.float64)
        except (TypeError, ValueError):
            raise ValueError(f"{name} must hold numbers, but it holds {values!r:.80}") from None
        if np.isinf(one).any():
            raise ValueError(
                f"{name} must hold finite numbers, but entry {int(np.argmax(np.isinf(one))) + 1} is not"
            )
        found.append(one)
    t, y = found
    if len(t) != len(y):
        raise ValueError(
            f"minutes and temperature must be equally long, but have {len(t)} and {len(y)} entries"
        )
    kept = ~(np.isnan(t) | np.isnan(y))
    order = np.argsort(t[kept], kind="stable")
    return t[kept][order], y[kept][order], int((~kept).sum())


@dataclass(frozen=True, slots=True)
class TimeInWindow(Result):
    """How long a series stays inside a temperature window, straight lines between readings.

    inside, below, above : minutes; total : minutes from the first reading to the last
    below_area, above_area : degree-minutes outside the window
    """

    low: float
    high: float
    inside: float
    below: float
    above: float
    total: float
    below_area: float
    above_area: float
    n: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Minutes inside the window, and where the rest went."""
        rest = [
            f"{significant(minutes)} {where}"
            for minutes, where in ((self.below, "below"), (self.above, "above"))
            if minutes > 0
        ]
        tail = f" ({', '.join(rest)})" if rest else ""
        return (
            f"It stays between {significant(self.low)} and {significant(self.high)} degrees for "
            f"{significant(self.inside)} of {significant(self.total)} minutes{tail}."
        )


def time_in_window(
    minutes: Sequence[float], temperature: Sequence[float], low: float, high: float
) -> TimeInWindow:
    """Minutes inside, below and above a window, and degree-minutes outside it, by linear interpolation.

    Missing readings are left out (the line runs between the readings around them). Definition.
    Raises ValueError for fewer than two different times, two readings at one time, low above high, and as
    `cooling` does for unequal lengths or numbers that are not finite.
    """
    if not low < high:
        raise ValueError(f"low must be below high, but got low={low!r} and high={high!r}")
    t, y, missing = series_of(minutes, temperature)
    if len(t) < 2:
        raise ValueError(f"minutes: {len(t)} readings span no time; at least two are needed")
    if (np.diff(t) == 0).any():
        raise ValueError(
            f"minutes: two readings at {float(t[:-1][np.diff(t) == 0][0])!r}; average them first"
        )
    below, below_area = _outside(t, low - y)
    above, above_area = _outside(t, y - high)
    total = float(t[-1] - t[0])
    return TimeInWindow(
        *(
            float(low),
            float(high),
            max(total - below - above, 0.0),
            below,
            above,
            total,
            below_area,
            above_area,
        ),
        n=len(t),
        method="straight lines between readings",
        notes=(f"{missing} of {missing + len(t)} readings are missing and left out",) if missing else (),
    )


def _outside(t: Floats, excess: Floats) -> tuple[float, float]:
    """Time for which the broken line `excess` is positive, and the area under it there."""
    step, a, b = np.diff(t), excess[:-1], excess[1:]
    top, bottom = np.maximum(a, b), np.minimum(a, b)
    part = np.where(
        bottom >= 0, 1.0, np.where(top <= 0, 0.0, top / np.where(top > bottom, top - bottom, 1.0))
    )
    part = np.where((top == 0) & (bottom == 0), 0.0, part)
    area = step * np.where(bottom >= 0, (top + bottom) / 2, part * np.maximum(top, 0.0) / 2)
    return float((step * part).sum()), float(area.sum())
