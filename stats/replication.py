"""Discrimination tests in which the same tasters answer several times.

Answers of one taster are alike if tasters differ in ability. Pooling them is right for a difference test
(when all guess, all answers are independent), but makes intervals and similarity tests too sure. The
beta-binomial model (Ennis & Bi 1998, J. Sensory Studies 13:389) lets ability vary: mean μ and overdispersion
γ = 1/(a + b + 1), 0 for tasters alike, 1 for tasters each always right or always wrong. With `chance_corrected`
it is not the share correct but the share truly perceived that varies, so nobody is worse than guessing
(Brockhoff 2003, Food Quality and Preference 14:405).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.discrimination_exact import at_most, counts, exact_limits, share, upper_tail, whole_number
from stats.discrimination_intervals import discriminators, finite_d_prime
from stats.phrasing import count, p_text, percent, significant
from stats.results import Estimate, Result
from stats.thurstone import guess_probability, has_d_prime

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

PROFILE = "profile likelihood of the beta-binomial"
EXACT = "exact (Clopper-Pearson)"
LEAST_SPREAD = 1e-7  # gamma this small is the binomial to rounding


@dataclass(frozen=True, slots=True)
class TasterAnswers:
    """One taster's answers: counts, exact one-sided p against guessing, share correct with exact limits, pd."""

    taster: str
    correct: int
    trials: int
    p_value: float
    pc: Estimate
    pd: float


