"""Difference and similarity tests of the forced-choice methods, exact.

Triangle (ISO 4120), duo-trio (ISO 10399), paired comparison or 2-AFC (ISO 5495), 3-AFC, tetrad and
two-out-of-five (ISO 6658). One answer per taster; for repeated answers see `replicated_test`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats import discrimination_wording as wording
from stats.discrimination_exact import (
    at_most,
    counts,
    critical_correct,
    critical_similar,
    lower_tail,
    share,
    share_correct,
    upper_tail,
)
from stats.discrimination_intervals import d_prime_error, exact_scales, likelihood_scales
from stats.results import Result
from stats.thurstone import guess_probability, has_d_prime

if TYPE_CHECKING:
    from stats.results import Estimate

NO_D_PRIME = "d' is not given: two-out-of-five has no agreed Thurstonian model."
BELOW_CHANCE = (
    "No more correct answers than guessing would give: the share of discriminators and d' are held at 0."
)
ALL_CORRECT = "Every answer is correct: d' has no finite estimate and no upper limit, only a lower one."
MISLED = (
    "Fewer correct answers than guessing explains (p = {p:.2g} below chance): check for mixed-up samples, codes "
    "or instructions."
)


@dataclass(frozen=True, slots=True)
class DifferenceTest(Result):
    """Whether more tasters answered correctly than guessing explains.

    test, correct, n, alpha, confidence, two_sided : as given
    p_value : exact P(at least `correct` right | all guess); two-sided: twice the smaller tail
    critical_value : least number correct that concludes a difference; None where n cannot reach alpha
    pc, pd, d_prime : with exact two-sided limits; d_prime.estimate is None when all are correct, and
        d_prime is None for two-out-of-five
    pd_lower, pd_upper : exact one-sided limits; pd_upper is what a null result could have missed; two-sided tests
        give pd_lower at (1 + confidence) / 2
    pd_likelihood, d_prime_likelihood : the same estimates with profile-likelihood limits
    d_prime_error : standard error of d' (delta method), None where undefined
    """

    test: str
    correct: int
    n: int
    alpha: float
    confidence: float
    two_sided: bool
    p_value: float
    critical_value: int | None
    significant: bool
    pc: Estimate
    pd: Estimate
    d_prime: Estimate | None
    pd_lower: Estimate
    pd_upper: Estimate
    pd_likelihood: Estimate
    d_prime_likelihood: Estimate | None
    d_prime_error: float | None
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """What was found, or what could have been missed."""
        said = wording.of_tasters(self.correct, self.n, self.test, two_sided=self.two_sided)
        if self.significant:
            return wording.difference_found(
                said, self.p_value, self.pd, self.pd_lower, self.d_prime, two_sided=self.two_sided
            )
        unattainable = self.alpha if self.critical_value is None else None
        return wording.difference_not_shown(said, self.p_value, self.pd_upper, unattainable=unattainable)


@dataclass(frozen=True, slots=True)
class SimilarityTest(Result):
    """Whether so few tasters answered correctly that a stated share of discriminators is ruled out.

    test, correct, n, pd_limit, beta, confidence : as given
    p_value : exact P(at most `correct` right | a share pd_limit discriminates)
    critical_value : greatest number correct that concludes similarity; None where n cannot reach beta
    significant : similarity is concluded (p_value <= beta)
    pc, pd, d_prime : with exact one-sided upper limits (low is None); d_prime is None for two-out-of-five
    chance_of_passing : probability that truly identical samples pass this test with n tasters
    """

    test: str
    correct: int
    n: int
    pd_limit: float
    beta: float
    confidence: float
    p_value: float
    critical_value: int | None
    significant: bool
    pc: Estimate
    pd: Estimate
    d_prime: Estimate | None
    chance_of_passing: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Whether the limit is ruled out, and the limit that is."""
        said = wording.of_tasters(self.correct, self.n, self.test)
        if self.significant:
            return wording.similarity_shown(said, self.p_value, self.pd, self.pd_limit)
        unattainable = self.beta if self.critical_value is None else None
        return wording.similarity_not_shown(
            said, self.p_value, self.pd, self.pd_limit, unattainable=unattainable
        )


