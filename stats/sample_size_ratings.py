"""Planning rating studies in which every taster rates every sample: tasters, power, detectable difference.

A difference δ between two samples rated by the same n tasters is judged against the within-taster spread:
with residual standard deviation σ and r replicates, var(mean difference) = 2 (τ² + σ²/r) / n, where τ is the
standard deviation of the taster x sample interaction. Pairs: noncentral t with (n-1)(k-1) degrees of freedom,
k = 2 being the paired t test. All k samples at once: noncentral F for the least favourable pattern, in which two
samples differ by δ and the rest lie halfway between (Cohen 1988, ch. 8; Lachenbruch 1988 for the noncentral t).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stats.discrimination_exact import share, whole_number
from stats.phrasing import percent, significant
from stats.results import Result

Question = Literal["pair", "overall"]
QUESTIONS: tuple[Question, ...] = ("pair", "overall")
MOST_TASTERS = 1_000_000


@dataclass(frozen=True, slots=True)
class RatingPlan(Result):
    """A rating study's size, its power, and the difference it finds.

    tasters, samples, replicates, alpha, target_power, two_sided, question : the plan; target_power is None where
        power was asked for
    sd : residual standard deviation used, in scale points; given_sd : before the allowance for its uncertainty
    interaction_sd : standard deviation of taster x sample, in scale points
    difference : between two sample means, in scale points; power : to find it with so many tasters
    """

    tasters: int
    samples: int
    replicates: int
    alpha: float
    target_power: float | None
    two_sided: bool
    question: Question
    sd: float
    given_sd: float
    interaction_sd: float
    difference: float
    power: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Tasters, difference and power in one line."""
        what = "between two samples" if self.question == "pair" else f"among {self.samples} samples"
        return (
            f"With {self.tasters} tasters each rating every sample, a difference of {significant(self.difference, 2)} "
            f"scale points {what} is found with a power of {percent(self.power)} "
            f"(within-taster standard deviation {significant(self.sd, 2)})."
        )


def detectable_difference(
    tasters: int,
    *,
    sd: float,
    samples: int = 2,
    alpha: float = 0.05,
    power: float = 0.8,
    two_sided: bool = True,
    question: Question = "pair",
    replicates: int = 1,
    interaction_sd: float = 0.0,
    sd_df: float | None = None,
    assurance: float | None = None,
) -> RatingPlan:
    """The smallest difference between two sample means that so many tasters find with this power.

    tasters >= 2, samples >= 2, replicates >= 1 : every taster rates every sample so many times
    sd : residual (within-taster) standard deviation in scale points; the standard deviation of the paired
        differences is sd √2. From an earlier study: the square root of its residual variance
    interaction_sd : standard deviation of the taster x sample interaction, where replicates separate it
    question : "pair" (one planned comparison; divide alpha yourself for several) or "overall" (F test)
    sd_df, assurance : where sd is an estimate with sd_df degrees of freedom, use its upper confidence limit at
        this assurance instead, so that the power holds with that confidence (Browne 1995, Statistics in Medicine
        14:1933); both or neither
    Raises ValueError for other arguments.
    """
    from scipy.optimize import brentq

    share(power, "power")
    plan = _Plan(samples, sd, alpha, two_sided, question, replicates, interaction_sd, sd_df, assurance)
    n = whole_number(tasters, "tasters", 2)
    if power <= plan.power(n, 0.0):
        raise ValueError(f"power must lie above alpha, but got power={power!r} with alpha={alpha!r}")
    top = plan.spread(n)
    while plan.power(n, top) < power:
        top *= 2
    difference = float(brentq(lambda gap: plan.power(n, gap) - power, 0.0, top, xtol=1e-12 * top))
    return plan.result(n, difference, power)


def rating_power(
    tasters: int,
    difference: float,
    *,
    sd: float,
    samples: int = 2,
    alpha: float = 0.05,
    two_sided: bool = True,
    question: Question = "pair",
    replicates: int = 1,
    interaction_sd: float = 0.0,
    sd_df: float | None = None,
    assurance: float | None = None,
) -> RatingPlan:
    """Power to find a difference (scale points, >= 0) with so many tasters; arguments as `detectable_difference`."""
    plan = _Plan(samples, sd, alpha, two_sided, question, replicates, interaction_sd, sd_df, assurance)
    return plan.result(whole_number(tasters, "tasters", 2), _gap(difference, 0.0), None)


def pair_power(difference: float, *, standard_error: float, df: float, critical: float) -> float:
    """Chance that a comparison of two means shows a true difference of this size, whatever design it comes from.

    difference >= 0, in score points; standard_error > 0 : of the estimated difference; df > 0 : of that error
    critical >= 0 : how many standard errors a difference must reach to be shown: the t quantile of one pair, the
        studentised range's over √2 for Tukey's method, and so on
    The error counts as known, as in every power curve from an estimated one. Noncentral t, both sides: Cohen 1988,
    Statistical Power Analysis (2nd ed.), ch. 2. ValueError for other arguments.
    """
    from scipy.special import ncfdtr

    for name, value, least in (
        ("standard_error", standard_error, math.ulp(0.0)),
        ("critical", critical, 0.0),
    ):
        if not least <= value < math.inf:
            raise ValueError(f"{name} must be at least {least:g} and finite, but got {value!r}")
    if not df > 0:
        raise ValueError(f"df must be a positive number, but got {df!r}")
    shift = _gap(difference, 0.0) / standard_error
    # both tails at once as noncentral F: SciPy's noncentral t gives nan in the far tail
    return 1 - float(ncfdtr(1, df, shift * shift, critical * critical))


