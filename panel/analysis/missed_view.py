"""What could have been missed: how likely the test was to show a difference of each size, as a curve and in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.figures_power import Mark, PowerCurve, power_figure
from panel.analysis.numbers import points
from panel.analysis.view_parts import Section
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.analysis.score_report import AttributeReport
    from stats.comparisons import Pair
    from stats.discrimination_two_product import TwoProductTest
    from stats.preference import PairedPreference
    from stats.results import Estimate

STEPS = 48
LEVEL = 0.8
STUDIES = "8 of 10"
TITLE = "What could have been missed?"
NOTE = (
    "The curve holds for the number of answers and the spread of this study. It is about differences that might be, "
    "not about the one that was found: whether the test found something is said above."
)


def missed_in_sets(
    test: str, answers: int, alpha: float, upper: Estimate, *, two_sided: bool, figures: bool
) -> Section:
    """A forced choice: chance to show each share of tasters who tell the samples apart.

    upper : one-sided limit of that share, from these answers
    """
    sizes = [step / STEPS for step in range(STEPS + 1)]
    each = [
        stats.difference_power(test, answers, alpha=alpha, pd=size, two_sided=two_sided) for size in sizes[1:]
    ]
    curve = [each[0].actual_risk[0], *(one.power[0] for one in each)]  # at no difference: the test's own risk
    high = upper.high or 0.0
    marks = (Mark(high, f"as large as these answers allow: {percent(high)}"),) if 0 < high < 1 else ()
    return _section(
        sizes,
        curve,
        lambda size: f"a true share of {size} of tasters who tell the samples apart (with {answers} answers)",
        percent,
        axis="share of tasters who tell the samples apart",
        marks=marks,
        shares=True,
        figures=figures,
    )


def missed_preference(found: PairedPreference, *, figures: bool) -> Section | None:
    """A preference: chance to show each share who prefer one sample among those who choose."""
    votes = found.counted_a + found.counted_b
    if not votes:
        return None
    sizes = [0.5 + step / (2 * STEPS) for step in range(STEPS + 1)]
    curve = [
        stats.preference_power(votes, prefer_a=size, alpha=found.alpha, two_sided=found.two_sided).power
        for size in sizes
    ]
    return _section(
        sizes,
        curve,
        lambda size: f"a true share of {size} who prefer one of the two (with {votes} votes)",
        percent,
        axis="share who prefer one of the two",
        marks=(),
        shares=True,
        figures=figures,
    )


def missed_distance(found: TwoProductTest, *, figures: bool) -> Section | None:
    """A-not-A and same-different: chance to show each d′, with the smaller of the two numbers of servings."""
    servings = min(found.target_n, found.other_n)
    if servings > 200:
        return None  # both binomials are enumerated, which takes long; so many answers miss little
    sizes = [4 * step / STEPS for step in range(STEPS + 1)]
    curve = [stats.two_product_power(found.test, servings, d_prime=size, alpha=found.alpha) for size in sizes]
    high = found.d_prime_upper.high
    marks = (
        (Mark(high, f"as large as these answers allow: {significant(high, 2)}"),) if high and high < 4 else ()
    )
    return _section(
        sizes,
        curve,
        lambda size: f"a true d′ of {size} (with {servings} servings of each kind)",
        lambda size: significant(size, 2),
        axis="size of the difference, d′",
        marks=marks,
        shares=False,
        figures=figures,
    )


def missed_between_means(one: AttributeReport, *, figures: bool) -> Section | None:
    """Scores: chance to show each difference between the two samples that are least surely compared."""
    pairs = [pair for pair in one.main.pairs if _spread(pair) is not None] if one.main else []
    if not pairs or one.main is None:
        return None
    pair = max(pairs, key=lambda pair: pair.standard_error)
    critical = _spread(pair)
    assert critical is not None
    reach = 2.5 * critical * pair.standard_error
    sizes = [reach * step / STEPS for step in range(STEPS + 1)]
    error = {"standard_error": pair.standard_error, "df": pair.df, "critical": critical}
    curve = [stats.pair_power(size, **error) for size in sizes]
    others = len(one.main.samples) > 2
    together = ", all pairs compared together" if others and one.main.reference is None else ""
    return _section(
        sizes,
        curve,
        lambda size: f"a true difference of {size} between two samples in “{one.title}”{together}",
        lambda size: points(significant(size, 2)),
        axis="true difference between two samples, points",
        marks=(),
        shares=False,
        figures=figures,
    )


def _spread(pair: Pair) -> float | None:
    """Standard errors that a difference must reach to be shown; None where the pair has no limits."""
    if pair.high is None or pair.df is None or not pair.standard_error > 0:
        return None
    return (pair.high - pair.difference) / pair.standard_error


def _section(
    sizes: Sequence[float],
    curve: Sequence[float],
    what: Callable[[str], str],
    write: Callable[[float], str],
    *,
    axis: str,
    marks: tuple[Mark, ...],
    shares: bool,
    figures: bool,
) -> Section:
    shown = next((size for size, chance in zip(sizes, curve, strict=True) if chance >= LEVEL), None)
    half = next((size for size, chance in zip(sizes, curve, strict=True) if chance >= 0.5), None)
    if shown is None:
        said = f"No difference, however large, would be shown in {STUDIES} such studies: too few answers."
        gist = "no size of difference is reliably shown"
    else:
        said = f"Of such studies as this one, {STUDIES} would show {what(write(shown))}."
        if half is not None and half < shown:
            said += f" One of {write(half)} would be missed every other time, and smaller ones more often."
        gist = f"reliably shown: {write(shown)} or more"
    figure = power_figure(
        (PowerCurve("", tuple(sizes), tuple(curve)),),
        axis=axis,
        title="Chance that this test shows a difference, by its true size",
        marks=marks,
        level=LEVEL,
        shares=shares,
        name="missed",
    )
    return Section(
        "missed", TITLE, paragraphs=(said,), figures=(figure,) if figures else (), notes=(NOTE,), gist=gist
    )
