"""What discrimination results say. Nothing here computes; nothing else of these modules phrases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stats.phrasing import p_text, percent, significant

if TYPE_CHECKING:
    from stats.results import Estimate

DID = {
    "triangle": "picked the odd sample in a triangle test",
    "duo-trio": "matched the reference in a duo-trio test",
    "2-AFC": "picked the expected sample in a paired comparison (2-AFC)",
    "3-AFC": "picked the expected sample in a 3-AFC test",
    "tetrad": "grouped the four samples correctly in a tetrad test",
    "two-out-of-five": "picked the right two samples in a two-out-of-five test",
}


def of_tasters(correct: int, n: int, method: str, *, two_sided: bool = False) -> str:
    """ "12 of 24 tasters picked the odd sample in a triangle test"."""
    did = (
        "chose the first-named sample in a paired comparison without an expected direction"
        if two_sided
        else DID[method]
    )
    return f"{correct} of {n} taster{'' if n == 1 else 's'} {did}"


def between(estimate: Estimate) -> str:
    """ "95 % interval 3 % to 57 %" for a share."""
    assert estimate.low is not None
    assert estimate.high is not None
    return (
        f"{percent(estimate.confidence)} interval {share_text(estimate.low)} to {share_text(estimate.high)}"
    )


def share_text(share: float) -> str:
    """A share as "37 %"; small shares, and shares near all, keep a decimal so that they do not read 0 or 100."""
    if 0 < share < 0.01 or 0.99 < share < 1:
        if share < 0.001:
            return f"less than {percent(0.001, 1)}"
        if share > 0.999:
            return f"more than {percent(0.999, 1)}"
        return percent(share, 1)
    return percent(share)


def limit_text(limit: float, beside: float) -> str:
    """A limit as a share, with as many decimals as keep it apart from the share it is read beside."""
    decimals = next((k for k in range(6) if percent(limit, k) != percent(beside, k)), 0)
    return percent(limit, decimals) if decimals else share_text(limit)


def difference_found(
    said: str, p: float, pd: Estimate, lower: Estimate, d: Estimate | None, *, two_sided: bool = False
) -> str:
    """A significant difference test, with its effect."""
    assert pd.estimate is not None
    assert lower.low is not None
    more = (
        "further from one half than guessing alone explains"
        if two_sided
        else "more than guessing alone explains"
    )
    effect = f"an estimated {share_text(pd.estimate)} of tasters tell the samples apart ({between(pd)}"
    if pd.low == 0:
        effect += f"; one-sided, at least {share_text(lower.low)}"
    return f"{said}, {more} ({p_text(p)}): {effect}{_d_prime_text(d)})."


def _d_prime_text(d: Estimate | None) -> str:
    if d is None:
        return ""
    if d.estimate is None:
        return f"; d' at least {significant(d.low, 2)}" if d.low else ""
    return f"; d' = {significant(d.estimate, 2)}"


def difference_not_shown(said: str, p: float, upper: Estimate, *, unattainable: float | None) -> str:
    """A difference test that is not significant: never "the same", always what could have been missed."""
    assert upper.high is not None
    missed = (
        f"This is no evidence that the samples are the same: up to {share_text(upper.high)} of tasters might "
        f"tell them apart (one-sided {percent(upper.confidence)} limit)."
    )
    if upper.high <= 0:
        missed = (
            "So few correct answers are rarer than guessing alone explains: check whether samples, codes or "
            "instructions were mixed up before reading anything into this."
        )
    if unattainable is not None:
        return f"{said}; so few tasters could not reach p = {unattainable:g} even if all were right. {missed}"
    return f"{said}; a difference was not shown ({p_text(p)}). {missed}"


def similarity_shown(said: str, p: float, upper: Estimate, pd_limit: float) -> str:
    """A similarity test that rules out the limit."""
    assert upper.high is not None
    limit = limit_text(upper.high, pd_limit)
    return (
        f"{said}; that rules out that {share_text(pd_limit)} or more of tasters tell the samples apart "
        f"({p_text(p)}; one-sided {percent(upper.confidence)} limit: at most {limit}), so the "
        f"samples are similar in the sense fixed beforehand."
    )


def similarity_not_shown(
    said: str, p: float, upper: Estimate, pd_limit: float, *, unattainable: float | None
) -> str:
    """A similarity test that cannot rule out the limit."""
    assert upper.high is not None
    why = p_text(p)
    if unattainable is not None:
        why = f"so few tasters could not show it at {unattainable:g} even if none were right"
    limit = limit_text(upper.high, pd_limit)
    return (
        f"{said}; similarity was not shown ({why}): up to {limit} of tasters might tell the samples "
        f"apart (one-sided {percent(upper.confidence)} limit), and the limit set is {share_text(pd_limit)}. This is no "
        f"evidence of a difference either."
    )