def required_raters(
    difference: float,
    *,
    sd: float,
    samples: int = 2,
    alpha: float = 0.05,
    power: float = 0.8,
    two_sided: bool = True,
    question: Question = "pair",
    replicates: int = 1,
    interaction_sd: float = 0.0,
    sd_df: float | None = None,
    assurance: float | None = None,
) -> RatingPlan:
    """The least number of tasters that finds a difference (scale points, > 0) with this power.

    Power grows with every taster here, so the smallest number is also the lasting one. Arguments and errors as
    `detectable_difference`; ValueError where more than a million tasters would be needed.
    """
    plan = _Plan(samples, sd, alpha, two_sided, question, replicates, interaction_sd, sd_df, assurance)
    gap, target = _gap(difference, math.ulp(0.0)), share(power, "power")
    low, high = 1, 2
    while plan.power(high, gap) < target:
        low, high = high, 2 * high
        if high > MOST_TASTERS:
            raise ValueError(
                f"difference={difference!r} is too small beside sd={sd!r}: over a million tasters needed"
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if plan.power(middle, gap) >= target else (middle, high)
    return plan.result(high, gap, power)


class _Plan:
    """All that is fixed beside the number of tasters and the difference."""

    def __init__(
        self,
        samples: int,
        sd: float,
        alpha: float,
        two_sided: bool,
        question: Question,
        replicates: int,
        interaction_sd: float,
        sd_df: float | None,
        assurance: float | None,
    ) -> None:
        if question not in QUESTIONS:
            raise ValueError(f"question must be 'pair' or 'overall', but got {question!r}")
        if question == "overall" and not two_sided:
            raise ValueError("two_sided must be True for question='overall': an F test has no direction")
        for name, value, least in (("sd", sd, math.ulp(0.0)), ("interaction_sd", interaction_sd, 0.0)):
            if not least <= value < math.inf:
                raise ValueError(
                    f"{name} must be a {'positive' if least else 'non-negative'} number, but got {value!r}"
                )
        self.samples = whole_number(samples, "samples", 2)
        self.replicates = whole_number(replicates, "replicates", 1)
        self.alpha, self.two_sided, self.question = share(alpha, "alpha"), two_sided, question
        self.given_sd, self.interaction_sd = float(sd), float(interaction_sd)
        self.assurance = assurance
        self.sd = float(sd) * _allowance(sd_df, assurance)

    def spread(self, n: int) -> float:
        """Standard error of the difference between two sample means."""
        return math.sqrt(2 * (self.interaction_sd**2 + self.sd**2 / self.replicates) / n)

    def power(self, n: int, difference: float) -> float:
        """Power with n tasters. With replicates the error is the taster x sample mean square, same df."""
        from scipy.special import fdtri, ncfdtr, stdtrit
        from scipy.stats import nct

        df = (n - 1) * (self.samples - 1)
        shift = difference / self.spread(n)
        if self.two_sided:
            # overall: two samples at ±δ/2, the rest between: Σ(mean - grand)² = δ²/2, so the noncentrality is shift²;
            # a two-sided t test is the F test with one numerator degree of freedom and the same noncentrality
            between = self.samples - 1 if self.question == "overall" else 1
            return 1 - float(ncfdtr(between, df, shift * shift, fdtri(between, df, 1 - self.alpha)))
        return float(nct.sf(float(stdtrit(df, 1 - self.alpha)), df, shift))

    def result(self, n: int, difference: float, target: float | None) -> RatingPlan:
        """The plan with its power at n tasters."""
        return RatingPlan(
            tasters=n,
            samples=self.samples,
            replicates=self.replicates,
            alpha=self.alpha,
            target_power=target,
            two_sided=self.two_sided,
            question=self.question,
            sd=self.sd,
            given_sd=self.given_sd,
            interaction_sd=self.interaction_sd,
            difference=difference,
            power=self.power(n, difference),
            method="Noncentral t, within-taster comparison"
            if self.question == "pair"
            else "Noncentral F, within tasters",
            notes=self._notes(),
        )

    def _notes(self) -> tuple[str, ...]:
        notes = ["Assumes that every taster rates every sample, and normal errors with one spread."]
        if self.question == "pair" and self.samples > 2:
            notes.append(
                "One planned pair at the alpha given; for several pairs divide alpha by their number."
            )
        if self.question == "overall":
            notes.append("Least favourable pattern: two samples differ, all others lie halfway between.")
        if self.assurance is not None:
            notes.append(
                f"The earlier standard deviation {significant(self.given_sd)} was raised to its upper "
                f"{percent(self.assurance)} limit {significant(self.sd)}."
            )
        elif self.replicates == 1 and self.interaction_sd == 0:
            notes.append(
                "Taken as known; an sd from a small study is uncertain, and assurance allows for that."
            )
        return tuple(notes)


def _allowance(df: float | None, assurance: float | None) -> float:
    """Factor from an estimated sd to its upper confidence limit; 1 without one."""
    from scipy.special import chdtri

    if (df is None) != (assurance is None):
        raise ValueError(
            f"give both sd_df and assurance or neither, but got sd_df={df!r} and assurance={assurance!r}"
        )
    if df is None or assurance is None:
        return 1.0
    if not 0 < df < math.inf:
        raise ValueError(f"sd_df must be a positive number, but got {df!r}")
    return math.sqrt(df / float(chdtri(df, share(assurance, "assurance"))))


def _gap(difference: float, least: float) -> float:
    if not least <= difference < math.inf:
        raise ValueError(
            f"difference must be a {'positive' if least else 'non-negative'} number, but got {difference!r}"
        )
    return float(difference)
