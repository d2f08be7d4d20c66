"""Numbers and lists as people read them. Rounding for sentences happens here and nowhere else."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def p_text(p: float) -> str:
    """A p-value as "p = 0.032" or "p < 0.0001"; never rounded across a usual alpha.

    p in [0, 1]. Two significant digits, three where two would round to 0.05, 0.01, 0.001 or 0.10
    from the other side (p = 0.0499 stays 0.0499).
    """
    if not 0 <= p <= 1:
        raise ValueError(f"p must lie between 0 and 1, but got {p!r}")
    if p < 0.0001:
        return "p < 0.0001"
    if 0.9999 < p < 1:
        return "p > 0.9999"
    for digits in (2, 3, 4, 5, 6):
        text = significant(p, digits)
        crossed = any((p < edge) != (float(text) < edge) for edge in (0.1, 0.05, 0.01, 0.001, 1.0))
        if not crossed:
            return f"p = {text}"
    return f"p = {p!r}"


def significant(value: float, digits: int = 3) -> str:
    """`value` with so many significant digits, in plain decimals (never 1e-05)."""
    if not math.isfinite(value):
        return "not defined"
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f}"


def percent(share: float, decimals: int = 0) -> str:
    """A share 0..1 as "37 %", with a thin no-break space."""
    return f"{100 * share:.{decimals}f}\u202f%"


def count(number: int, singular: str, plural: str | None = None) -> str:
    """ "1 taster", "24 tasters"."""
    return f"{number} {singular if number == 1 else plural or singular + 's'}"


def listing(items: Sequence[str], last: str = "and") -> str:
    """ "A", "A and B", "A, B and C"."""
    if len(items) <= 1:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"
