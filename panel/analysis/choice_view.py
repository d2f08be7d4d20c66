"""The report of same-different, A-not-A, preference and ranking in words and tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from panel.analysis.figures import MeanRow, bars_figure, means_figure
from panel.analysis.forced_choice_view import CLAIM, status
from panel.analysis.missed_view import missed_distance, missed_preference
from panel.analysis.numbers import (
    as_sentence,
    limit_alone,
    number_with_limits,
    often,
    p_cell,
    p_equals,
    share_with_limits,
    typeset,
)
from panel.analysis.ranking_view import ranking_parts
from panel.analysis.view_parts import Column, ReportView, Section, Table
from panel.analysis.wording import as_labelled
from panel.study.test_methods import method_of
from stats.phrasing import count, p_text, percent, significant

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from panel.analysis.choice_report import ChoiceReport
    from panel.analysis.figures import Figure
    from panel.analysis.wording import Called
    from stats.discrimination_two_product import TwoProductTest
    from stats.preference import PairedPreference

QUANTITIES = (Column("Quantity", numeric=False), Column("Estimate (limits)"), Column("Kind", numeric=False))


@dataclass(frozen=True, slots=True)
class ChoiceParts:
    """What each kind of test gives the report: its answer, the figure of it, how sure it is, and the parts."""

    headline: str
    lead: Figure | None
    sure: tuple[str, ...]
    sections: tuple[Section, ...]


def choice_view(
    report: ChoiceReport, *, names: Mapping[str, str] | None = None, title: str = "", figures: bool = True
) -> ReportView:
    """What the page, the file and the terminal show. names : blind label -> product name, after the reveal."""
    called = as_labelled if names is None else lambda label: f"{names[label]} ({label})"
    method = method_of(report.test)
    parts = _PARTS[report.kind](report, called, figures)
    facts = [
        ("Test", f"{method.name} ({method.standard})"),
        ("Took part", f"{count(report.tasters, 'taster')}, {count(report.answers, 'answer')}"),
        ("Level", f"α = {report.alpha:g}"),
    ]
    notes = tuple(as_sentence(note) for note in report.notes)
    how = Section("method", "Method", paragraphs=(as_sentence(report.method),), notes=notes)
    return ReportView(
        title=title or method.name,
        question="",
        headline=typeset(parts.headline),
        status=status(report.planned),
        findings=(),
        facts=tuple(facts),
        sections=(*parts.sections, how),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
        lead=parts.lead,
        sure=(*map(typeset, parts.sure), CLAIM),
    )


def _counts(report: ChoiceReport, called: Called, caption: str, empty: str = "") -> Table:
    rows = tuple(
        ((called(what) if what in report.samples else what or empty), str(number))
        for what, number in report.counts
    )
    return Table(caption=caption, columns=(Column("Answer", numeric=False), Column("Answers")), rows=rows)


def _two_product(report: ChoiceReport, called: Called, figures: bool) -> ChoiceParts:
    found = cast("TwoProductTest", report.result)
    kinds = (report.counts[1][0], report.counts[3][0])
    rates = (found.target_rate, found.other_rate)
    table = Table(
        caption=f"Estimates with {percent(found.confidence)} limits",
        columns=QUANTITIES,
        rows=(
            *((kind, share_with_limits(rate), "exact") for kind, rate in zip(kinds, rates, strict=True)),
            ("Size of the difference (d′)", number_with_limits(found.d_prime), "profile likelihood"),
            ("d′ that could have been missed", limit_alone(found.d_prime_upper, _two_digits), "one-sided"),
            ("p of the difference", p_cell(found.p_value), "one-sided, exact"),
        ),
    )
    gist = f"d′ {number_with_limits(found.d_prime)}, {p_equals(found.p_value)}"
    counts = _counts(report, called, "What was answered")
    missed = missed_distance(found, figures=figures)
    return ChoiceParts(
        found.sentence(),
        _rates(report, found, kinds) if figures else None,
        (
            f"If both kinds were alike to the tasters, so great a gap or a greater one would come up in "
            f"{often(found.p_value)} such studies.",
        ),
        (
            Section("result", "Result", tables=(counts, table), gist=gist, opened=True),
            *((missed,) if missed else ()),
        ),
    )


def _rates(report: ChoiceReport, found: TwoProductTest, kinds: tuple[str, str]) -> Figure:
    """How often each kind of serving was answered so, with intervals."""
    said = "“different”" if report.kind == "same-different" else "“yes”"
    rows = [
        MeanRow(
            kind.partition(",")[0],
            100 * (rate.estimate or 0.0),
            100 * (rate.low or 0.0),
            100 * (rate.high or 0.0),
        )
        for kind, rate in zip(kinds, (found.target_rate, found.other_rate), strict=True)
    ]
    title = f"Share answered {said}, with {percent(found.confidence)} intervals"
    return means_figure(rows, title=title, axis=f"answered {said}, %", name="shares", what="share")


def _two_digits(value: float) -> str:
    return significant(value, 2)


def _preference(report: ChoiceReport, called: Called, figures: bool) -> ChoiceParts:
    found = cast("PairedPreference", report.result)
    first, second = (called(sample) for sample in report.samples)
    share = (
        (f"Share preferring {first}", share_with_limits(found.share_a), "exact") if found.share_a else None
    )
    chosen = found.prefer_a + found.prefer_b > 0
    table = Table(
        caption="Estimates with limits",
        columns=QUANTITIES,
        rows=(
            *((share,) if share and chosen else ()),
            *(
                (("Share without a preference", share_with_limits(found.undecided), "exact"),)
                if len(report.counts) > 2
                else ()
            ),
            ("p of the preference", p_cell(found.p_value), "two-sided, exact"),
        ),
    )
    counts = _counts(report, called, "Preferred", empty="No preference")
    missed = missed_preference(found, figures=figures)
    title = "How many preferred which"
    bars = [(cells[0], float(cells[1])) for cells in counts.rows]
    lead = bars_figure(bars, title=title, axis="tasters", name="preferred") if figures and chosen else None
    sections = (
        Section("result", "Result", tables=(counts, table), gist=p_equals(found.p_value), opened=True),
        *((missed,) if missed else ()),
    )
    sure = (
        f"If nobody had a preference and everybody chose blindly, so great a majority for either of the two would "
        f"come up in {often(found.p_value)} such panels.",
    )
    return ChoiceParts(
        _preference_sentence(found, first, second, chosen), lead, sure if chosen else (), sections
    )


def _preference_sentence(found: PairedPreference, first: str, second: str, chosen: bool) -> str:
    if not chosen:
        asked = count(found.no_preference, "taster")
        return f"None of {asked} preferred either of the two, so no preference can be tested."
    said = f"{found.prefer_a} preferred {first}, {found.prefer_b} preferred {second}"
    if found.no_preference:
        said += f", {found.no_preference} had no preference"
    share = found.share_a
    if share is None or share.low is None or share.high is None:
        return f"{said}: no vote is left, so no preference can be tested."
    span = (
        f"{p_text(found.p_value)}; share preferring {first} {percent(share.estimate or 0.0)}, "
        f"{percent(share.confidence)} interval {percent(share.low)} to {percent(share.high)}"
    )
    if found.significant:
        winner = first if found.counted_a > found.counted_b else second
        return f"{said}: {winner} is preferred ({span})."
    return (
        f"{said}: a preference was not shown ({span}). This is no evidence of equal liking: any share in that "
        "interval could be true."
    )


def _ranking(report: ChoiceReport, called: Called, figures: bool) -> ChoiceParts:
    return ChoiceParts(*ranking_parts(report, called, figures=figures))


_PARTS: dict[str, Callable[[ChoiceReport, Called, bool], ChoiceParts]] = {
    "same-different": _two_product,
    "A-not-A": _two_product,
    "preference": _preference,
    "ranking": _ranking,
}
