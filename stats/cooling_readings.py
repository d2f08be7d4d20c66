"""What a temperature series itself says: values at set times, one ambient for all series, time until below."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.cooling import cooling, series_of
from stats.phrasing import significant
from stats.results import Estimate, Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class TimeUntilBelow(Result):
    """When a series first falls below a threshold, on the straight line between two readings.

    minutes : from minute 0 of the series; where it never falls below, the last reading's: it lasts at least so long
    reached : whether it falls below at all; returns : whether it is above again later
    standard_error, interval : from the errors about the fitted law of cooling, None where the law does not describe
        the series or too few readings bend it
    """

    threshold: float
    minutes: float
    reached: bool
    returns: bool
    standard_error: float | None
    interval: Estimate | None
    n: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Minutes until below, or that it stays above as long as it was watched."""
        limit = significant(self.threshold)
        if not self.reached:
            return f"It does not fall below {limit} degrees within {significant(self.minutes)} minutes."
        again = ", and is above again later" if self.returns else ""
        return f"It falls below {limit} degrees after {significant(self.minutes)} minutes{again}."


def value_at(minutes: Sequence[float], values: Sequence[float], at: float) -> float | None:
    """The value at a time on the straight line between the readings around it; None outside of the series.

    Missing readings are left out. ValueError for two readings at one time, and as `cooling` does.
    """
    t, y = _rising(minutes, values)
    if len(t) == 0 or not t[0] - 1e-9 <= at <= t[-1] + 1e-9:
        return None
    return float(np.interp(at, t, y))


def on_one_ambient(
    minutes: Sequence[float],
    values: Sequence[float],
    ambient: float,
    reference: float,
    *,
    start_minutes: float = 5.0,
) -> tuple[float, ...]:
    """The series as it would have run in other surroundings, from the same start.

    ambient : surroundings measured beside the series; reference : the surroundings to compare in; start_minutes :
        when the start value is read, since filling disturbs what comes before

    The ratio (T - Ta) / (T0 - Ta) does not depend on the surroundings where Newton's law holds, so that
    T' = Tref + (T0 - Tref) ratio. It does not hold where something heats. Definition.
    ValueError where the series does not hold its start, or starts at its ambient.
    """
    start = value_at(minutes, values, start_minutes)
    if start is None:
        raise ValueError(
            f"minutes: there is no reading around the start at {significant(start_minutes)} minutes"
        )
    if not (math.isfinite(ambient) and math.isfinite(reference)) or start == ambient:
        raise ValueError(f"ambient: the series starts at its ambient of {ambient!r}, so that nothing cools")
    y = np.asarray(values, dtype=np.float64)
    ratio = (y - ambient) / (start - ambient)
    return tuple((reference + (start - reference) * ratio).tolist())


def time_until_below(
    minutes: Sequence[float],
    values: Sequence[float],
    threshold: float,
    *,
    ambient: float | None = None,
    confidence: float = 0.95,
) -> TimeUntilBelow:
    """When a series first falls below `threshold`.

    ambient : measured surroundings, for the fit behind the interval; confidence : of that interval (t)
    A series that begins below has 0 minutes. ValueError without two readings, and as `value_at`.
    """
    t, y = _rising(minutes, values)
    if len(t) < 2:
        raise ValueError(f"minutes: {len(t)} readings span no time; at least two are needed")
    below = np.flatnonzero(y < threshold)
    if below.size == 0:
        return TimeUntilBelow(
            *(float(threshold), float(t[-1]), False, False, None, None, len(t)),
            method="straight line between readings",
            notes=("never below as long as it was watched: the time is a lower bound",),
        )
    first = int(below[0])
    at = float(t[0]) if first == 0 else _crossing(t, y, first, threshold)
    notes = ("the series begins below the threshold",) if first == 0 else ()
    error, interval, said = (
        (None, None, "") if first == 0 else _interval(t, y, threshold, ambient, confidence, at)
    )
    return TimeUntilBelow(
        threshold=float(threshold),
        minutes=at,
        reached=True,
        returns=bool((y[first:] > threshold).any()),
        standard_error=error,
        interval=interval,
        n=len(t),
        method="straight line between readings, error from the fitted law of cooling",
        notes=(*notes, said) if said else notes,
    )


def _crossing(t: Floats, y: Floats, first: int, threshold: float) -> float:
    above, below = y[first - 1], y[first]
    return float(t[first - 1] + (t[first] - t[first - 1]) * (above - threshold) / (above - below))


def _interval(
    t: Floats, y: Floats, threshold: float, ambient: float | None, confidence: float, at: float
) -> tuple[float | None, Estimate | None, str]:
    try:
        fit = cooling(t.tolist(), y.tolist(), ambient, confidence=confidence)
        if fit.heater:
            return None, None, f"no interval: {fit.heater}"
        error = fit.time_to_interval(threshold).standard_error
    except ValueError as problem:
        return None, None, f"no interval: {problem}"
    from scipy.special import stdtrit

    half = float(stdtrit(fit.df, (1 + confidence) / 2)) * error
    how = f"delta method, t, {fit.df} degrees of freedom"
    return error, Estimate(at, at - half, at + half, confidence, how=how), ""


def _rising(minutes: Sequence[float], values: Sequence[float]) -> tuple[Floats, Floats]:
    t, y, _ = series_of(minutes, values)
    if (again := np.diff(t) == 0).any():
        raise ValueError(f"minutes: two readings at {float(t[:-1][again][0])!r}; average them first")
    return t, y