@dataclass(frozen=True, slots=True)
class ReplicatedTest(Result):
    """A replicated discrimination test: pooled difference, overdispersion, and what holds with it.

    test, correct, trials, alpha, confidence, chance_corrected : as given, one count per taster
    p_value : exact binomial test of all answers pooled (valid against "all guess")
    pooled_pc : pooled share correct, limits as if all answers were independent
    pc, pd, d_prime : beta-binomial mean with profile-likelihood limits that allow for overdispersion;
        d_prime is that of the mean share correct, None for two-out-of-five
    pd_upper : one-sided upper limit of pd, what a null result could have missed
    gamma : overdispersion with limits; log_likelihood, binomial_log_likelihood : of the two models
    likelihood_ratio, likelihood_ratio_p : 2 x their difference; p halved since gamma = 0 is a boundary
    tarone_z, tarone_p : Tarone's Z, one-sided p; None where all or no answers are right
    overdispersed : either test at alpha
    tasters : each taster's own result
    """

    test: str
    correct: tuple[int, ...]
    trials: tuple[int, ...]
    alpha: float
    confidence: float
    chance_corrected: bool
    p_value: float
    significant: bool
    pooled_pc: Estimate
    pc: Estimate
    pd: Estimate
    pd_upper: Estimate
    d_prime: Estimate | None
    gamma: Estimate
    log_likelihood: float
    binomial_log_likelihood: float
    likelihood_ratio: float
    likelihood_ratio_p: float
    tarone_z: float | None
    tarone_p: float | None
    overdispersed: bool
    tasters: tuple[TasterAnswers, ...]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Pooled finding, the effect with an interval that allows for the tasters, and how much they differ."""
        right, total = sum(self.correct), sum(self.trials)
        said = f"{right} of {total} answers by {count(len(self.correct), 'taster')} were correct in a {self.test} test"
        effect = (
            f"an estimated {percent(self.pd.estimate or 0.0)} of judgements truly tell the samples apart "
            f"({percent(self.confidence)} interval {percent(self.pd.low or 0.0)} to {percent(self.pd.high or 0.0)})"
        )
        if self.significant:
            found = f"{said}, more than guessing alone explains ({p_text(self.p_value)}): {effect}."
        else:
            found = (
                f"{said}; a difference was not shown ({p_text(self.p_value)}). This is no evidence that the samples "
                f"are the same: up to {percent(self.pd_upper.high or 0.0)} of judgements might truly tell them apart "
                f"(one-sided {percent(self.confidence)} limit)."
            )
        if self.overdispersed:
            return (
                f"{found} Tasters differ in ability (overdispersion {significant(self.gamma.estimate or 0.0, 2)}), so "
                f"counting every answer as another taster would overstate the certainty."
            )
        return f"{found} Differences in ability between tasters were not shown ({p_text(self.likelihood_ratio_p)})."


def replicated_test(
    method: str,
    correct: Sequence[int],
    trials: int | Sequence[int],
    *,
    tasters: Sequence[str] | None = None,
    alpha: float = 0.05,
    confidence: float = 0.95,
    chance_corrected: bool = False,
) -> ReplicatedTest:
    """Difference test and overdispersion for tasters who each answered several times.

    correct : correct answers, one count per taster (at least two tasters)
    trials : answers given, one number for all or one per taster; a missing answer lowers that taster's number
    tasters : their names, as text (default "1", "2", ...)
    chance_corrected : let true perception vary instead of the share correct, which then never lies below chance
    Raises ValueError for impossible counts, or where nobody answered twice.
    Source: Ennis & Bi 1998; Tarone 1979, Biometrika 66:585; Brockhoff 2003.
    """
    right, given = _checked(correct, trials)
    names = _names(tasters, len(right))
    share(alpha, "alpha")
    share(confidence, "confidence")
    guess = guess_probability(method)
    total, answers = sum(right), sum(given)
    fit = _BetaBinomial(right, given, guess if chance_corrected else 0.0)
    z, tarone_p = _tarone(right, given)
    p_value = float(upper_tail(total, answers, guess))
    overdispersed = min(fit.ratio_p, 1.0 if tarone_p is None else tarone_p) <= alpha
    return ReplicatedTest(
        test=method,
        correct=right,
        trials=given,
        alpha=alpha,
        confidence=confidence,
        chance_corrected=chance_corrected,
        p_value=p_value,
        significant=bool(at_most(p_value, alpha)),
        pooled_pc=_clopper_pearson(total, answers, confidence),
        **_effects(method, fit, confidence),
        tarone_z=z,
        tarone_p=tarone_p,
        overdispersed=overdispersed,
        tasters=_each_taster(method, names, right, given, confidence),
        method="Exact binomial test of pooled answers; beta-binomial model by maximum likelihood",
        notes=_notes(overdispersed, chance_corrected, total <= answers * guess),
    )


def _effects(method: str, fit: _BetaBinomial, confidence: float) -> dict[str, Any]:
    """What the beta-binomial says: the mean on all three scales, the overdispersion, the likelihoods."""
    pc = fit.mean_limits(confidence)
    d = _carried(pc, lambda share_right: finite_d_prime(method, share_right)) if has_d_prime(method) else None
    return {
        "pc": pc,
        "pd": _carried(pc, lambda share_right: discriminators(method, share_right)),
        "pd_upper": _one_sided(fit.mean_limits(max(2 * confidence - 1, 1e-9)), method, confidence),
        "d_prime": d,
        "gamma": fit.gamma_limits(confidence),
        "log_likelihood": fit.best,
        "binomial_log_likelihood": fit.binomial,
        "likelihood_ratio": fit.ratio,
        "likelihood_ratio_p": fit.ratio_p,
    }


class _BetaBinomial:
    """Maximum likelihood of mean and overdispersion; `floor` is chance where that is corrected for, else 0.

    The free parameters are m, the mean of the varying share (0..1), and gamma; the mean correct is
    floor + (1 - floor) m.
    """

    def __init__(self, correct: Sequence[int], trials: Sequence[int], floor: float) -> None:
        import numpy as np
        from scipy.special import gammaln

        # alike tasters are computed once: counts (correct, trials) with how often each occurs
        pairs, self.often = np.unique(np.column_stack([correct, trials]), axis=0, return_counts=True)
        self.correct, self.trials, self.floor = pairs[:, 0], pairs[:, 1], floor
        x, n = self.correct, self.trials
        self.constants = float(self.often @ (gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)))
        pooled = max(sum(correct) / sum(trials), floor)
        self.binomial = self.log_likelihood((pooled - floor) / (1 - floor), 0.0)
        self.m, self.gamma, self.best = self._fit((pooled - floor) / (1 - floor))
        self.ratio = max(0.0, 2 * (self.best - self.binomial))
        self.ratio_p = 1.0 if self.ratio <= 1e-9 else 0.5 * math.erfc(math.sqrt(self.ratio / 2))

    def log_likelihood(self, m: float, gamma: float) -> float:
        """Log likelihood with its constants."""
        import numpy as np
        from scipy.special import betaln

        x, n = self.correct, self.trials
        m = min(max(m, 1e-12), 1 - 1e-12)
        if gamma < LEAST_SPREAD:
            p = self.floor + (1 - self.floor) * m
            return self.constants + float(self.often @ (x * math.log(p) + (n - x) * math.log1p(-p)))
        a, b = m * (1 / gamma - 1), (1 - m) * (1 / gamma - 1)
        if self.floor == 0:
            terms: Any = betaln(a + x, b + n - x) - betaln(a, b)
        else:
            terms = np.array([self._mixed(*pair, a, b) for pair in zip(x, n, strict=True)])
        return self.constants + float(self.often @ terms)

    def _mixed(self, x: int, n: int, a: float, b: float) -> float:
        """log of the mean of p^x (1-p)^(n-x) over p = floor + (1-floor) π, π beta(a, b): a sum of x + 1 terms."""
        import numpy as np
        from scipy.special import betaln, gammaln, logsumexp

        j = np.arange(x + 1)
        choose = gammaln(x + 1) - gammaln(j + 1) - gammaln(x - j + 1)
        weight = (x - j) * math.log(self.floor) + (n - x + j) * math.log1p(-self.floor)
        return float(logsumexp(choose + weight + betaln(a + j, b + n - x) - betaln(a, b)))

    def _fit(self, start: float) -> tuple[float, float, float]:
        from scipy.optimize import minimize_scalar

        found = minimize_scalar(
            lambda gamma: -self._best_mean(gamma)[1],
            bounds=(0.0, 1 - 1e-6),
            method="bounded",
            options={"xatol": 1e-9},
        )
        gamma = float(found.x)
        m, best = self._best_mean(gamma)
        return (m, gamma, best) if best > self.binomial + 1e-9 else (start, 0.0, self.binomial)

    def _best_mean(self, gamma: float) -> tuple[float, float]:
        return _maximum(lambda m: self.log_likelihood(m, gamma))

    def mean_limits(self, confidence: float) -> Estimate:
        """The mean share correct, with limits that profile gamma out."""

        def loss(m: float) -> float:
            return 2 * (self.best - _maximum(lambda gamma: self.log_likelihood(m, gamma))[1])

        low, high = _where_lost(loss, self.m, confidence)
        up = [self.floor + (1 - self.floor) * m for m in (self.m, low, high)]
        return Estimate(up[0], up[1], up[2], confidence, "two-sided", PROFILE)

    def gamma_limits(self, confidence: float) -> Estimate:
        """The overdispersion, with limits that profile the mean out."""
        low, high = _where_lost(
            lambda gamma: 2 * (self.best - self._best_mean(gamma)[1]), self.gamma, confidence
        )
        return Estimate(self.gamma, low, high, confidence, "two-sided", PROFILE)


def _maximum(curve: Callable[[float], float]) -> tuple[float, float]:
    """Where a one-humped curve over 0..1 is highest, and how high, ends included."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(
        lambda x: -curve(x), bounds=(0.0, 1 - 1e-6), method="bounded", options={"xatol": 1e-7}
    )
    inside = (float(found.x), -float(found.fun))
    return max(inside, *((end, curve(end)) for end in (0.0, 1 - 1e-6)), key=lambda point: point[1])


