"""From a value to a score of 0 to 100, and from a value with its interval to a must passed, failed or uncertain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from panel.study.measuring import Criterion

    Floats = NDArray[np.float64]

Outcome = Literal["passed", "failed", "uncertain", "missing"]
# Limits that were converted between units may differ in the last digits; a value on its limit is still on it.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Value:
    """What one product gives for one criterion.

    value : None where there is none, with the reason in `missing`; low, high : its 95 % interval, None where
        nothing is known of its uncertainty; n : tasters or valid runs behind it
    drawn : (draws,) of the value over its uncertainty; bound : "at least" where the true value may be greater
    runs : each valid run's own value, of a measurement; flags : what is to be read with care
    """

    value: float | None
    low: float | None
    high: float | None
    n: int
    drawn: Floats
    bound: Literal["", "at least"] = ""
    missing: str = ""
    runs: tuple[float, ...] = ()
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Gate:
    """One must of one product.

    outcome : "uncertain" where the interval spans the limit, or nothing is known of the uncertainty
    chance : share of draws that pass, None where it cannot be had; limit : in words; reason : one sentence
    """

    criterion: str
    name: str
    outcome: Outcome
    chance: float | None
    value: float | None
    low: float | None
    high: float | None
    unit: str
    limit: str
    reason: str


def score(criterion: Criterion, values: Floats) -> Floats:
    """The score of each value by the criterion's curve, 0 to 100; not-a-number stays. ValueError where only a must."""
    x = np.asarray(values, dtype=float)
    if criterion.curve == "linear" and criterion.worst is not None and criterion.best is not None:
        share = (x - criterion.worst) / (criterion.best - criterion.worst)
    elif (
        criterion.curve == "window" and criterion.target_low is not None and criterion.target_high is not None
    ):
        share = _nearness(criterion, x)
    elif criterion.curve == "stepped" and criterion.steps:
        return _stepped(criterion, x)
    else:
        raise ValueError(f"criterion {criterion.name!r} has no scoring curve")
    found: Floats = 100.0 * np.clip(share, 0.0, 1.0)
    return found


def admitted(criterion: Criterion, value: Value) -> NDArray[np.bool_]:
    """Whether the must is met in each draw; in all of them where it does not rest on an uncertain value."""
    if criterion.direction == "pass":
        passed = bool(value.runs) and all(run >= 1 - ROUNDING for run in value.runs)
        return np.full(value.drawn.shape, passed)
    return _inside(criterion, value.drawn)


def gate(criterion: Criterion, value: Value) -> Gate:
    """Whether the product meets the criterion's must. ValueError for a criterion without one."""
    if not criterion.a_must:
        raise ValueError(f"criterion {criterion.name!r} has no must")
    if value.value is None:
        outcome, chance, reason = _absent(value)
    elif criterion.direction == "pass":
        outcome, chance, reason = _checked(value)
    else:
        outcome, chance, reason = _measured(criterion, value)
    return Gate(
        criterion=criterion.key,
        name=criterion.name,
        outcome=outcome,
        chance=chance,
        value=value.value,
        low=value.low,
        high=value.high,
        unit=criterion.unit,
        limit=limit_words(criterion),
        reason=reason,
    )


def limit_words(criterion: Criterion) -> str:
    """The must in words: "at least 57 °C"."""
    if criterion.direction == "pass":
        return "every valid run passed"
    unit = f"\u202f{criterion.unit}" if criterion.unit else ""
    ends = [
        f"{word} {_minus(f'{limit:g}')}{unit}"
        for word, limit in (("at least", criterion.must_least), ("at most", criterion.must_most))
        if limit is not None
    ]
    return " and ".join(ends)


def value_words(value: float, low: float | None, high: float | None, unit: str) -> str:
    """A value with its interval: "61.2 °C (95 % interval 60.1 to 62.3 °C)"."""
    unit = f"\u202f{unit}" if unit else ""
    said = f"{_minus(significant(value))}{unit}"
    if low is None or high is None or high - low <= _dust(value):
        return said
    return f"{said} (95\u202f% interval {_minus(significant(low))} to {_minus(significant(high))}{unit})"


