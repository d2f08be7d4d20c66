"""A-not-A (ISO 8588) and same-different tests: two proportions, a criterion, and a d' between the samples.

A-not-A: P("A" | A) = Φ(d' - c), P("A" | not A) = Φ(-c), so d' = z(hits) - z(false alarms).
Same-different, differencing rule: P("same" | same) = 2Φ(τ/√2) - 1 and
P("same" | different) = Φ((τ - d')/√2) - Φ((-τ - d')/√2) (Macmillan & Creelman 2005, ch. 9).
The difference is tested exactly (Fisher, one-sided); d' has profile-likelihood limits over the criterion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stats.discrimination_exact import at_most, counts, exact_limits, share
from stats.phrasing import p_text, percent, significant
from stats.results import Estimate, Result

PROFILE = "profile likelihood over the criterion"
EXACT = "exact (Clopper-Pearson)"
FURTHEST = 20.0  # d' beyond which no proportion can be told from 1


@dataclass(frozen=True, slots=True)
class TwoProductTest(Result):
    """Whether two kinds of servings are answered differently.

    test : "A-not-A" or "same-different"; target_yes of target_n, other_yes of other_n : answers "A" to A and to
        not-A, or answers "different" to different and to same pairs
    p_value : Fisher's exact test, one-sided (the target gets more yes)
    target_rate, other_rate : proportions with exact two-sided limits
    d_prime : two-sided limits; estimate None where it is infinite; 0 where the target gets no more yes
    d_prime_upper : one-sided upper limit, what a null result could have missed
    d_prime_error : delta-method standard error; None where undefined
    criterion : c of A-not-A, τ of same-different; None where infinite
    chi_square, chi_square_corrected (Yates) with two-sided p : as ISO 8588 computes; None for a column of zeros
    """

    test: str
    target_yes: int
    target_n: int
    other_yes: int
    other_n: int
    alpha: float
    confidence: float
    p_value: float
    significant: bool
    target_rate: Estimate
    other_rate: Estimate
    d_prime: Estimate
    d_prime_upper: Estimate
    d_prime_error: float | None
    criterion: float | None
    chi_square: float | None
    chi_square_p: float | None
    chi_square_corrected: float | None
    chi_square_corrected_p: float | None
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The two rates, p and d', or the d' that could have been missed."""
        answer, target, other = _WORDS[self.test]
        said = (
            f"{self.target_yes} of {self.target_n} {target} and {self.other_yes} of {self.other_n} {other} were "
            f"called {answer}"
        )
        if self.significant:
            return f"{said}: they are told apart ({p_text(self.p_value)}; {_distance(self.d_prime)})."
        top = self.d_prime_upper.high
        limit = "has no upper limit here" if top is None else f"might be up to {significant(top, 2)}"
        return (
            f"{said}; a difference was not shown ({p_text(self.p_value)}). This is no evidence that the samples are "
            f"the same: d' {limit} (one-sided {percent(self.confidence)} limit)."
        )


_WORDS = {
    "A-not-A": ('"A"', "servings of A", "servings of not-A"),
    "same-different": ('"different"', "different pairs", "same pairs"),
}


def a_not_a_test(
    hits: int,
    a_servings: int,
    false_alarms: int,
    not_a_servings: int,
    *,
    alpha: float = 0.05,
    confidence: float = 0.95,
) -> TwoProductTest:
    """A-not-A test: are servings of A called "A" more often than servings of not-A?

    hits, a_servings : answers "A" among the servings of A; false_alarms, not_a_servings : among those of not-A
    Every answer must come from another taster (or be taken as independent); missing answers are left out.
    Raises ValueError for impossible counts. Source: ISO 8588; Bi & Ennis 2001, J. Sensory Studies 16:215.
    """
    return _test("A-not-A", counts(hits, a_servings), counts(false_alarms, not_a_servings), alpha, confidence)


