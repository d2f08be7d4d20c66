"""Uncertainty of measurement after the GUM: contributions of type A and B, combined and expanded.

GUM: JCGM 100:2008, Evaluation of measurement data - Guide to the expression of uncertainty in measurement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.phrasing import count, percent
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats

INFINITE = math.inf


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of uncertainty.

    u : standard uncertainty of the input; sensitivity : what the result changes by per unit of the input
    df : degrees of freedom, inf where u is taken as known exactly; kind : "A" from repeats, "B" from elsewhere
    """

    name: str
    u: float
    df: float = INFINITE
    sensitivity: float = 1.0
    kind: Literal["A", "B"] = "B"

    @property
    def effect(self) -> float:
        """What it contributes to the result: |sensitivity| × u."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, slots=True)
class MeasurementUncertainty(Result):
    """A measured value with its uncertainty.

    value : the estimate; u : combined standard uncertainty; df : effective degrees of freedom (inf where none is
        limited); coverage_factor : k; expanded : k × u; low, high : coverage interval
    contributions : what u is made of; n : repeats behind the type A part, 0 where there is none
    """

    value: float
    u: float
    df: float
    coverage_factor: float
    expanded: float
    low: float
    high: float
    confidence: float
    contributions: tuple[Contribution, ...]
    n: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Value ± expanded uncertainty with k, as GUM 7.2.3 asks, both rounded as 7.2.6 says."""
        value, half = rounded_to_uncertainty(self.value, self.expanded)
        df = "" if math.isinf(self.df) else f", {self.df:.1f} effective degrees of freedom"
        return (
            f"{value} ± {half}, where the number behind ± is an expanded uncertainty with coverage factor "
            f"k = {self.coverage_factor:.2f} (t, {percent(self.confidence)} coverage{df})."
        )


def type_a(values: Sequence[float], name: str = "repeats") -> Contribution:
    """Standard uncertainty s / √n of the mean of independent repeats, with n - 1 degrees of freedom (GUM 4.2.3).

    ValueError for fewer than two values: one value says nothing of its scatter.
    """
    x = _finite(values)
    if len(x) < 2:
        raise ValueError(f"values: {count(len(x), 'value')} cannot show any scatter; at least two are needed")
    return Contribution(name, float(np.std(x, ddof=1)) / math.sqrt(len(x)), len(x) - 1.0, kind="A")


def from_resolution(step: float, name: str = "resolution") -> Contribution:
    """Of an indication with smallest step `step`: rectangular within half a step, step / √12 (GUM F.2.2.1)."""
    return from_limits(_positive(step, "step") / 2, name)


def from_limits(half_width: float, name: str = "stated limits", *, doubt: float = 0.0) -> Contribution:
    """Of a quantity known to lie within ± half_width and anywhere there alike: half_width / √3 (GUM 4.3.7).

    doubt : relative uncertainty of that u, 0 where the limits are certain; 1 / (2 doubt²) degrees of freedom (G.3).
    """
    if not 0 <= doubt < 1:
        raise ValueError(f"doubt must lie between 0 and 1, but got {doubt!r}")
    df = INFINITE if doubt == 0 else 0.5 / doubt**2
    return Contribution(name, _positive(half_width, "half_width") / math.sqrt(3), df)


def combined_uncertainty(
    value: float,
    contributions: Sequence[Contribution],
    *,
    correlation: Sequence[Sequence[float]] | None = None,
    confidence: float = 0.95,
    n: int = 0,
) -> MeasurementUncertainty:
    """Law of propagation (GUM equations 10 and 16), Welch-Satterthwaite (G.2b), coverage factor t (G.3).

    contributions : at least one; correlation : (m, m) between the inputs, None where they are independent
    Effective degrees of freedom are cut to a whole number for k, as GUM G.4.1 says. The formula of Welch and
    Satterthwaite holds for independent inputs only; with correlation the smallest df is used and noted.
    ValueError for numbers that are not finite, negative u, df not above 0, and correlations that cannot be.
    """
    if not contributions:
        raise ValueError("contributions: at least one is needed")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, but got {confidence!r}")
    for one in contributions:
        if not (math.isfinite(one.u) and one.u >= 0 and math.isfinite(one.sensitivity) and one.df > 0):
            raise ValueError(f"contributions: {one.name!r} has u {one.u!r}, df {one.df!r}")
    effects = np.array([one.sensitivity * one.u for one in contributions])
    R = np.eye(len(effects)) if correlation is None else _correlations(correlation, len(effects))
    u = math.sqrt(max(float(effects @ R @ effects), 0.0))
    df, notes = _effective(contributions, u, correlated=correlation is not None)
    k = coverage_factor(df, confidence)
    return MeasurementUncertainty(
        value=float(value),
        u=u,
        df=df,
        coverage_factor=k,
        expanded=k * u,
        low=value - k * u,
        high=value + k * u,
        confidence=confidence,
        contributions=tuple(contributions),
        n=n,
        method="law of propagation of uncertainty, Welch-Satterthwaite, coverage factor t (JCGM 100:2008)",
        notes=notes,
    )


