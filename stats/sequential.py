"""Sequential discrimination testing: Wald's two lines, and the decision after each taster.

The only sound way to look early. With p0 the guess probability and p1 the proportion correct at the difference
that matters, D = ln(p1/p0) + ln((1-p0)/(1-p1)) and slope s = ln((1-p0)/(1-p1))/D, sampling stops for a difference
when the number correct reaches ln((1-β)/α)/D + s n, and for similarity when it falls to ln(β/(1-α))/D + s n
(Wald 1947, Sequential Analysis; ISO 16820). Risks and panel sizes are computed exactly by following every
possible count taster by taster, since Wald's own formulae ignore that counts overshoot the lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from stats.discrimination_exact import share, share_correct, whole_number
from stats.discrimination_intervals import discriminators, finite_d_prime
from stats.phrasing import count, percent
from stats.results import Result
from stats.thurstone import guess_probability, has_d_prime, percent_correct

if TYPE_CHECKING:
    from collections.abc import Sequence

Decision = Literal["difference", "similar", "continue", "undecided"]
LINE_ALLOWANCE = 1e-9  # a line that meets a whole number but for rounding counts as met
NEGLIGIBLE = 1e-10
FURTHEST = 20_000


class Step(NamedTuple):
    """After `taster` answers: number correct, counts that stop (None where none can yet), decision."""

    taster: int
    correct: int
    similar_at_most: int | None
    difference_at_least: int | None
    decision: Decision


class Characteristics(NamedTuple):
    """What the plan does when the true proportion correct is `pc`: chances of each end, tasters on average."""

    pc: float
    difference: float
    similar: float
    undecided: float
    mean_tasters: float


@dataclass(frozen=True, slots=True)
class SequentialTest(Result):
    """A sequential test as far as the answers go.

    test, alpha, beta, pd, d_prime, max_tasters : as given; of pd and d_prime the missing one is computed
    answers : correct (True) or not, in the order of the tasters
    slope, upper_intercept, lower_intercept : Wald's lines, correct = intercept + slope x tasters
    steps : one per taster; decision, decided_after : the first decision, "continue" and None until then
    if_alike, if_different : exact behaviour when all guess, and when the difference is as stated
    """

    test: str
    alpha: float
    beta: float
    pd: float
    d_prime: float | None
    max_tasters: int | None
    answers: tuple[bool, ...]
    slope: float
    upper_intercept: float
    lower_intercept: float
    steps: tuple[Step, ...]
    decision: Decision
    decided_after: int | None
    if_alike: Characteristics
    if_different: Characteristics
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Stop or go on, and what stopping means."""
        limit = f"{percent(self.pd)} of tasters telling the samples apart"
        if not self.answers:
            return f"No answer yet in a sequential {self.test} test against {limit}: go on."
        at = self.steps[(self.decided_after or len(self.answers)) - 1]
        said = f"After {count(at.taster, 'taster')}, {at.correct} correct in a sequential {self.test} test"
        if self.decision == "difference":
            alarm = percent(self.if_alike.difference, 1)
            return f"{said}: stop, the samples are told apart (guessing alone would end so in {alarm} of panels)."
        if self.decision == "similar":
            missed = percent(self.if_different.similar, 1)
            return (
                f"{said}: stop, a difference was not shown, and {limit} is ruled out (it would be missed "
                f"in {missed} of panels); smaller differences may remain."
            )
        if self.decision == "undecided":
            return f"{said}: the agreed {self.max_tasters} tasters are used up and neither line was reached: undecided."
        return f"{said}: neither line is reached yet, go on."


def sequential_test(
    method: str,
    answers: Sequence[bool],
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd: float | None = None,
    d_prime: float | None = None,
    max_tasters: int | None = None,
) -> SequentialTest:
    """Wald's sequential probability ratio test of guessing against a stated difference.

    method : a name that `guess_probability` knows
    answers : True (correct) or False in the order given, may be empty; answers after a decision change nothing
    alpha, beta : risks of a false difference and of missing the stated one, together below 1
    pd (0 < pd < 1) or d_prime (> 0) : the difference that matters, exactly one of the two
    max_tasters : where to stop undecided; None for no end
    Raises ValueError for other arguments. Source: Wald 1947; ISO 16820; Bi 2003, J. Sensory Studies 18:217 (d').
    """
    given = tuple(_answer(value) for value in answers)
    pc, share_found, distance = _difference(method, pd, d_prime)
    if share(alpha, "alpha") + share(beta, "beta") >= 1:
        raise ValueError(f"alpha and beta must together stay below 1, but got {alpha!r} and {beta!r}")
    end = None if max_tasters is None else whole_number(max_tasters, "max_tasters", 1)
    lines = _Lines(guess_probability(method), pc, alpha, beta)
    steps = _follow(given, lines, end)
    decided = next((step for step in steps if step.decision != "continue"), None)
    return SequentialTest(
        test=method,
        alpha=alpha,
        beta=beta,
        pd=share_found,
        d_prime=distance,
        max_tasters=end,
        answers=given,
        slope=lines.slope,
        upper_intercept=lines.upper,
        lower_intercept=lines.lower,
        steps=steps,
        decision="continue" if decided is None else decided.decision,
        decided_after=None if decided is None else decided.taster,
        if_alike=lines.characteristics(lines.p0, end),
        if_different=lines.characteristics(lines.p1, end),
        method=f"Wald's sequential probability ratio test ({method}, ISO 16820)",
        notes=_notes(len(given), decided, end),
    )


