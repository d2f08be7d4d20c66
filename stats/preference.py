"""Paired preference with a stated rule for "no preference", exact.

Rules: "drop" tests only those who chose (the exact sign test, conditional on how many chose); "split" shares
the undecided equally, the odd one going to the smaller side, which is conservative: halves vary less than
choices do. The other rule's p is shown beside, so that nobody can choose afterwards unseen. ISO 5495 (paired
comparison, two-sided unless the direction was fixed beforehand); ASTM E2263 (paired preference).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from stats.discrimination_exact import (
    at_most,
    critical_correct,
    exact_limits,
    share,
    upper_tail,
    whole_number,
)
from stats.phrasing import count, p_text, percent
from stats.results import Estimate, Result

Rule = Literal["split", "drop"]
RULES: tuple[Rule, ...] = ("split", "drop")
EXACT = "exact (Clopper-Pearson)"
RULE_TEXT = {"split": "shared equally, an odd one to the smaller side", "drop": "left out"}


@dataclass(frozen=True, slots=True)
class PairedPreference(Result):
    """Whether one of two samples is preferred.

    prefer_a, prefer_b, no_preference, two_sided, no_preference_rule, alpha, confidence : as given
    counted_a, counted_b : votes after the rule
    p_value : exact; two-sided: twice the larger side's tail, at most 1; one-sided: A preferred
    critical_value : least votes (after the rule) for one sample that conclude a preference, None if unattainable
    share_a : share preferring A among the votes counted, exact two-sided limits; None without any vote
    undecided : share with no preference among all tasters
    p_value_other_rule : the p under the rule not chosen; None without any vote under it
    """

    prefer_a: int
    prefer_b: int
    no_preference: int
    two_sided: bool
    no_preference_rule: Rule
    alpha: float
    confidence: float
    counted_a: int
    counted_b: int
    p_value: float
    critical_value: int | None
    significant: bool
    share_a: Estimate | None
    undecided: Estimate
    p_value_other_rule: float | None
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Which sample, by how much, or what the interval still allows."""
        said = f"{self.prefer_a} preferred A, {self.prefer_b} preferred B"
        if self.no_preference:
            said += f" and {self.no_preference} had no preference ({RULE_TEXT[self.no_preference_rule]})"
        if self.share_a is None:
            return f"{said}: nobody chose, so no preference can be tested."
        assert self.share_a.low is not None
        assert self.share_a.high is not None
        span = (
            f"share preferring A {percent(self.share_a.estimate or 0.0)}, {percent(self.confidence)} interval "
            f"{percent(self.share_a.low)} to {percent(self.share_a.high)}"
        )
        if self.significant:
            winner = "A" if self.counted_a > self.counted_b else "B"
            return f"{said}: {winner} is preferred ({p_text(self.p_value)}; {span})."
        kind = "a preference" if self.two_sided else "a preference for A"
        return f"{said}: {kind} was not shown ({p_text(self.p_value)}; {span}). This is no evidence of equal liking."


def paired_preference(
    prefer_a: int,
    prefer_b: int,
    no_preference: int = 0,
    *,
    two_sided: bool = True,
    no_preference_rule: Rule = "split",
    alpha: float = 0.05,
    confidence: float = 0.95,
) -> PairedPreference:
    """Exact binomial test of preference between two samples.

    prefer_a, prefer_b, no_preference : numbers of tasters, together at least 1; missing answers are left out
    two_sided : False only where "A is preferred" was the one question beforehand
    no_preference_rule : "split" (equally, an odd one to the smaller side) or "drop"
    Raises ValueError for negative or no counts, or an unknown rule. Source: ISO 5495, ASTM E2263.
    """
    a, b, none = _checked(prefer_a, prefer_b, no_preference, no_preference_rule)
    share(alpha, "alpha")
    share(confidence, "confidence")
    counted = votes(a, b, none, no_preference_rule)
    other = votes(a, b, none, "drop" if no_preference_rule == "split" else "split")
    p_value = preference_p(*counted, two_sided)
    total = sum(counted)
    return PairedPreference(
        prefer_a=a,
        prefer_b=b,
        no_preference=none,
        two_sided=two_sided,
        no_preference_rule=no_preference_rule,
        alpha=alpha,
        confidence=confidence,
        counted_a=counted[0],
        counted_b=counted[1],
        p_value=p_value,
        critical_value=critical_correct("2-AFC", total, alpha, two_sided=two_sided) if total else None,
        significant=bool(at_most(p_value, alpha)),
        share_a=_proportion(counted[0], total, confidence) if total else None,
        undecided=_proportion(none, a + b + none, confidence),
        p_value_other_rule=preference_p(*other, two_sided) if sum(other) else None,
        method=_method_text(two_sided, no_preference_rule),
        notes=_notes(none, no_preference_rule, total, alpha, two_sided),
    )


def _checked(prefer_a: int, prefer_b: int, no_preference: int, rule: Rule) -> tuple[int, int, int]:
    a, b, none = (
        whole_number(value, name)
        for value, name in ((prefer_a, "prefer_a"), (prefer_b, "prefer_b"), (no_preference, "no_preference"))
    )
    if a + b + none == 0:
        raise ValueError("prefer_a, prefer_b and no_preference are all 0: there is no taster to count")
    if rule not in RULES:
        raise ValueError(f"no_preference_rule must be 'split' or 'drop', but got {rule!r}")
    return a, b, none


def votes(a: int, b: int, none: int, rule: Rule) -> tuple[int, int]:
    """Votes for A and B after the rule for those without a preference."""
    if rule == "drop":
        return a, b
    half, odd = divmod(none, 2)
    return (a + half + odd, b + half) if a < b else (a + half, b + half + odd)


def preference_p(a: int, b: int, two_sided: bool) -> float:
    """Exact p of a : b votes when both samples are equally likely to be chosen; 1 without any vote."""
    if two_sided:
        return min(1.0, 2 * float(upper_tail(max(a, b), a + b, 0.5)))
    return float(upper_tail(a, a + b, 0.5))


def _proportion(part: int, whole: int, confidence: float) -> Estimate:
    tail = (1 - confidence) / 2
    return Estimate(part / whole, *exact_limits(part, whole, tail, tail), confidence, "two-sided", EXACT)


def _method_text(two_sided: bool, rule: Rule) -> str:
    sides = "two-sided" if two_sided else "one-sided (A preferred)"
    return f"Exact binomial test of preference, {sides}; no preference {RULE_TEXT[rule]}"


def _notes(none: int, rule: Rule, total: int, alpha: float, two_sided: bool) -> tuple[str, ...]:
    notes = ["Assumes one independent answer per taster."]
    if none and rule == "split":
        notes.append(
            "Sharing the undecided equally is conservative, and the interval for the share takes them as votes."
        )
    if none and rule == "drop":
        notes.append(f"The share is of the {count(total, 'taster')} who chose, not of all.")
    if total == 0 or critical_correct("2-AFC", total, alpha, two_sided=two_sided) is None:
        notes.append(f"With {count(total, 'vote')} no outcome reaches alpha = {alpha:g}.")
    return tuple(notes)