def measurement_uncertainty(
    values: Sequence[float],
    *,
    resolution: float | None = None,
    limits: float | None = None,
    confidence: float = 0.95,
) -> MeasurementUncertainty:
    """Uncertainty of the mean of repeats by one instrument.

    values : repeats; resolution : smallest step of the instrument; limits : half-width of its stated limits; both in
        the unit of the values, None where not known. Both are common to all repeats and do not shrink with them.

    One value: its scatter is unknown, only the instrument's part is given, and the notes say so.
    ValueError without values, and for one value where nothing is known of the instrument either.
    """
    x = _finite(values)
    if len(x) == 0:
        raise ValueError("values: there is none")
    parts = [type_a(values)] if len(x) > 1 else []
    parts += [from_resolution(resolution)] if resolution is not None else []
    parts += [from_limits(limits)] if limits is not None else []
    if not parts:
        raise ValueError("values: one value without resolution or limits says nothing of its uncertainty")
    found = combined_uncertainty(float(x.mean()), parts, confidence=confidence, n=len(x))
    notes = list(found.notes)
    if len(x) == 1:
        notes.append(
            "one value only: how far repeats scatter (type A) is unknown; this is the instrument's part"
        )
    if resolution is None and limits is None:
        notes.append("resolution and limits of the instrument are not stated: type A only")
    return replace(found, notes=tuple(notes))


def coverage_factor(df: float, confidence: float = 0.95) -> float:
    """Student's t for the interval of `confidence`, df cut to a whole number, at least 1 (GUM G.3.3, G.4.1).

    Cut after rounding to one decimal, as the GUM's own examples print them: 18.9987 is its 19.0.
    """
    from scipy.special import ndtri, stdtrit

    whole = max(1.0, math.floor(round(df, 1))) if math.isfinite(df) else df
    upper = (1 + confidence) / 2
    return float(ndtri(upper)) if math.isinf(whole) else float(stdtrit(whole, upper))


def rounded_to_uncertainty(value: float, u: float, digits: int = 2) -> tuple[str, str]:
    """Value and uncertainty as texts: u with so many significant digits, the value to the same place (GUM 7.2.6).

    "10.058" and "0.027" of 10.05762 and 0.027; halves go up; whole numbers are rounded to tens where u asks for it.
    ValueError where u is not above 0, or either is not finite.
    """
    if not (math.isfinite(value) and math.isfinite(u) and u > 0 and digits > 0):
        raise ValueError(f"value and u must be finite and u above 0, but got {value!r} and {u!r}")
    exact = Decimal(repr(float(u)))
    place = exact.adjusted() - digits + 1
    half = exact.quantize(Decimal(1).scaleb(place), ROUND_HALF_UP)
    if half.adjusted() > exact.adjusted():  # 0.0996 becomes 0.10
        place += 1
        half = half.quantize(Decimal(1).scaleb(place), ROUND_HALF_UP)
    whole = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(place), ROUND_HALF_UP)
    text = f"{whole:f}"
    return (text.removeprefix("-") if whole == 0 else text), f"{half:f}"


def _effective(
    contributions: Sequence[Contribution], u: float, *, correlated: bool
) -> tuple[float, tuple[str, ...]]:
    limited = [one for one in contributions if math.isfinite(one.df) and one.effect > 0]
    if not limited or u == 0:
        return INFINITE, ()
    if correlated:
        return min(one.df for one in limited), (
            "inputs are correlated: the smallest degrees of freedom are used",
        )
    return u**4 / sum(one.effect**4 / one.df for one in limited), ()


def _correlations(correlation: Sequence[Sequence[float]], size: int) -> Floats:
    R = np.asarray(correlation, dtype=np.float64)
    if R.shape != (size, size) or not np.allclose(R, R.T) or not np.allclose(np.diag(R), 1):
        raise ValueError(f"correlation must be symmetric, {size} by {size}, with ones on its diagonal")
    if (np.linalg.eigvalsh(R) < -1e-9).any():
        raise ValueError("correlation: these correlations cannot hold together")
    return R


def _finite(values: Sequence[float]) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or not np.isfinite(x).all():
        raise ValueError(f"values must be finite numbers in one row, but got {values!r:.80}")
    return x


def _positive(value: float, name: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be a finite number above 0, but got {value!r}")
    return value
