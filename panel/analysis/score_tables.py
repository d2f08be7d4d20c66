"""The tables of one attribute: means, pairs, tests. Estimates with intervals come before p-values."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from panel.analysis.figures_plots import DifferenceRow
from panel.analysis.numbers import (
    ABSENT,
    decimals_for,
    df_text,
    fixed,
    in_order,
    interval,
    natural,
    p_cell,
    p_equals,
    signed,
)
from panel.analysis.view_parts import Column, Table
from panel.analysis.wording import rank_p, rank_test_name, rank_values
from stats.multiplicity import CORRECTIONS
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from collections.abc import Iterable

    from panel.analysis.score_report import AttributeReport
    from panel.analysis.wording import Called
    from stats.comparisons import Pair
    from stats.liking_rows import HedonicAnova

MANY_PAIRS = 15  # pairs that are seen at a glance
MOST_PAIRS = 60  # rows of a table of pairs that anybody reads
_ADJUSTED = {
    "tukey": "Tukey's method, all pairs together",
    "dunnett": "Dunnett's method, all comparisons with the reference together",
    "holm": "Holm's correction",
    "benjamini-hochberg": "Benjamini and Hochberg's correction",
    "none": "no correction",
}


def means_table(one: AttributeReport, main: HedonicAnova, called: Called) -> Table:
    """Adjusted means with intervals, letters, and the raw means beside them, highest first."""
    decimals = decimals_for(row.high - row.mean for row in main.means)
    rows = sorted(main.means, key=lambda row: (-row.mean, row.sample))
    has_letters = bool(main.letters) and len(rows) > 2
    columns = [
        Column("Sample", numeric=False),
        Column("Mean"),
        Column(f"{percent(main.confidence)} interval"),
    ]
    columns += [Column("Letters", numeric=False)] if has_letters else []
    columns += [Column("Raw mean"), Column("Scores")]
    cells = [
        (
            called(row.sample),
            fixed(row.mean, decimals),
            interval(row.low, row.high, decimals),
            *((main.letters[row.sample],) if has_letters else ()),
            fixed(row.raw_mean, decimals),
            str(row.n),
        )
        for row in rows
    ]
    note = "Samples that share a letter are not shown to differ. " if has_letters else ""
    return Table(
        caption=f"“{one.title}”: mean scores, adjusted for who scored what",
        columns=tuple(columns),
        rows=tuple(cells),
        note=f"{note}Intervals are for each mean alone; two may overlap and yet differ.",
    )


def higher_first(pair: Pair) -> Pair:
    """The same pair with the higher sample in front, so that differences read one way."""
    if pair.difference >= 0:
        return pair
    return dataclasses.replace(
        pair,
        a=pair.b,
        b=pair.a,
        difference=-pair.difference,
        low=_negative(pair.high),
        high=_negative(pair.low),
        effect_size=_negative(pair.effect_size),
        effect_low=_negative(pair.effect_high),
        effect_high=_negative(pair.effect_low),
    )


def _negative(value: float | None) -> float | None:
    return None if value is None else -value


def pairs_table(one: AttributeReport, main: HedonicAnova, called: Called) -> Table:
    """Differences with intervals, standardised effect and adjusted p, largest first."""
    pairs = sorted(
        (pair if main.reference else higher_first(pair) for pair in main.pairs),
        key=lambda pair: (-abs(pair.difference), pair.a, pair.b),
    )
    decimals = decimals_for(half_widths(pairs))
    rows = tuple(
        (
            f"{called(pair.a)} {'compared with' if main.reference else 'over'} {called(pair.b)}",
            signed(pair.difference, decimals),
            interval(pair.low, pair.high, decimals),
            signed(pair.effect_size, 2),
            p_cell(pair.p_adjusted),
        )
        for pair in pairs[:MOST_PAIRS]
    )
    left = (
        f" The {MOST_PAIRS} largest of {len(pairs)} differences are shown." if len(pairs) > MOST_PAIRS else ""
    )
    return Table(
        caption=f"“{one.title}”: differences between samples",
        columns=(
            Column("Pair", numeric=False),
            Column("Difference"),
            Column(f"{percent(main.confidence)} interval"),
            Column("Effect (dz)"),
            Column("p, adjusted" if len(pairs) > 1 else "p"),
        ),
        rows=rows,
        note=(
            f"p by {_ADJUSTED[main.adjust]}. dz: mean difference within tasters over its standard deviation.{left}"
            if len(pairs) > 1
            else "dz: mean difference within tasters over its standard deviation."
        ),
        detail=len(pairs) > MANY_PAIRS,
    )


def half_widths(pairs: Iterable[Pair]) -> list[float]:
    """Half the length of each interval that there is."""
    return [(pair.high - pair.low) / 2 for pair in pairs if pair.low is not None and pair.high is not None]


def difference_rows(main: HedonicAnova, called: Called) -> list[DifferenceRow]:
    """Differences for a figure, largest first; empty where pairs have no limits, or are too many to be seen."""
    pairs = [pair if main.reference else higher_first(pair) for pair in main.pairs]
    if len(pairs) > MANY_PAIRS or len(pairs) < 2:
        return []
    verb = "–" if main.reference else "over"
    return [
        DifferenceRow((called(pair.a), verb, called(pair.b)), pair.difference, pair.low, pair.high)
        for pair in sorted(pairs, key=lambda pair: (-abs(pair.difference), pair.a, pair.b))
        if pair.low is not None and pair.high is not None
    ]


def conditions_table(one: AttributeReport, called: Called) -> Table | None:
    """Raw means under each condition, a row per condition; None where there is one condition."""
    if not one.by_condition:
        return None
    conditions = sorted({row.condition for row in one.by_condition}, key=natural)
    samples = in_order(row.sample for row in one.by_condition)
    means = {(row.condition, row.sample): row.mean for row in one.by_condition}
    decimals = decimals_for(row.high - row.mean for row in one.main.means) if one.main else 2
    return Table(
        caption=f"“{one.title}”: raw means under each condition",
        columns=(Column("Condition", numeric=False), *(Column(called(sample)) for sample in samples)),
        rows=tuple(
            (condition, *(fixed(means.get((condition, sample)), decimals) for sample in samples))
            for condition in conditions
        ),
    )


def tests_table(one: AttributeReport) -> Table:
    """Every test of the question "do the samples differ", the one that the finding rests on first."""
    rows = []
    named = ((one.main, "the finding rests on this"), (one.check, "check: tasters as fixed blocks"))
    for anova, role in named:
        if anova is not None:
            rows.append(
                (
                    anova.formula,
                    f"F = {significant(anova.f)}",
                    f"{df_text(anova.df_num)}, {df_text(anova.df_den)}",
                    p_cell(anova.p_value),
                    role,
                )
            )
    rows += _check_rows(one)
    for anova, role in ((one.interaction, "do samples rank alike under all conditions?"),):
        for line in anova.table if anova else ():
            if "sample" in line.term and "condition" in line.term and line.f is not None:
                df = f"{df_text(line.df)}, {df_text(line.df_den)}"
                rows.append((line.term, f"F = {significant(line.f)}", df, p_cell(line.p_value), role))
    return Table(
        caption=f"“{one.title}”: tests of whether the samples differ",
        columns=(
            Column("Test", numeric=False),
            Column("Statistic"),
            Column("df"),
            Column("p"),
            Column("Role", numeric=False),
        ),
        rows=tuple(rows),
        note=_correction_note(one),
    )


def _check_rows(one: AttributeReport) -> list[tuple[str, str, str, str, str]]:
    rows = []
    if one.shares is not None:
        term = one.shares.terms[0]
        statistic = ABSENT if term.cochran_q is None else significant(term.cochran_q)
        rows.append(("Cochran's Q", statistic, str(term.df), p_cell(term.p), "the finding rests on this"))
    if one.ranks is not None:
        statistic, role = significant(one.ranks.statistic), "check: needs no normal scores"
        rows.append(
            (rank_test_name(one.ranks), statistic, str(one.ranks.df), p_cell(rank_p(one.ranks)), role)
        )
    if one.permutation is not None:
        p, role = p_cell(one.permutation.p_value), "check: shuffles scores within tasters"
        rows.append(("Permutation of scores", ABSENT, ABSENT, p, role))
    if one.ordinal is not None:
        statistic, df = significant(one.ordinal.statistic), str(one.ordinal.df)
        role = "check: scores as ordered categories"
        rows.append(("Cumulative logit, chi-square", statistic, df, p_cell(one.ordinal.p_value), role))
    return rows


def shares_table(one: AttributeReport, called: Called) -> Table | None:
    """Shares of yes with exact limits, highest first; None for scores on a scale."""
    shares = share_limits(one)
    if not shares:
        return None
    several = one.shape.conditions > 1 or one.shape.replicated
    rows = tuple(
        (called(name), percent(share), f"{percent(low)} to {percent(high)}", f"{yes} of {n}")
        for name, yes, n, share, low, high in shares
    )
    headings = ("Share of yes", "95\u202f% interval", "Yes")
    return Table(
        caption=f"“{one.title}”: share of “yes”",
        columns=(Column("Sample", numeric=False), *(Column(heading) for heading in headings)),
        rows=rows,
        note="Exact limits (Clopper-Pearson), of each share alone."
        + (f" Counts are judgements: {one.shape.tasters} tasters gave several each." if several else ""),
    )


def share_limits(one: AttributeReport) -> list[tuple[str, int, int, float, float, float]]:
    """Sample, yes, answers, share, low, high with 95 % limits, highest first; empty for scales, and without answers."""
    from stats.discrimination_exact import exact_limits

    if one.shares is None or not one.shares.terms[0].blocks:
        return []
    term = one.shares.terms[0]
    found = []
    for name, yes in sorted(term.checked, key=lambda row: (-row[1], row[0])):
        low, high = exact_limits(yes, term.blocks, 0.025, 0.025)
        found.append((name, yes, term.blocks, yes / term.blocks, low, high))
    return found


def share_pairs_table(one: AttributeReport, called: Called) -> Table | None:
    """Pairs of shares by the exact McNemar test; None for scales."""
    if one.shares is None:
        return None
    rows = []
    for pair in one.shares.terms[0].pairs:
        a, b, only_a, only_b = pair.sample_a, pair.sample_b, pair.only_a, pair.only_b
        if pair.share_a < pair.share_b:
            a, b, only_a, only_b = b, a, only_b, only_a
        gap = f"{100 * abs(pair.share_a - pair.share_b):.0f} points"
        rows.append((f"{called(a)} over {called(b)}", gap, f"{only_a} : {only_b}", p_cell(pair.p_adjusted)))
    return Table(
        caption=f"“{one.title}”: differences between samples in the share of “yes”",
        columns=(
            Column("Pair", numeric=False),
            *(Column(text) for text in ("Difference", "Only one : only other", "p, adjusted")),
        ),
        rows=tuple(rows),
        note="p by the exact McNemar test, Holm's correction over pairs.",
    )


def _correction_note(one: AttributeReport) -> str:
    if one.family < 2 or one.p_adjusted is None:
        return ""
    return f"After {CORRECTIONS[one.correction]} over {one.family} attributes: {p_equals(one.p_adjusted)}."


def anova_table(one: AttributeReport, main: HedonicAnova) -> Table:
    """The lines of the analysis of variance, then the variances of the mixed model's random terms."""
    lines = [
        (
            line.term,
            df_text(line.df),
            ABSENT if line.sum_of_squares is None else significant(line.sum_of_squares, 5),
            ABSENT if line.f is None else significant(line.f, 4),
            df_text(line.df_den),
            p_cell(line.p_value),
            line.error or ABSENT,
        )
        for line in main.table
    ]
    spread = [f"{row.term} {significant(row.variance)}" for row in main.random]
    variances = (
        f"Variances: {', '.join(spread)}, residual {significant(main.residual_variance)}." if spread else ""
    )
    return Table(
        caption=f"“{one.title}”: {main.formula}",
        columns=(
            Column("Term", numeric=False),
            *(Column(heading) for heading in ("df", "Sum of squares", "F", "df error", "p")),
            Column("Tested over", numeric=False),
        ),
        rows=tuple(lines),
        note=variances,
    )


def ranks_table(one: AttributeReport, called: Called) -> Table | None:
    """Rank sums, highest first."""
    if one.ranks is None:
        return None
    what, values = rank_values(one.ranks)
    lsd: float | None = getattr(one.ranks, "lsd", None)
    rows = tuple(
        (called(name), f"{values[name]:.4g}")
        for name in sorted(values, key=lambda name: (-values[name], name))
    )
    note = f"Least significant difference of two rank sums (ISO 8587): {significant(lsd)}." if lsd else ""
    return Table(
        caption=f"“{one.title}”: {what} (higher is a higher score)",
        columns=(Column("Sample", numeric=False), Column(what.capitalize())),
        rows=rows,
        note=note,
    )
