"""The report of scores in words, tables and figures; by blind label, or by name once names are given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis import wording
from panel.analysis.attribute_view import attribute_section, means_of
from panel.analysis.drivers_view import drivers_section
from panel.analysis.duplicates import duplicates_sentence
from panel.analysis.figures_plots import HOLLOW, DifferenceRow, differences_figure
from panel.analysis.forced_choice_view import CLAIM, status
from panel.analysis.missed_view import missed_between_means
from panel.analysis.numbers import (
    ABSENT,
    as_sentence,
    decimals_for,
    df_text,
    in_order,
    interval,
    natural,
    p_cell,
    signed,
)
from panel.analysis.panel_view import camps_section, camps_sentence, people_section, serving_section
from panel.analysis.profile_view import profile_section
from panel.analysis.robustness_view import (
    checks_of,
    hangs_on_them,
    robustness_section,
    shaky_sentences,
    without_sentence,
)
from panel.analysis.score_tables import half_widths, higher_first
from panel.analysis.view_parts import Column, Finding, ReportView, Section, Table
from stats.phrasing import count, listing, significant

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.analysis.figures import Figure
    from panel.analysis.score_report import AttributeReport, ScoreReport
    from panel.analysis.wording import Called
    from stats.comparisons import Pair

FEW = 8  # tasters below which a panel is a first look: common practice, no source
MOST_ATTRIBUTES = 20  # rows of the figure that sums up an unplanned table
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
    leading = None if several and report.primary is None else report.primary or report.attributes[0].attribute
    findings = [
        Finding(wording.attribute_sentence(one, called), one.standing)
        for one in report.attributes
        if one.attribute != leading
    ]
    cautions = [Finding(text, "check") for text in _cautions(report, called)]
    lead, leads = _lead(report, leading, called)
    return ReportView(
        title=title or report.name or "Scores",
        question=report.question,
        headline=wording.headline(report, called),
        status=f"{status(report.planned)} {_naming(names)}",
        findings=(*findings, *cautions),
        facts=_facts(report, called),
        sections=_sections(report, leading, called, figures=figures, leads=leads),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
        lead=lead if figures else None,
        sure=_sure(report, leading),
    )


def _sections(
    report: ScoreReport, leading: str | None, called: Called, *, figures: bool, leads: bool
) -> tuple[Section, ...]:
    parts = [
        attribute_section(
            one,
            place,
            called,
            figures=figures,
            told=one.attribute == leading,
            leads=leads and one.attribute == leading,
        )
        for place, one in enumerate(report.attributes, start=1)
    ]
    sections = [
        *([_overview(report, called, opened=leading is None)] if len(report.attributes) > 1 else []),
        *parts,
        missed_between_means(_first(report, leading), figures=figures),
        drivers_section(report.drivers, called, figures=figures),
        profile_section(report, called, figures=figures),
        camps_section(report, called),
        robustness_section(report),
        people_section(report, figures=figures),
        serving_section(report, called, figures=figures),
        *([_reading(report)] if report.assumptions else []),
        _method(report),
    ]
    return tuple(section for section in sections if section is not None)


def _other_ways(number: int) -> str:
    return {1: "The other way", 2: "Both other ways"}.get(number, f"All {number} other ways")


def _first(report: ScoreReport, leading: str | None) -> AttributeReport:
    return report.attribute(leading) if leading is not None else report.attributes[0]


def _lead(report: ScoreReport, leading: str | None, called: Called) -> tuple[Figure | None, bool]:
    """The figure of the answer, and whether it is that of one attribute's means."""
    if leading is not None:
        return means_of(report.attribute(leading), called, "answer"), True
    rows = []
    for one in report.attributes:
        pair = _widest(one)
        if pair is not None and pair.low is not None and pair.high is not None:
            words = (f"{one.title}:", called(pair.a), "over", called(pair.b))
            rows.append(DifferenceRow(words, pair.difference, pair.low, pair.high))
    if not rows:
        return None, False
    title = f"The largest difference between two samples in each attribute, with its interval {HOLLOW}"
    return differences_figure(rows[:MOST_ATTRIBUTES], title=title, axis="points", name="answer"), False


