"""One attribute of the report: its finding, its figures and its tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis import wording
from panel.analysis.figures import MeanRow, means_figure, rank_sum_figure
from panel.analysis.figures_maps import profile_lines
from panel.analysis.figures_plots import HOLLOW, differences_figure
from panel.analysis.numbers import as_sentence, in_order, natural, p_equals
from panel.analysis.score_tables import (
    anova_table,
    conditions_table,
    difference_rows,
    means_table,
    pairs_table,
    ranks_table,
    share_limits,
    share_pairs_table,
    shares_table,
    tests_table,
)
from panel.analysis.view_parts import Section, Table, folded

if TYPE_CHECKING:
    from panel.analysis.figures import Figure
    from panel.analysis.score_report import AttributeReport
    from panel.analysis.wording import Called


def attribute_section(
    one: AttributeReport, place: int, called: Called, *, figures: bool, told: bool, leads: bool
) -> Section:
    """The part about one attribute.

    place : its number from 1; told : whether the headline says its finding already; leads : whether the figure of
        its means stands at the top of the report
    """
    tables: list[Table | None] = []
    tables += [shares_table(one, called), share_pairs_table(one, called)]
    if one.main is not None:
        tables += [means_table(one, one.main, called), pairs_table(one, one.main, called)]
    tables.append(conditions_table(one, called))
    tables += [folded(tests_table(one)), folded(ranks_table(one, called))]
    if one.main is not None:
        tables.append(folded(anova_table(one, one.main)))
    drawn = _figures(one, place, called, leads) if figures else []
    said = "" if told else wording.attribute_sentence(one, called)
    why = one.why if one.main is not None or one.shares is not None else ""
    return Section(
        id=f"attribute-{place}",
        title=one.title[:1].upper() + one.title[1:],
        paragraphs=tuple(text for text in (said, why) if text),
        figures=tuple(drawn),
        tables=tuple(table for table in tables if table is not None and table.rows),
        notes=tuple(as_sentence(note) for note in (*one.notes, *one.not_done)),
        gist=_gist(one),
        opened=leads,
    )


def _gist(one: AttributeReport) -> str:
    if one.p_value is None:
        return "not analysed" if one.main is None and one.shares is None else "nothing differed"
    said = "a difference was shown" if one.found else "no difference was shown"
    return f"{said}, {p_equals(one.p_adjusted)}"


def means_of(one: AttributeReport, called: Called, name: str) -> Figure | None:
    """Means with intervals over raw scores, or shares of yes; None where neither could be computed."""
    if one.main is not None:
        raw = {row.sample: row.scores for row in one.raw}
        rows = [
            MeanRow(
                called(row.sample),
                row.mean,
                row.low,
                row.high,
                one.main.letters.get(row.sample, "") if len(raw) > 2 else "",
                raw[row.sample],
            )
            for row in sorted(one.main.means, key=lambda row: (-row.mean, row.sample))
        ]
        title = f"“{one.title}”: means with 95\u202f% intervals over the scores"
        return means_figure(rows, title=title, axis=one.title, name=name)
    if one.shares is not None and share_limits(one):
        title = f"“{one.title}”: share of “yes” with 95\u202f% intervals"
        shares = [
            MeanRow(called(label), 100 * share, 100 * low, 100 * high)
            for label, _, _, share, low, high in share_limits(one)
        ]
        return means_figure(shares, title=title, axis="share of “yes”, %", name=name, what="share")
    return None


def _figures(one: AttributeReport, place: int, called: Called, leads: bool) -> list[Figure]:
    means = None if leads else means_of(one, called, f"means-{place}")
    drawn = [means] if means is not None else []
    rows = difference_rows(one.main, called) if one.main is not None else []
    if rows:
        title = f"“{one.title}”: differences with their intervals {HOLLOW}"
        drawn.append(differences_figure(rows, title=title, axis="points", name=f"pairs-{place}"))
    lines = _by_condition(one, place, called)
    drawn += [lines] if lines is not None else []
    if one.ranks is not None:
        what, values = wording.rank_values(one.ranks)
        sums = {called(name): value for name, value in values.items()}
        expected = sum(sums.values()) / len(sums) if what == "rank sum" else None
        title = f"“{one.title}”: {what}s"
        drawn.append(rank_sum_figure(sums, title=title, expected=expected, what=what, name=f"ranks-{place}"))
    return drawn


def _by_condition(one: AttributeReport, place: int, called: Called) -> Figure | None:
    """A line for each sample over the conditions; None for one condition, or where a mean is missing."""
    conditions = sorted({row.condition for row in one.by_condition}, key=natural)
    samples = in_order(row.sample for row in one.by_condition)
    if len(one.by_condition) < max(2, len(conditions) * len(samples)):
        return None
    means = {(row.condition, row.sample): row.mean for row in one.by_condition}
    lines = {called(s): {c: means[c, s] for c in conditions} for s in samples}
    title = f"“{one.title}”: raw means under each condition"
    return profile_lines(lines, axis=one.title, title=title, name=f"conditions-{place}")
