"""The tables of one attribute: means, pairs, tests. Estimates with intervals come before p-values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.numbers import ABSENT, decimals_for, df_text, fixed, interval, p_cell, p_equals, signed
from panel.analysis.view_parts import Column, Table
from panel.analysis.wording import rank_p, rank_test_name
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from panel.analysis.score_report import AttributeReport
    from panel.analysis.wording import Called
    from stats.liking_rows import HedonicAnova

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


def pairs_table(one: AttributeReport, main: HedonicAnova, called: Called) -> Table:
    """Differences with intervals, standardised effect and adjusted p, largest first."""
    pairs = sorted(main.pairs, key=lambda pair: (-abs(pair.difference), pair.a, pair.b))
    widths = [(pair.high - pair.low) / 2 for pair in pairs if pair.low is not None and pair.high is not None]
    decimals = decimals_for(widths)
    rows = tuple(
        (
            f"{called(pair.a)} less {called(pair.b)}",
            signed(pair.difference, decimals),
            interval(pair.low, pair.high, decimals),
            signed(pair.effect_size, 2),
            p_cell(pair.p_adjusted),
        )
        for pair in pairs
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
            f"p by {_ADJUSTED[main.adjust]}. dz: mean difference within tasters over its standard deviation."
            if len(pairs) > 1
            else "dz: mean difference within tasters over its standard deviation."
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
    if one.ranks is not None:
        role = "the finding rests on this" if one.shape.yes_no else "check: needs no normal scores"
        p, df = rank_p(one.ranks), str(one.ranks.df)
        rows.append((rank_test_name(one), significant(one.ranks.statistic), df, p_cell(p), role))
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


def _correction_note(one: AttributeReport) -> str:
    if one.family < 2 or one.p_adjusted is None:
        return ""
    return f"After Holm's correction over {one.family} attributes: {p_equals(one.p_adjusted)}."


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
    sums = one.ranks.rank_sums
    lsd: float | None = getattr(one.ranks, "lsd", None)
    rows = tuple(
        (called(name), f"{sums[name]:g}") for name in sorted(sums, key=lambda name: (-sums[name], name))
    )
    note = f"Least significant difference of two rank sums (ISO 8587): {significant(lsd)}." if lsd else ""
    return Table(
        caption=f"“{one.title}”: rank sums (a higher sum is a higher score)",
        columns=(Column("Sample", numeric=False), Column("Rank sum")),
        rows=rows,
        note=note,
    )
