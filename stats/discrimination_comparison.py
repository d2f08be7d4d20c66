"""Comparing d' between studies, whatever discrimination method each of them used.

Heterogeneity by the chi-square of Bi, Ennis & O'Mahony 1997 (J. Sensory Studies 12:87): Σ (d'i - d̄)²/Vi with
d̄ weighted by 1/Vi, k - 1 degrees of freedom; and by the likelihood ratio, which needs no standard error and
so stands where d' is 0 or infinite. Pairs by the same two routes, adjusted by Holm's method.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.discrimination_exact import at_most, counts, log_likelihood, share
from stats.discrimination_intervals import d_prime_error, exact_scales
from stats.phrasing import count, listing, p_text, percent, significant
from stats.results import Estimate, Result
from stats.thurstone import has_d_prime, percent_correct

if TYPE_CHECKING:
    from collections.abc import Sequence

FURTHEST = 30.0  # a d' at which every method is right but for far less than one answer in a million million


@dataclass(frozen=True, slots=True)
class StudyDPrime:
    """One study's d' with exact limits and its delta-method standard error (None where undefined)."""

    name: str
    test: str
    correct: int
    n: int
    d_prime: Estimate
    error: float | None


@dataclass(frozen=True, slots=True)
class DPrimePair:
    """Two studies: difference of d' (first minus second; None where infinite) with profile-likelihood limits (None
    on a side without one); likelihood-ratio p, as it is and adjusted over all pairs (Holm)."""

    first: str
    second: str
    difference: Estimate
    p_value: float
    p_adjusted: float
    significant: bool


@dataclass(frozen=True, slots=True)
class DPrimeComparison(Result):
    """Whether several studies share one d'.

    studies, pairs : each study, each pair
    chi_square, df, chi_square_p : heterogeneity by standard errors; None where one of them is undefined
    likelihood_ratio, likelihood_ratio_p : heterogeneity by likelihood, always there
    statistic, p_value : the chi-square where it exists, else the likelihood ratio (`method` says which)
    shared : the one d' that fits all studies best, with profile-likelihood limits
    """

    studies: tuple[StudyDPrime, ...]
    pairs: tuple[DPrimePair, ...]
    alpha: float
    confidence: float
    chi_square: float | None
    chi_square_p: float | None
    likelihood_ratio: float
    likelihood_ratio_p: float
    statistic: float
    df: int
    p_value: float
    significant: bool
    shared: Estimate
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Whether the studies differ, and which pairs do."""
        each = listing([f"{study.name} {_d_text(study.d_prime)}" for study in self.studies])
        if self.significant:
            apart = [f"{pair.first} and {pair.second}" for pair in self.pairs if pair.significant]
            which = (
                f"; apart after Holm's adjustment: {listing(apart)}"
                if apart
                else "; no single pair stands out"
            )
            studies = count(len(self.studies), "study", "studies")
            return f"d' differs between {studies} ({p_text(self.p_value)}): {each}{which}."
        ends = [end for pair in self.pairs for end in (pair.difference.low, pair.difference.high)]
        reach = "any difference fits the data"
        if None not in ends:
            widest = max(abs(end) for end in ends if end is not None)
            reach = f"differences of up to {significant(widest, 2)} fit the data"
        return (
            f"A difference in d' between {each} was not shown ({p_text(self.p_value)}). That does not show that "
            f"they are equal: {reach} ({percent(self.confidence)} intervals)."
        )


