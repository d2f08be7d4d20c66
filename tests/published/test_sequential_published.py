"""Wald's lines against a published sampling plan.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.2.6 "What is a sequential sampling plan?", whose
example has p1 = 0.01, p2 = 0.10, α = 0.05, β = 0.10. The printed values stand here from memory and agree with the
handbook's own formulae. There a high count rejects a lot; here it stops for a difference. The geometry is the same.
"""

from __future__ import annotations

import pytest

from stats.sequential import _Lines

EXAMPLE = _Lines(0.01, 0.10, 0.05, 0.10)


def test_slope_and_intercepts_of_the_handbooks_example() -> None:
    # h1 = 0.9389, h2 = 1.2054, s = 0.0397 to the printed figures
    assert -EXAMPLE.lower == pytest.approx(0.9389, abs=5e-5)
    assert EXAMPLE.upper == pytest.approx(1.2054, abs=5e-5)
    assert EXAMPLE.slope == pytest.approx(0.0397, abs=5e-5)


def test_first_counts_that_stop_in_the_handbooks_table() -> None:
    # Rejection is possible from the second item on, with 2; acceptance from the 24th on, with 0.
    stops = {n: EXAMPLE.stops(n) for n in range(1, 27)}
    assert next((n, high) for n, (_low, high) in stops.items() if high <= n) == (2, 2)
    assert next((n, low) for n, (low, _high) in stops.items() if low >= 0) == (24, 0)