def _sure(report: ScoreReport, leading: str | None) -> tuple[str, ...]:
    """Whether other methods and other tasters say the same, what chance gives, and how far the result reaches."""
    one = report.attribute(leading) if leading is not None else None
    said: list[str] = []
    if one is not None:
        checks = checks_of(one)
        if one.main is not None and checks:
            said += shaky_sentences(one) or [
                f"{_other_ways(len(checks))} to test the same question "
                f"{'comes' if len(checks) == 1 else 'come'} out the same at α = {report.alpha:g}."
            ]
        said += [without_sentence(one)] if hangs_on_them(one) else []
    said += report.notes if any(one.p_value is not None for one in report.attributes) else ()
    if report.tasters < FEW:
        said.append(
            f"{count(report.tasters, 'taster')} can stand for few others: take the result as a first look."
        )
    return (*said, CLAIM)


def _called(names: Mapping[str, str] | None) -> Called:
    known = dict(names or {})
    return lambda label: f"{known[label]} ({label})" if label in known else label


def _naming(names: Mapping[str, str] | None) -> str:
    return "Samples go by name, their labels in brackets." if names else "Samples go by their labels."


def _facts(report: ScoreReport, called: Called) -> tuple[tuple[str, str], ...]:
    facts = [
        (
            "Samples",
            f"{len(report.samples)}: {listing([called(label) for label in in_order(report.samples)])}",
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


def _widest(one: AttributeReport) -> Pair | None:
    """The pair that lies farthest apart, the higher sample in front; None for shares of yes."""
    if one.main is None or not one.main.pairs:
        return None
    return higher_first(max(one.main.pairs, key=lambda pair: abs(pair.difference)))


def _overview(report: ScoreReport, called: Called, *, opened: bool) -> Section:
    rows = []
    for one in report.attributes:
        term = one.shares.terms[0] if one.shares else None
        pair, between, gap, limits = _widest(one), ABSENT, ABSENT, ABSENT
        if pair is not None:
            decimals = decimals_for(half_widths([pair]))
            between = f"{called(pair.a)} over {called(pair.b)}"
            gap = signed(pair.difference, decimals)
            limits = interval(pair.low, pair.high, decimals)
        test = ABSENT
        if one.main is not None:
            test = f"{significant(one.main.f)} ({df_text(one.main.df_num)}, {df_text(one.main.df_den)})"
        elif term is not None and term.cochran_q is not None:
            test = f"Q {significant(term.cochran_q)} ({term.df})"
        cells = (gap, limits, test, p_cell(one.p_value), p_cell(one.p_adjusted))
        rows.append((one.title, between, *cells, one.standing))
    table = Table(
        caption="Every attribute",
        columns=(
            Column("Attribute", numeric=False),
            Column("Farthest apart", numeric=False),
            *map(
                Column, ("Difference", "95\u202f% interval", "F or Q (df)", "p", CORRECTED[report.correction])
            ),
            Column("Standing", numeric=False),
        ),
        rows=tuple(rows),
    )
    found = sum(one.found for one in report.attributes)
    gist = f"a difference was shown in {found} of {len(report.attributes)}"
    return Section("attributes", "All attributes", tables=(table,), gist=gist, opened=opened)


def _reading(report: ScoreReport) -> Section:
    return Section("reading", "How the file was read", notes=report.assumptions)


def _method(report: ScoreReport) -> Section:
    kinds = tuple(dict.fromkeys(f"{one.method}." for one in report.attributes if one.method))
    checks = tuple(
        dict.fromkeys(f"{one.ranks.method}." for one in report.attributes if one.ranks is not None)
    )
    return Section(
        "method",
        "Method",
        paragraphs=(f"{report.method}.",),
        notes=tuple(as_sentence(text) for text in (*kinds, *checks)),
    )