def same_different_test(
    different_called_different: int,
    different_pairs: int,
    same_called_different: int,
    same_pairs: int,
    *,
    alpha: float = 0.05,
    confidence: float = 0.95,
) -> TwoProductTest:
    """Same-different test: are different pairs called "different" more often than same pairs?

    Counts of answers "different" and of pairs. Every answer must come from another taster (or be taken as
    independent); missing answers are left out. Raises ValueError for impossible counts.
    Source: Macmillan, Kaplan & Creelman 1977, Psychological Review 84:452; ASTM E2139.
    """
    target = counts(different_called_different, different_pairs)
    return _test("same-different", target, counts(same_called_different, same_pairs), alpha, confidence)


def _test(
    test: str, target: tuple[int, int], other: tuple[int, int], alpha: float, confidence: float
) -> TwoProductTest:
    share(alpha, "alpha")
    share(confidence, "confidence")
    fit = _Fit(test, target, other)
    tail = (1 - confidence) / 2
    p_value = fisher_upper(*target, *other)
    low, high = fit.limits(confidence)
    plain, corrected = _chi_square(target, other, 0.0), _chi_square(target, other, 0.5)

    def rate(x: int, n: int) -> Estimate:
        return Estimate(x / n, *exact_limits(x, n, tail, tail), confidence, "two-sided", EXACT)

    return TwoProductTest(
        test=test,
        target_yes=target[0],
        target_n=target[1],
        other_yes=other[0],
        other_n=other[1],
        alpha=alpha,
        confidence=confidence,
        p_value=p_value,
        significant=bool(at_most(p_value, alpha)),
        target_rate=rate(*target),
        other_rate=rate(*other),
        d_prime=Estimate(fit.d_prime, low, high, confidence, "two-sided", PROFILE),
        d_prime_upper=Estimate(
            fit.d_prime, None, fit.limits(2 * confidence - 1)[1], confidence, "upper", PROFILE
        ),
        d_prime_error=fit.error(),
        criterion=fit.criterion,
        chi_square=plain[0],
        chi_square_p=plain[1],
        chi_square_corrected=corrected[0],
        chi_square_corrected_p=corrected[1],
        method=f"Fisher's exact test, one-sided ({test}); d' by maximum likelihood",
        notes=_notes(test, target, other),
    )


def fisher_upper(target_yes: int, target_n: int, other_yes: int, other_n: int) -> float:
    """P(at least so many of all yes answers fall to the target | both kinds are answered alike)."""
    from scipy.stats import hypergeom

    return min(1.0, float(hypergeom.sf(target_yes - 1, target_n + other_n, target_n, target_yes + other_yes)))


def rates_at(test: str, d: float, criterion: float) -> tuple[float, float]:
    """P(yes | target) and P(yes | other) at a d' and a criterion (c of A-not-A, τ of same-different)."""
    from scipy.special import ndtr

    if test == "A-not-A":
        return float(ndtr(d - criterion)), float(ndtr(-criterion))
    width = criterion / math.sqrt(2)
    shift = d / math.sqrt(2)
    return float(ndtr(shift - width) + ndtr(-width - shift)), float(2 * ndtr(-width))