def compare_d_primes(
    studies: Sequence[tuple[str, str, int, int]], *, alpha: float = 0.05, confidence: float = 0.95
) -> DPrimeComparison:
    """Compare d' between independent studies of any forced-choice method.

    studies : at least two of (name, method, correct, n), names distinct; one answer per taster
    alpha, confidence : 0..1
    Raises ValueError for impossible counts, equal names, or two-out-of-five (no d').
    Source: Bi, Ennis & O'Mahony 1997; likelihood ratio: Wilks 1938.
    """
    from itertools import combinations

    from scipy.special import chdtrc

    checked = _checked(studies)
    share(alpha, "alpha")
    share(confidence, "confidence")
    each = tuple(_study(*study, confidence) for study in checked)
    ratio = _likelihood_ratio(each)
    df = len(each) - 1
    chi_square = _heterogeneity(each)
    pairs = _with_holm([_pair(one, two, confidence) for one, two in combinations(each, 2)], alpha)
    ratio_p = float(chdtrc(df, ratio))
    chi_square_p = None if chi_square is None else float(chdtrc(df, chi_square))
    p_value = ratio_p if chi_square_p is None else chi_square_p
    return DPrimeComparison(
        studies=each,
        pairs=pairs,
        alpha=alpha,
        confidence=confidence,
        chi_square=chi_square,
        chi_square_p=chi_square_p,
        likelihood_ratio=ratio,
        likelihood_ratio_p=ratio_p,
        statistic=ratio if chi_square is None else chi_square,
        df=df,
        p_value=p_value,
        significant=bool(at_most(p_value, alpha)),
        shared=_shared(each, confidence),
        method=f"{'Likelihood-ratio' if chi_square is None else 'Chi-square'} test of one d'; pairs by likelihood",
        notes=_notes(chi_square is None),
    )


def _checked(studies: Sequence[tuple[str, str, int, int]]) -> list[tuple[str, str, int, int]]:
    if len(studies) < 2:
        raise ValueError(f"studies must hold at least two, but holds {len(studies)}")
    checked = [(str(name), method, *counts(correct, n)) for name, method, correct, n in studies]
    names = [name for name, *_ in checked]
    if len(set(names)) < len(names):
        raise ValueError(f"studies must have distinct names, but got {names!r}")
    for _, method, _, _ in checked:
        if not has_d_prime(method):
            raise ValueError(
                f"method {method!r} has no agreed Thurstonian model, so its d' cannot be compared"
            )
    return checked


def _study(name: str, method: str, correct: int, n: int, confidence: float) -> StudyDPrime:
    d = exact_scales(method, correct, n, confidence, "two-sided")[2]
    assert d is not None
    return StudyDPrime(name, method, correct, n, d, d_prime_error(method, correct, n))


def _heterogeneity(studies: Sequence[StudyDPrime]) -> float | None:
    weights, values = [], []
    for study in studies:
        if study.error is None or study.d_prime.estimate is None:
            return None
        weights.append(1 / study.error**2)
        values.append(study.d_prime.estimate)
    mean = math.fsum(w * d for w, d in zip(weights, values, strict=True)) / math.fsum(weights)
    return math.fsum(w * (d - mean) ** 2 for w, d in zip(weights, values, strict=True))


def _log(studies: Sequence[StudyDPrime], d: float) -> float:
    """Log likelihood of one d' for all studies."""
    total = 0.0
    for study in studies:
        pc = min(float(percent_correct(study.test, d)), 1 - 2**-53)
        total += log_likelihood(study.correct, study.n, pc)
    return total


def _best(studies: Sequence[StudyDPrime]) -> tuple[float, float]:
    """The common d' and its log likelihood: one hump between the smallest and the largest d'."""
    from scipy.optimize import minimize_scalar

    values = [FURTHEST if study.d_prime.estimate is None else study.d_prime.estimate for study in studies]
    low, high = min(values), max(values)
    ends = [(d, _log(studies, d)) for d in (low, high)]
    if high > low:
        found = minimize_scalar(
            lambda d: -_log(studies, d), bounds=(low, high), method="bounded", options={"xatol": 1e-10}
        )
        ends.append((float(found.x), -float(found.fun)))
    return max(ends, key=lambda end: end[1])