def _where_lost(loss: Callable[[float], float], best: float, confidence: float) -> tuple[float, float]:
    from scipy.optimize import brentq
    from scipy.special import chdtri

    cut = float(chdtri(1, 1 - confidence))
    ends = 0.0, 1 - 1e-6
    low = (
        0.0
        if best <= ends[0] or loss(ends[0]) <= cut
        else float(brentq(lambda x: loss(x) - cut, ends[0], best))
    )
    high = (
        1.0
        if best >= ends[1] or loss(ends[1]) <= cut
        else float(brentq(lambda x: loss(x) - cut, best, ends[1]))
    )
    return low, high


def _tarone(correct: Sequence[int], trials: Sequence[int]) -> tuple[float | None, float | None]:
    """Tarone's Z for binomial against beta-binomial, with its one-sided normal p."""
    pooled = sum(correct) / sum(trials)
    if pooled in (0.0, 1.0):
        return None, None
    spread = sum((x - n * pooled) ** 2 for x, n in zip(correct, trials, strict=True)) / (
        pooled * (1 - pooled)
    )
    z = (spread - sum(trials)) / math.sqrt(2 * sum(n * (n - 1) for n in trials))
    return z, 0.5 * math.erfc(z / math.sqrt(2))


def _each_taster(
    method: str, names: Sequence[str], correct: Sequence[int], trials: Sequence[int], confidence: float
) -> tuple[TasterAnswers, ...]:
    guess = guess_probability(method)
    return tuple(
        TasterAnswers(
            taster=name,
            correct=x,
            trials=n,
            p_value=float(upper_tail(x, n, guess)),
            pc=_clopper_pearson(x, n, confidence),
            pd=discriminators(method, x / n),
        )
        for name, x, n in zip(names, correct, trials, strict=True)
    )


