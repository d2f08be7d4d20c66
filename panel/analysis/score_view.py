"""The report of scores in words, tables and figures; by blind label, or by name once names are given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis import wording
from panel.analysis.drivers_view import drivers_section
from panel.analysis.duplicates import duplicates_sentence
from panel.analysis.figures import Figure, MeanRow, means_figure, rank_sum_figure
from panel.analysis.forced_choice_view import CLAIM, status
from panel.analysis.numbers import as_sentence, decimals_for, df_text, natural, p_cell, signed
from panel.analysis.panel_view import camps_section, camps_sentence, people_section, serving_section
from panel.analysis.profile_view import profile_section
from panel.analysis.robustness_view import (
    robustness_section,
    shaky_sentences,
    without_sentence,
)
from panel.analysis.score_tables import (
    anova_table,
    conditions_table,
    means_table,
    pairs_table,
    ranks_table,
    share_limits,
    share_pairs_table,
    shares_table,
    tests_table,
)
from panel.analysis.view_parts import Column, Finding, ReportView, Section, Table, folded
from stats.phrasing import count, listing, significant

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.score_report import AttributeReport, ScoreReport
    from panel.analysis.wording import Called

CORRECTED = {"holm": "p, Holm", "benjamini-hochberg": "p, Benjamini-Hochberg", "none": "p, uncorrected"}


def score_view(
    report: ScoreReport,
    *,
    names: Mapping[str, str] | None = None,
    title: str = "",
    figures: bool = True,
) -> ReportView:
    """What the page, the file and the terminal show of scores.

    names : blind label -> product, after the reveal; each sample then goes by name with its label behind
    figures : draw the figures (a terminal needs none)
    """
    called = _called(names)
    several = len(report.attributes) > 1
    findings = [
        Finding(wording.attribute_sentence(one, called), one.standing)
        for one in report.attributes
        if several and one.attribute != report.primary
    ]
    agreement = [Finding(text, "check") for text in _cautions(report, called)]
    sections = [
        *([_overview(report, called)] if several else []),
        *(
            _attribute(one, place, called, figures, several)
            for place, one in enumerate(report.attributes, start=1)
        ),
        drivers_section(report.drivers, called, figures=figures),
        profile_section(report, called, figures=figures),
        camps_section(report, called),
        robustness_section(report),
        people_section(report, figures=figures),
        serving_section(report, called, figures=figures),
        *([_reading(report)] if report.assumptions else []),
        _method(report),
    ]
    return ReportView(
        title=title or report.name or "Scores",
        question=report.question,
        headline=wording.headline(report, called),
        status=f"{status(report.planned)} {_naming(names)}",
        findings=(*findings, *agreement),
        facts=_facts(report, called),
        sections=tuple(section for section in sections if section is not None),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
    )


def _called(names: Mapping[str, str] | None) -> Called:
    known = dict(names or {})
    return lambda label: f"{known[label]} ({label})" if label in known else label


def _naming(names: Mapping[str, str] | None) -> str:
    return "Samples go by name, their labels in brackets." if names else "Samples go by their labels."


def _facts(report: ScoreReport, called: Called) -> tuple[tuple[str, str], ...]:
    facts = [
        (
            "Samples",
            f"{len(report.samples)}: {listing([called(label) for label in sorted(report.samples, key=natural)])}",
        ),
        ("Took part", count(report.tasters, "taster")),
        ("Scores", f"{report.scores}, {report.missing} missing" if report.missing else str(report.scores)),
    ]
    if len(report.conditions) > 1:
        facts.append(
            ("Conditions", f"{len(report.conditions)}: {listing(sorted(report.conditions, key=natural))}")
        )
    if report.replicates > 1:
        facts.append(("Replicates", str(report.replicates)))
    if report.reference:
        facts.append(("Reference", called(report.reference)))
    facts += [("Level", f"α = {report.alpha:g}")]
    return tuple(facts)


def _cautions(report: ScoreReport, called: Called) -> list[str]:
    """Where ranks say otherwise, or conditions matter: said for each such attribute, never hidden."""
    said = wording.condition_sentences(report)
    for one in report.attributes:
        if one.camps is not None and one.camps.warning:
            said.append(camps_sentence(one, one.camps, called))
        said += shaky_sentences(one)
        if one.main is not None and any(
            (w.p_value <= one.alpha) != (one.main.p_value <= one.alpha) for w in one.without
        ):
            said.append(without_sentence(one))
    if report.duplicates:
        said.append(duplicates_sentence(report.duplicates, called))
    return said


def _overview(report: ScoreReport, called: Called) -> Section:
    rows = []
    for one in report.attributes:
        term = one.shares.terms[0] if one.shares else None
        widest = max(one.main.pairs, key=lambda pair: abs(pair.difference)) if one.main else None
        gap = "–"
        if widest is not None:
            width = [
                (widest.high - widest.low) / 2
                for _ in (0,)
                if widest.low is not None and widest.high is not None
            ]
            size = signed(abs(widest.difference), decimals_for(width))
            first, last = (widest.a, widest.b) if widest.difference >= 0 else (widest.b, widest.a)
            gap = f"{size} ({called(first)} over {called(last)})"
        test = "–"
        if one.main is not None:
            test = f"{significant(one.main.f)} ({df_text(one.main.df_num)}, {df_text(one.main.df_den)})"
        elif term is not None and term.cochran_q is not None:
            test = f"Q {significant(term.cochran_q)} ({term.df})"
        rows.append((one.title, gap, test, p_cell(one.p_value), p_cell(one.p_adjusted), one.standing))
    table = Table(
        caption="Every attribute",
        columns=(
            Column("Attribute", numeric=False),
            *(
                Column(heading)
                for heading in ("Largest difference", "F or Q (df)", "p", CORRECTED[report.correction])
            ),
            Column("Standing", numeric=False),
        ),
        rows=tuple(rows),
    )
    return Section("attributes", "All attributes", tables=(table,), notes=report.notes)


def _attribute(one: AttributeReport, place: int, called: Called, figures: bool, several: bool) -> Section:
    tables: list[Table | None] = []
    tables += [shares_table(one, called), share_pairs_table(one, called)]
    if one.main is not None:
        tables += [means_table(one, one.main, called), pairs_table(one, one.main, called)]
    tables.append(conditions_table(one, called))
    tables += [folded(tests_table(one)), folded(ranks_table(one, called))]
    if one.main is not None:
        tables.append(folded(anova_table(one, one.main)))
    return Section(
        id=f"attribute-{place}",
        title=one.title,
        paragraphs=(*((wording.attribute_sentence(one, called),) if several else ()), one.why),
        figures=tuple(_figures(one, place, called)) if figures else (),
        tables=tuple(table for table in tables if table is not None and table.rows),
        notes=tuple(as_sentence(note) for note in (*one.notes, *one.not_done)),
    )


def _figures(one: AttributeReport, place: int, called: Called) -> list[Figure]:
    drawn = []
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
        title = f"“{one.title}”: means with intervals over the scores"
        drawn.append(means_figure(rows, title=title, axis=one.title, name=f"means-{place}"))
    if one.shares is not None:
        title = f"“{one.title}”: share of “yes” with intervals"
        rows = [MeanRow(called(name), share, low, high) for name, _, _, share, low, high in share_limits(one)]
        drawn.append(means_figure(rows, title=title, axis="share of yes", name=f"shares-{place}"))
    if one.ranks is not None:
        what, values = wording.rank_values(one.ranks)
        sums = {called(name): value for name, value in values.items()}
        even = what == "rank sum"
        expected = sum(sums.values()) / len(sums) if even else None
        title = f"“{one.title}”: {what}s"
        drawn.append(rank_sum_figure(sums, title=title, expected=expected, what=what, name=f"ranks-{place}"))
    return drawn


def _reading(report: ScoreReport) -> Section:
    return Section("reading", "How the file was read", notes=report.assumptions)


def _method(report: ScoreReport) -> Section:
    kinds = tuple(dict.fromkeys(f"{one.method}." for one in report.attributes if one.method))
    checks = tuple(
        dict.fromkeys(f"{one.ranks.method}." for one in report.attributes if one.ranks is not None)
    )
    notes = report.notes if len(report.attributes) == 1 else ()
    return Section(
        "method",
        "Method and limits",
        paragraphs=(f"{report.method}.", CLAIM),
        notes=tuple(as_sentence(text) for text in (*kinds, *checks, *notes)),
    )
