"""Many tests at once: adjusted p-values, and how many false findings to expect without them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.phrasing import count, percent
from stats.results import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

Correction = Literal["holm", "benjamini-hochberg", "none"]
CORRECTIONS = {
    "holm": "Holm's correction",
    "benjamini-hochberg": "Benjamini and Hochberg's correction",
    "none": "no correction",
}


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """Holm's step-down adjusted p-values, in the order given: the family-wise error stays below alpha.

    p_values : any number of p-values in [0, 1]; none may be missing (ValueError).
    Source: Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    p = _checked(p_values)
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p))))
    return _in_order(stepped, order)


def benjamini_hochberg(p_values: Sequence[float]) -> tuple[float, ...]:
    """Benjamini and Hochberg's adjusted p-values: the expected share of false findings stays below alpha.

    p_values : any number of p-values in [0, 1]; none may be missing (ValueError).
    Source: Benjamini & Hochberg (1995), Journal of the Royal Statistical Society B 57, 289-300.
    """
    p = _checked(p_values)
    order = np.argsort(p, kind="stable")
    scaled = p[order] * len(p) / np.arange(1, len(p) + 1)
    stepped = np.minimum.accumulate(scaled[::-1])[::-1]
    return _in_order(stepped, order)


def adjust(p_values: Sequence[float], correction: Correction) -> tuple[float, ...]:
    """The p-values adjusted by the named correction ("none" gives them back)."""
    if correction == "holm":
        return holm(p_values)
    if correction == "benjamini-hochberg":
        return benjamini_hochberg(p_values)
    if correction == "none":
        return tuple(float(p) for p in _checked(p_values))
    raise ValueError(f"correction must be 'holm', 'benjamini-hochberg' or 'none', but got {correction!r}")


@dataclass(frozen=True, slots=True)
class FalseFindings(Result):
    """What `tests` independent tests at `alpha` bring when nothing at all differs.

    expected : mean number of false findings, tests x alpha
    any_chance : chance of at least one, 1 - (1 - alpha)^tests
    """

    tests: int
    alpha: float
    expected: float
    any_chance: float
    method: str = "expected number of false findings without correction"
    notes: tuple[str, ...] = ("the chance of at least one assumes independent tests",)

    def sentence(self) -> str:
        """One sentence for the reader."""
        return (
            f"If nothing differed at all, {count(self.tests, 'test')} at "
            f"{percent(self.alpha, 1 if self.alpha < 0.01 else 0)} each without correction would bring "
            f"{round(self.expected, 2):g} false findings on average, and at least one in "
            f"{percent(self.any_chance)} of such studies."
        )


def expected_false_findings(tests: int, *, alpha: float = 0.05) -> FalseFindings:
    """How many false findings to expect from so many uncorrected tests when nothing differs.

    tests >= 1; 0 < alpha < 1. Definition; 15 samples make 105 pairs and 5.25 false findings at 0.05.
    """
    if tests < 1:
        raise ValueError(f"tests must be at least 1, but got {tests!r}")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    return FalseFindings(tests, alpha, tests * alpha, float(-np.expm1(tests * np.log1p(-alpha))))


def _checked(p_values: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    p = np.asarray(p_values, dtype=float).reshape(-1)
    odd = np.flatnonzero(~((p >= 0) & (p <= 1)))
    if odd.size:
        raise ValueError(f"p_values: entry {odd[0] + 1} is {p[odd[0]]!r}; each must lie between 0 and 1")
    return p


def _in_order(stepped: np.ndarray, order: np.ndarray) -> tuple[float, ...]:
    back = np.empty(len(stepped))
    back[order] = np.minimum(stepped, 1.0)
    return tuple(float(p) for p in back)