class _Lines:
    def __init__(self, p0: float, p1: float, alpha: float, beta: float) -> None:
        step = math.log(p1 / p0) + math.log((1 - p0) / (1 - p1))
        self.p0, self.p1 = p0, p1
        self.slope = math.log((1 - p0) / (1 - p1)) / step
        self.upper = math.log((1 - beta) / alpha) / step
        self.lower = math.log(beta / (1 - alpha)) / step

    def stops(self, n: int) -> tuple[int, int]:
        """Greatest number correct that stops for similarity, least that stops for a difference, after n."""
        low = math.floor(self.lower + self.slope * n + LINE_ALLOWANCE)
        return low, math.ceil(self.upper + self.slope * n - LINE_ALLOWANCE)

    def characteristics(self, pc: float, end: int | None) -> Characteristics:
        """Exact chances of each end, by carrying the open counts forward one taster at a time."""
        import numpy as np

        open_, first = np.array([1.0]), 0  # open_[i] is the chance of first + i correct, still undecided
        different = similar = tasters = 0.0
        left = 1.0
        for n in range(1, (end or FURTHEST) + 1):
            tasters += left
            open_ = np.append(open_ * (1 - pc), 0.0) + np.append(0.0, open_ * pc)
            low, high = self.stops(n)
            below, above = max(0, low + 1 - first), max(0, high - first)
            similar += float(open_[:below].sum())
            different += float(open_[above:].sum())
            open_, first = open_[below:above], first + below
            left = float(open_.sum())
            if left < NEGLIGIBLE:
                break
        return Characteristics(pc, different, similar, left, tasters)


def _follow(answers: Sequence[bool], lines: _Lines, end: int | None) -> tuple[Step, ...]:
    steps, right = [], 0
    decision: Decision = "continue"
    for n, answer in enumerate(answers, 1):
        right += answer
        low, high = lines.stops(n)
        if decision == "continue":
            decision = "difference" if right >= high else "similar" if right <= low else "continue"
            if decision == "continue" and n == end:
                decision = "undecided"
        steps.append(Step(n, right, low if low >= 0 else None, high if high <= n else None, decision))
    return tuple(steps)


def _difference(method: str, pd: float | None, d_prime: float | None) -> tuple[float, float, float | None]:
    if (pd is None) == (d_prime is None):
        raise ValueError(f"give exactly one of pd and d_prime, but got pd={pd!r} and d_prime={d_prime!r}")
    if pd is not None:
        pc = share_correct(method, share(pd, "pd"))
        return pc, pd, finite_d_prime(method, pc) if has_d_prime(method) else None
    assert d_prime is not None
    if not 0 < d_prime < math.inf:
        raise ValueError(f"d_prime must be a positive number, but got {d_prime!r}")
    pc = float(percent_correct(method, d_prime))
    return pc, discriminators(method, pc), d_prime


def _answer(value: object) -> bool:
    if value not in (0, 1):
        raise ValueError(f"answers must hold True or False (or 1 and 0), but got {value!r}")
    return bool(value)


def _notes(given: int, decided: Step | None, end: int | None) -> tuple[str, ...]:
    notes = ["Assumes one independent answer per taster, and a difference fixed before the first answer."]
    if end is None:
        notes.append(f"Chances and panel sizes are followed up to {FURTHEST} tasters.")
    if decided is not None and decided.taster < given:
        late = given - decided.taster
        notes.append(
            f"{count(late, 'answer')} came after the decision and do{'es' if late == 1 else ''} not change it."
        )
    notes.append(
        "A sequential estimate of the share correct is biased: use the decision, not pd, from stopped data."
    )
    return tuple(notes)