def _names(tasters: Sequence[str] | None, number: int) -> list[str]:
    names = [str(i + 1) for i in range(number)] if tasters is None else [str(name) for name in tasters]
    if len(names) != number:
        raise ValueError(f"tasters must name each of the {number} counts in correct, but names {len(names)}")
    return names


def _clopper_pearson(x: int, n: int, confidence: float) -> Estimate:
    tail = (1 - confidence) / 2
    return Estimate(x / n, *exact_limits(x, n, tail, tail), confidence, "two-sided", EXACT)


def _carried(pc: Estimate, read: Callable[[float], float | None]) -> Estimate:
    point, low, high = (
        None if share_right is None else read(share_right) for share_right in (pc.estimate, pc.low, pc.high)
    )
    return Estimate(point, low, high, pc.confidence, pc.sides, pc.how)


def _one_sided(pc: Estimate, method: str, confidence: float) -> Estimate:
    """The upper limit of pd, from two-sided limits that leave twice the error."""
    assert pc.estimate is not None
    assert pc.high is not None
    point, high = discriminators(method, pc.estimate), discriminators(method, pc.high)
    return Estimate(point, None, high, confidence, "upper", pc.how)


def _checked(correct: Sequence[int], trials: int | Sequence[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    right = [whole_number(x, "correct") for x in correct]
    if len(right) < 2:
        raise ValueError(f"correct must hold the counts of at least two tasters, but holds {len(right)}")
    given = (
        [trials] * len(right) if isinstance(trials, int) else [whole_number(n, "trials", 1) for n in trials]
    )
    if len(given) != len(right):
        raise ValueError(f"trials must hold one number per taster ({len(right)}), but holds {len(given)}")
    pairs = [counts(x, n) for x, n in zip(right, given, strict=True)]
    if max(given) < 2:
        raise ValueError("trials must be at least 2 for some taster: without replicates use difference_test")
    return tuple(x for x, _ in pairs), tuple(n for _, n in pairs)


def _notes(overdispersed: bool, chance_corrected: bool, below_chance: bool) -> tuple[str, ...]:
    notes = [
        "Pooling answers is valid against the hypothesis that everybody guesses, not for a similarity test."
    ]
    if overdispersed:
        notes.append(
            "Warning: answers of one taster are alike (overdispersion). Limits of pooled_pc are too narrow; use those "
            "of pc, pd and d_prime."
        )
    if chance_corrected:
        notes.append("Overdispersion is that of true perception (chance-corrected beta-binomial).")
    if below_chance:
        notes.append("No more correct answers than guessing would give: pd and d' are held at 0.")
    notes.append("Taster p-values are not adjusted for the number of tasters.")
    return tuple(notes)
