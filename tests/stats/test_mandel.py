"""Mandel's h and k: against printed limits, against chance itself, and at the edges."""

from __future__ import annotations

import numpy as np
import pytest

from stats.mandel import h_limit, k_limit, mandel

# Indicators of Mandel's h at 1 % and 5 %, ISO 5725-2:1994, tables 6 and 7; quoted from memory.
H = {
    3: (1.15, 1.15),
    4: (1.49, 1.42),
    5: (1.72, 1.57),
    6: (1.87, 1.66),
    8: (2.06, 1.75),
    10: (2.18, 1.80),
    30: (2.45, 1.91),
}


@pytest.mark.parametrize(("p", "limits"), H.items())
def test_the_limits_of_h_are_the_printed_ones(p: int, limits: tuple[float, float]) -> None:
    assert (h_limit(p, 0.01), h_limit(p, 0.05)) == pytest.approx(limits, abs=0.0051)


def test_the_limits_are_exceeded_as_often_as_they_say() -> None:
    """40,000 panels of 6 with 4 degrees of freedom each: at 5 % four standard errors are 0.0018."""
    draw = np.random.default_rng(20260301)
    levels = draw.normal(size=(40_000, 6))
    h = (levels - levels.mean(axis=1, keepdims=True)) / levels.std(axis=1, ddof=1, keepdims=True)
    variances = draw.chisquare(4, size=(40_000, 6))
    k = np.sqrt(variances / variances.mean(axis=1, keepdims=True))
    for alpha in (0.05, 0.01):
        within = 4 * np.sqrt(alpha * (1 - alpha) / 240_000) * 1.5
        assert np.mean(np.abs(h) > h_limit(6, alpha)) == pytest.approx(alpha, abs=within)
        assert np.mean(k > k_limit(6, 4, alpha)) == pytest.approx(alpha, abs=within)


def test_figures_by_hand_and_who_lies_outside() -> None:
    levels = {"T01": 5.0, "T02": 5.1, "T03": 4.9, "T04": 5.0, "T05": 8.0}
    spreads = dict.fromkeys(levels, (1.0, 6)) | {"T02": (3.0, 6)}
    found = mandel(levels, spreads)
    sd = np.std(list(levels.values()), ddof=1)
    assert found.of("T05").h == pytest.approx((8.0 - 5.6) / sd)
    assert found.of("T02").k == pytest.approx(3.0 / np.sqrt((4 * 1.0 + 9.0) / 5))
    assert found.outside("T05") == ("level",)
    assert found.outside("T05", action=True) == ("level",)
    assert found.outside("T02") == ("spread",)
    assert found.outside("T01") == ()
    assert "T02 and T05 lie beyond" in found.sentence()
    assert found.to_dict()["h_warning"] == pytest.approx(h_limit(5, 0.05))


def test_without_equal_repeats_there_is_no_k() -> None:
    levels = {"a": 1.0, "b": 2.0, "c": 4.0}
    for spreads in (
        None,
        {"a": (1.0, 3)},
        {"a": (1.0, 3), "b": (1.0, 2), "c": (1.0, 3)},
        dict.fromkeys("abc", (0.0, 3)),
    ):
        found = mandel(levels, spreads)
        assert (found.k_warning, found.repeats, found.of("a").k) == (None, 0, None)
        assert found.sentence().startswith("Of 3 tasters none")


@pytest.mark.parametrize(
    ("levels", "said"),
    [({"a": 1.0, "b": 2.0}, "at least 3 tasters"), (dict.fromkeys("abc", 5.0), "all the same")],
)
def test_too_few_or_equal_levels_are_refused(levels: dict[str, float], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        mandel(levels)