def difference_test(
    method: str,
    correct: int,
    n: int,
    *,
    alpha: float = 0.05,
    confidence: float = 0.95,
    two_sided: bool = False,
) -> DifferenceTest:
    """Exact binomial test of a forced-choice method against guessing.

    method : a name that `guess_probability` knows
    correct, n : correct answers and tasters (one answer each), 0 <= correct <= n, n >= 1
    alpha : significance level; confidence : coverage of all limits, 0..1
    two_sided : only for 2-AFC without an expected direction (ISO 5495); triangle and duo-trio never are
    Missing answers are not counted: leave them out of n. ValueError for impossible arguments.
    Source: ISO 4120, ISO 10399, ISO 5495; Clopper & Pearson 1934; Ennis 1993 for d'.
    """
    correct, n = counts(correct, n)
    share(confidence, "confidence")
    critical = critical_correct(method, n, alpha, two_sided=two_sided)
    guess = guess_probability(method)
    p_value = float(upper_tail(correct, n, guess))
    if two_sided:
        p_value = min(1.0, 2 * float(upper_tail(max(correct, n - correct), n, guess)))
    pc, pd, d = exact_scales(method, correct, n, confidence, "two-sided", two_sided)
    pd_likelihood, d_likelihood = likelihood_scales(method, correct, n, confidence, two_sided)
    leading = max(correct, n - correct) if two_sided else correct
    return DifferenceTest(
        test=method,
        correct=correct,
        n=n,
        alpha=alpha,
        confidence=confidence,
        two_sided=two_sided,
        p_value=p_value,
        critical_value=critical,
        significant=bool(at_most(p_value, alpha)),
        pc=pc,
        pd=pd,
        d_prime=d,
        pd_lower=_lower_limit(method, leading, n, confidence, two_sided),
        pd_upper=exact_scales(method, leading, n, confidence, "upper")[1],
        pd_likelihood=pd_likelihood,
        d_prime_likelihood=d_likelihood,
        d_prime_error=d_prime_error(method, leading, n),
        method=_method_text(method, two_sided),
        notes=_notes(method, leading, n, critical, alpha),
    )


def _lower_limit(method: str, correct: int, n: int, confidence: float, two_sided: bool) -> Estimate:
    """One-sided lower limit of pd; in a two-sided test the data choose the direction, so each gets half the error."""
    return exact_scales(method, correct, n, (1 + confidence) / 2 if two_sided else confidence, "lower")[1]


def similarity_test(
    method: str,
    correct: int,
    n: int,
    *,
    pd_limit: float,
    beta: float = 0.05,
    confidence: float = 0.95,
) -> SimilarityTest:
    """Exact binomial test that fewer than a share pd_limit of tasters tell the samples apart.

    method : a name that `guess_probability` knows
    correct, n : correct answers and tasters (one answer each), 0 <= correct <= n, n >= 1
    pd_limit : the share of discriminators that matters, fixed beforehand, 0 < pd_limit <= 1
    beta : risk of concluding similarity when pd = pd_limit; confidence : of the one-sided upper limits
    Missing answers are not counted: leave them out of n. ValueError for impossible arguments.
    Source: ISO 4120, ISO 10399, ISO 5495 (similarity); ASTM E1885.
    """
    correct, n = counts(correct, n)
    share(confidence, "confidence")
    against = share_correct(method, pd_limit, "pd_limit")
    critical = critical_similar(method, n, beta, pd_limit)
    p_value = float(lower_tail(correct, n, against))
    pc, pd, d = exact_scales(method, correct, n, confidence, "upper")
    passing = 0.0 if critical is None else float(lower_tail(critical, n, guess_probability(method)))
    chance = f"Truly identical samples would pass this test in {100 * passing:.0f} of 100 panels of {n}."
    return SimilarityTest(
        test=method,
        correct=correct,
        n=n,
        pd_limit=pd_limit,
        beta=beta,
        confidence=confidence,
        p_value=p_value,
        critical_value=critical,
        significant=bool(at_most(p_value, beta)),
        pc=pc,
        pd=pd,
        d_prime=d,
        chance_of_passing=passing,
        method=f"Exact binomial test for similarity, one-sided ({method}, pd limit {pd_limit:g})",
        notes=(*_notes(method, correct, n, n, beta), chance),
    )


def _method_text(method: str, two_sided: bool) -> str:
    sides = "two-sided" if two_sided else "one-sided"
    return (
        f"Exact binomial test for a difference, {sides} ({method}, guess probability {_guess_text(method)})"
    )


def _guess_text(method: str) -> str:
    from stats.thurstone import guess_fraction

    return str(guess_fraction(method))


def _notes(method: str, correct: int, n: int, critical: int | None, alpha: float) -> tuple[str, ...]:
    """What a reader must know about an awkward outcome."""
    guess = guess_probability(method)
    below = float(lower_tail(correct, n, guess))
    notes = ["Assumes one independent answer per taster."]
    if critical is None:
        notes.append(f"With n = {n} no number of correct answers reaches alpha = {alpha:g}.")
    if correct <= n * guess:
        notes.append(BELOW_CHANCE)
    if below <= 0.05:
        notes.append(MISLED.format(p=below))
    if correct == n and has_d_prime(method):
        notes.append(ALL_CORRECT)
    if not has_d_prime(method):
        notes.append(NO_D_PRIME)
    return tuple(notes)