def _minus(number: str) -> str:
    """A number with a real minus sign."""
    return number.replace("-", "−")


def _nearness(criterion: Criterion, x: Floats) -> Floats:
    """1 inside the window, falling to 0 at the distance `worst` from it."""
    low, high = criterion.target_low or 0.0, criterion.target_high or 0.0
    distance = np.maximum(np.maximum(low - x, x - high), 0.0)
    distance = np.where(distance <= _dust(low, high), 0.0, distance)
    if criterion.worst is None:
        return np.where(np.isnan(x), np.nan, np.where(distance > 0, 0.0, 1.0))
    nearness: Floats = 1.0 - distance / criterion.worst
    return nearness


def _stepped(criterion: Criterion, x: Floats) -> Floats:
    found = np.where(np.isnan(x), np.nan, 0.0)
    for limit, points in criterion.steps:
        dust = _dust(limit)
        reached = x >= limit - dust if criterion.direction == "more" else x <= limit + dust
        found = np.where(reached, points, found)
    return found


def _inside(criterion: Criterion, x: Floats) -> NDArray[np.bool_]:
    return _enough(criterion, x) & _not_too_much(criterion, x)


def _enough(criterion: Criterion, x: Floats) -> NDArray[np.bool_]:
    least = criterion.must_least
    return np.ones(x.shape, dtype=bool) if least is None else np.asarray(x >= least - _dust(least))


def _not_too_much(criterion: Criterion, x: Floats) -> NDArray[np.bool_]:
    most = criterion.must_most
    return np.ones(x.shape, dtype=bool) if most is None else np.asarray(x <= most + _dust(most))


def _dust(*limits: float) -> float:
    return ROUNDING * max(1.0, *map(abs, limits))


def _absent(value: Value) -> tuple[Outcome, float | None, str]:
    return "missing", None, f"Nothing is known: {value.missing}."


def _checked(value: Value) -> tuple[Outcome, float | None, str]:
    passed = sum(run >= 1 - ROUNDING for run in value.runs)
    n = len(value.runs)
    if passed < n:
        return "failed", 0.0, f"{n - passed} of {n} valid runs failed."
    # Exact one-sided 95 % limit when all of n pass (Clopper & Pearson 1934): 1 - 0.05^(1/n).
    still = percent(1 - 0.05 ** (1 / n))
    runs = "The only valid run" if n == 1 else f"All {n} valid runs"
    return "passed", 1.0, f"{runs} passed; that alone still allows failures in up to {still} of uses."


def _measured(criterion: Criterion, value: Value) -> tuple[Outcome, float | None, str]:
    assert value.value is not None
    found = value_words(value.value, value.low, value.high, criterion.unit)
    said = f"{found}, where {limit_words(criterion)} is asked for"
    if value.bound and not (criterion.must_most is None and _all_inside(criterion, value.value)):
        return "uncertain", None, f"At least {said}; where it ends was not measured."
    if value.low is None or value.high is None:
        near = "meets" if _all_inside(criterion, value.value) else "misses"
        return "uncertain", None, f"{said}: it {near} that, but nothing is known of its uncertainty."
    chance = float(_inside(criterion, value.drawn).mean())
    if _all_inside(criterion, value.low, value.high):
        return "passed", chance, f"{said}."
    if _all_outside(criterion, value.low, value.high):
        return "failed", 0.0, f"{said}."
    return "uncertain", chance, f"{said}: the interval reaches over the limit."


def _all_inside(criterion: Criterion, *ends: float) -> bool:
    return bool(_inside(criterion, np.array(ends)).all())


def _all_outside(criterion: Criterion, low: float, high: float) -> bool:
    """Whether the whole interval lies on the wrong side of one limit."""
    return not (_enough(criterion, np.array(high)).all() and _not_too_much(criterion, np.array(low)).all())