def _likelihood_ratio(studies: Sequence[StudyDPrime]) -> float:
    free = math.fsum(_best([study])[1] for study in studies)
    return max(0.0, 2 * (free - _best(studies)[1]))


def _shared(studies: Sequence[StudyDPrime], confidence: float) -> Estimate:
    from scipy.optimize import brentq
    from scipy.special import chdtri

    d, top = _best(studies)
    cut = float(chdtri(1, 1 - confidence))

    def excess(at: float) -> float:
        return 2 * (top - _log(studies, at)) - cut

    low = 0.0 if d == 0 or excess(0.0) <= 0 else float(brentq(excess, 0.0, d))
    high = None if d >= FURTHEST or excess(FURTHEST) <= 0 else float(brentq(excess, d, FURTHEST))
    return Estimate(d if d < FURTHEST else None, low, high, confidence, "two-sided", "profile likelihood")


def _pair(one: StudyDPrime, two: StudyDPrime, confidence: float) -> DPrimePair:
    from scipy.special import chdtrc

    gap = None
    if one.d_prime.estimate is not None and two.d_prime.estimate is not None:
        gap = one.d_prime.estimate - two.d_prime.estimate
    p_value = float(chdtrc(1, _likelihood_ratio([one, two])))
    difference = Estimate(
        gap, *_gap_limits(one, two, confidence), confidence, "two-sided", "profile likelihood"
    )
    return DPrimePair(one.name, two.name, difference, p_value, p_value, False)


def _gap_limits(one: StudyDPrime, two: StudyDPrime, confidence: float) -> tuple[float | None, float | None]:
    """Limits of d'one - d'two, profiling the level out; None on a side where no finite limit exists."""
    from scipy.optimize import brentq, minimize_scalar
    from scipy.special import chdtri

    cut = float(chdtri(1, 1 - confidence))
    (first, top_one), (second, top_two) = _best([one]), _best([two])

    def excess(gap: float) -> float:
        least = max(0.0, -gap)  # both distances stay at or above 0

        def loss(d: float) -> float:
            return -_log([one], d + gap) - _log([two], d)

        bounds = (least, max(least, first, second) + abs(gap) + 1e-6)
        found = minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-7})
        lost = min(float(found.fun), loss(least), loss(max(least, second)))
        return 2 * (top_one + top_two + lost) - cut

    best = first - second
    low = None if excess(-FURTHEST) <= 0 else float(brentq(excess, -FURTHEST, best, xtol=1e-6))
    high = None if excess(FURTHEST) <= 0 else float(brentq(excess, best, FURTHEST, xtol=1e-6))
    return low, high


def _with_holm(pairs: Sequence[DPrimePair], alpha: float) -> tuple[DPrimePair, ...]:
    """Holm's step-down adjustment over all pairs."""
    from dataclasses import replace

    adjusted, worst = [0.0] * len(pairs), 0.0
    for rank, i in enumerate(sorted(range(len(pairs)), key=lambda i: pairs[i].p_value)):
        worst = max(worst, min(1.0, (len(pairs) - rank) * pairs[i].p_value))
        adjusted[i] = worst
    return tuple(
        replace(pair, p_adjusted=p, significant=bool(at_most(p, alpha)))
        for pair, p in zip(pairs, adjusted, strict=True)
    )


def _notes(by_likelihood: bool) -> tuple[str, ...]:
    notes = ["Assumes independent studies with one answer per taster; d' limits of each study are exact."]
    if by_likelihood:
        notes.append(
            "A d' of 0 or without finite estimate has no standard error, so the likelihood ratio is reported."
        )
    return tuple(notes)


def _d_text(d: Estimate) -> str:
    if d.estimate is None:
        return f"at least {significant(d.low or 0.0, 2)}"
    top = "" if d.high is None else significant(d.high, 2)
    return f"{significant(d.estimate, 2)} ({percent(d.confidence)} interval {significant(d.low or 0.0, 2)} to {top})"
