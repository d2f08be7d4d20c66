"""Curves from a value to a score, and musts that are passed, failed, uncertain or not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.bench.scoring import Value, admitted, gate, score
from panel.study.measuring import Criterion

MORE = Criterion("c", "More", "m1", "mean", unit="g", worst=10, best=20)
LESS = Criterion("c", "Less", "m1", "mean", direction="less", worst=20, best=10)
NEAR = Criterion(
    "c", "Near", "m1", "mean", direction="target", curve="window", target_low=4, target_high=6, worst=2
)
SHARP = replace(NEAR, worst=None)
UP = Criterion("c", "Up", "m1", "mean", curve="stepped", steps=((10, 20), (20, 60), (30, 100)))
DOWN = Criterion(
    "c", "Down", "m1", "mean", direction="less", curve="stepped", steps=((30, 20), (20, 60), (10, 100))
)
MUST = Criterion("c", "Hot", "m1", "mean", unit="°C", must_least=57, curve="none")
BETWEEN = Criterion("c", "Fits", "m1", "mean", unit="mm", must_least=100, must_most=300, curve="none")
CHECK = Criterion("c", "Clean", "m1", "mean", direction="pass", curve="none")

SCORES = [
    (MORE, 10, 0), (MORE, 15, 50), (MORE, 20, 100), (MORE, 5, 0), (MORE, 25, 100),
    (LESS, 20, 0), (LESS, 17.5, 25), (LESS, 10, 100), (LESS, 25, 0),
    (NEAR, 4, 100), (NEAR, 5, 100), (NEAR, 6, 100), (NEAR, 3, 50), (NEAR, 7, 50), (NEAR, 2, 0), (NEAR, 99, 0),
    (SHARP, 6, 100), (SHARP, 6.1, 0), (SHARP, 3.9, 0),
    (UP, 9.9, 0), (UP, 10, 20), (UP, 19.9, 20), (UP, 20, 60), (UP, 30, 100), (UP, 99, 100),
    (DOWN, 30.1, 0), (DOWN, 30, 20), (DOWN, 20, 60), (DOWN, 10, 100), (DOWN, 0, 100),
]  # fmt: skip


def value_of(value: float | None, half: float | None = 1.0, **otherwise: object) -> Value:
    """A value with a normal spread whose 95 % interval is ± half."""
    rng = np.random.default_rng(1)
    if value is None:
        return Value(None, None, None, 0, np.full(4000, np.nan), missing="it was not measured")
    drawn = value + (half or 0) / 1.96 * rng.normal(size=4000)
    ends = (None, None) if half is None else (value - half, value + half)
    return Value(value, *ends, 3, drawn, **otherwise)  # type: ignore[arg-type]


@pytest.mark.parametrize(("criterion", "value", "expected"), SCORES)
def test_each_curve_gives_what_its_limits_say(criterion: Criterion, value: float, expected: float) -> None:
    assert score(criterion, np.array([value]))[0] == pytest.approx(expected)


@pytest.mark.parametrize("criterion", [MORE, LESS, NEAR, SHARP, UP, DOWN], ids=lambda c: c.name)
def test_what_is_not_known_has_no_score(criterion: Criterion) -> None:
    assert np.isnan(score(criterion, np.array([np.nan]))[0])


@given(st.floats(-50, 50), st.floats(-50, 50))
def test_better_never_scores_worse(one: float, other: float) -> None:
    low, high = sorted((one, other))
    for criterion in (MORE, UP):
        assert np.diff(score(criterion, np.array([low, high])))[0] >= 0
    for criterion in (LESS, DOWN):
        assert np.diff(score(criterion, np.array([low, high])))[0] <= 0


def test_a_must_alone_has_no_score() -> None:
    with pytest.raises(ValueError, match="no scoring curve"):
        score(MUST, np.array([60.0]))


GATES = [
    (MUST, value_of(60.0), "passed"), (MUST, value_of(58.0), "passed"), (MUST, value_of(57.5), "uncertain"),
    (MUST, value_of(56.5), "uncertain"), (MUST, value_of(55.0), "failed"), (MUST, value_of(57.0, 0.0), "passed"),
    (MUST, value_of(56.9, 0.0), "failed"), (MUST, value_of(None), "missing"), (MUST, value_of(90.0, None), "uncertain"),
    (BETWEEN, value_of(200.0), "passed"), (BETWEEN, value_of(300.5), "uncertain"), (BETWEEN, value_of(302.0), "failed"),
    (BETWEEN, value_of(98.0), "failed"), (BETWEEN, value_of(250.0, bound="at least"), "uncertain"),
    (MUST, value_of(60.0, bound="at least"), "passed"), (MUST, value_of(50.0, bound="at least"), "uncertain"),
    (CHECK, value_of(1.0, runs=(1.0, 1.0, 1.0)), "passed"), (CHECK, value_of(2 / 3, runs=(1.0, 0.0, 1.0)), "failed"),
]  # fmt: skip


@pytest.mark.parametrize(("criterion", "value", "outcome"), GATES)
def test_a_must_has_the_outcome_that_its_interval_allows(
    criterion: Criterion, value: Value, outcome: str
) -> None:
    found = gate(criterion, value)
    assert found.outcome == outcome
    assert found.reason.endswith(".")


def test_the_chance_of_an_uncertain_must_is_that_of_the_normal_distribution() -> None:
    """57.5 ± 1 (u = 0.51): P(x >= 57) = Phi(0.98) = 0.836, from the normal table; 4000 draws give ± 0.012."""
    assert gate(MUST, value_of(57.5)).chance == pytest.approx(0.836, abs=0.02)


def test_all_of_three_runs_passed_still_allows_many_failures() -> None:
    """Exact one-sided 95 % limit for 0 of 3: 1 - 0.05^(1/3) = 63 % (Clopper & Pearson 1934)."""
    assert "up to 63" in gate(CHECK, value_of(1.0, runs=(1.0, 1.0, 1.0))).reason


def test_a_check_is_met_in_all_draws_or_in_none() -> None:
    assert admitted(CHECK, value_of(1.0, runs=(1.0, 1.0))).all()
    assert not admitted(CHECK, value_of(0.5, runs=(1.0, 0.0))).any()


def test_a_limit_is_said_with_its_unit() -> None:
    assert gate(BETWEEN, value_of(200.0)).limit == "at least 100\u202fmm and at most 300\u202fmm"


def test_below_zero_a_real_minus_sign_is_written() -> None:
    found = gate(replace(MUST, must_least=None, must_most=-18), value_of(-20.0))
    assert found.limit == "at most −18\u202f°C"
    assert found.reason.startswith("−20.0\u202f°C (95\u202f% interval −21.0 to −19.0\u202f°C)")


def test_a_criterion_without_a_must_is_no_gate() -> None:
    with pytest.raises(ValueError, match="no must"):
        gate(MORE, value_of(15.0))