class _Fit:
    """Maximum likelihood of d' >= 0 and the criterion, and limits by profiling the criterion out."""

    def __init__(self, test: str, target: tuple[int, int], other: tuple[int, int]) -> None:
        self.test, self.target, self.other = test, target, other
        high, low = target[0] / target[1], other[0] / other[1]
        if high <= low:  # no distance: one common rate
            high = low = (target[0] + other[0]) / (target[1] + other[1])
        self.best = _log(target, high) + _log(other, low)
        self.alike = high == low
        self.criterion = _criterion(test, low)
        self.d_prime = 0.0 if self.alike else self._distance(high)

    def _distance(self, high: float) -> float | None:
        """d' that gives the target its own rate; None where no finite one does."""
        from scipy.optimize import brentq
        from scipy.special import ndtri

        criterion = self.criterion
        if criterion is None or high >= 1:
            return None
        if self.test == "A-not-A":
            return float(ndtri(high)) + criterion
        return float(brentq(lambda d: rates_at(self.test, d, criterion)[0] - high, 0, FURTHEST, xtol=1e-12))

    def deviance(self, d: float) -> float:
        """Twice the log likelihood lost by fixing d', the criterion at its best for that d'."""
        from scipy.optimize import minimize_scalar

        def loss(criterion: float) -> float:
            target, other = rates_at(self.test, d, criterion)
            return -_log(self.target, target) - _log(self.other, other)

        bounds = (-9.0, 9.0 + d) if self.test == "A-not-A" else (1e-9, 12.0 + d)
        found = minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-9})
        return 2 * (self.best + float(found.fun))

    def limits(self, confidence: float) -> tuple[float, float | None]:
        """Profile-likelihood limits; the upper one is None where the data set none."""
        from scipy.optimize import brentq
        from scipy.special import chdtri

        cut = float(chdtri(1, 1 - max(confidence, 1e-9)))

        def excess(d: float) -> float:
            return self.deviance(d) - cut

        top = FURTHEST if self.d_prime is None else self.d_prime
        low = 0.0 if top == 0 or excess(0.0) <= 0 else float(brentq(excess, 0.0, top, xtol=1e-8))
        if self.d_prime is None or excess(FURTHEST) <= 0:
            return low, None
        return low, float(brentq(excess, self.d_prime, FURTHEST, xtol=1e-8))

    def error(self) -> float | None:
        """Delta-method standard error of d'; None at 0 (same-different has slope 0 there) and at infinity."""
        if not self.d_prime or self.criterion is None:
            return None
        step = 1e-5
        base = (self.d_prime, self.criterion)
        slopes = []
        for bump in ((step, 0.0), (0.0, step)):
            up = rates_at(self.test, base[0] + bump[0], base[1] + bump[1])
            down = rates_at(self.test, base[0] - bump[0], base[1] - bump[1])
            slopes.append([(u - v) / (2 * step) for u, v in zip(up, down, strict=True)])
        (target_d, other_d), (target_c, other_c) = slopes
        determinant = target_d * other_c - target_c * other_d
        pull = (other_c / determinant, -target_c / determinant)
        variance = sum(
            k * k * (x / n) * (1 - x / n) / n
            for k, (x, n) in zip(pull, (self.target, self.other), strict=True)
        )
        return math.sqrt(variance)


def _criterion(test: str, rate: float) -> float | None:
    from scipy.special import ndtri

    if not 0 < rate < 1:
        return None
    return float(-ndtri(rate)) if test == "A-not-A" else float(-math.sqrt(2) * ndtri(rate / 2))


def _log(cell: tuple[int, int], rate: float) -> float:
    x, n = cell
    rate = min(max(rate, 1e-300), 1 - 2**-53)
    return (x * math.log(rate) if x else 0.0) + ((n - x) * math.log1p(-rate) if x < n else 0.0)


def _chi_square(
    target: tuple[int, int], other: tuple[int, int], correction: float
) -> tuple[float | None, float | None]:
    """Pearson's chi-square of the two-by-two table, with Yates' correction of 0.5 or none."""
    from scipy.special import chdtrc

    a, b = target[0], target[1] - target[0]
    c, d = other[0], other[1] - other[0]
    n, yes, no = a + b + c + d, a + c, b + d
    if yes == 0 or no == 0:
        return None, None
    gap = max(0.0, abs(a * d - b * c) - correction * n)
    value = n * gap * gap / ((a + b) * (c + d) * yes * no)
    return value, float(chdtrc(1, value))


def _notes(test: str, target: tuple[int, int], other: tuple[int, int]) -> tuple[str, ...]:
    notes = ["Assumes independent answers; answers of the same taster to several servings are not."]
    if target[0] * other[1] <= other[0] * target[1]:
        notes.append(
            f"The target was not called {_WORDS[test][0]} more often than the other: d' is held at 0."
        )
    if test == "same-different":
        notes.append("d' assumes that tasters compare by differencing, with one criterion for all.")
    if other[0] in (0, other[1]) or target[0] in (0, target[1]):
        notes.append(
            "A rate of 0 or 1 leaves d' or the criterion without a finite estimate; the limits still hold."
        )
    return tuple(notes)


def _distance(d: Estimate) -> str:
    if d.estimate is None:
        return f"d' at least {significant(d.low or 0.0, 2)}"
    top = "no upper limit" if d.high is None else significant(d.high, 2)
    span = f"{percent(d.confidence)} interval {significant(d.low or 0.0, 2)} to {top}"
    return f"d' = {significant(d.estimate, 2)}, {span}"
