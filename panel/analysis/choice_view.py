"""The report of same-different, A-not-A, preference and ranking in words and tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from panel.analysis.drawing import Figure
from panel.analysis.figures import draw_bars
from panel.analysis.forced_choice_view import CLAIM, status
from panel.analysis.numbers import as_sentence, fixed, number_with_limits, p_cell, share_with_limits
from panel.analysis.view_parts import Column, ReportView, Section, Table
from panel.analysis.wording import as_labelled, rank_p, rank_test_name, rank_values
from panel.study.test_methods import method_of
from stats.phrasing import count, listing, p_text, percent, significant

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from panel.analysis.choice_report import ChoiceReport
    from panel.analysis.wording import Called, RankTest
    from stats.discrimination_two_product import TwoProductTest
    from stats.preference import PairedPreference
    from stats.ranking_pairs import RankPair

QUANTITIES = (Column("Quantity", numeric=False), Column("Estimate (limits)"), Column("Kind", numeric=False))


def choice_view(
    report: ChoiceReport, *, names: Mapping[str, str] | None = None, title: str = "", figures: bool = True
) -> ReportView:
    """What the page, the file and the terminal show. names : blind label -> product name, after the reveal."""
    called = as_labelled if names is None else lambda label: f"{names[label]} ({label})"
    method = method_of(report.test)
    headline, result = _PARTS[report.kind](report, called, figures)
    facts = [
        ("Test", f"{method.name} ({method.standard})"),
        ("Took part", f"{count(report.tasters, 'taster')}, {count(report.answers, 'answer')}"),
        ("Level", f"α = {report.alpha:g}"),
    ]
    notes = tuple(as_sentence(note) for note in report.notes)
    how = Section("method", "Method and limits", paragraphs=(as_sentence(report.method), CLAIM), notes=notes)
    return ReportView(
        title=title or method.name,
        question="",
        headline=headline,
        status=status(report.planned),
        findings=(),
        facts=tuple(facts),
        sections=(result, how),
        provenance=(("Data (SHA-256)", report.data_hash), *report.versions),
    )


def _counts(report: ChoiceReport, called: Called, caption: str, empty: str = "") -> Table:
    rows = tuple(
        ((called(what) if what in report.samples else what or empty), str(number))
        for what, number in report.counts
    )
    return Table(caption=caption, columns=(Column("", numeric=False), Column("Answers")), rows=rows)


def _two_product(report: ChoiceReport, called: Called, _figures: bool) -> tuple[str, Section]:
    found = cast("TwoProductTest", report.result)
    table = Table(
        caption=f"Estimates with {percent(found.confidence)} limits",
        columns=QUANTITIES,
        rows=(
            (f"Share of {report.counts[0][0].lower()}", share_with_limits(found.target_rate), "exact"),
            (f"Share of {report.counts[2][0].lower()}", share_with_limits(found.other_rate), "exact"),
            ("Size of the difference (d′)", number_with_limits(found.d_prime), "profile likelihood"),
            ("d′ that could have been missed", number_with_limits(found.d_prime_upper), "one-sided"),
            ("p of the difference", p_cell(found.p_value), "one-sided, exact"),
        ),
    )
    return found.sentence(), Section(
        "result", "Result", tables=(_counts(report, called, "What was answered"), table)
    )


def _preference(report: ChoiceReport, called: Called, _figures: bool) -> tuple[str, Section]:
    found = cast("PairedPreference", report.result)
    first, second = (called(sample) for sample in report.samples)
    table = Table(
        caption="The test",
        columns=QUANTITIES,
        rows=(
            (
                f"Share preferring {first}",
                share_with_limits(found.share_a) if found.share_a else "none",
                "exact",
            ),
            ("Share without a preference", share_with_limits(found.undecided), "exact"),
            ("p of the preference", p_cell(found.p_value), "two-sided, exact"),
        ),
    )
    counts = _counts(report, called, "Preferred", empty="No preference")
    return _preference_sentence(found, first, second), Section("result", "Result", tables=(counts, table))


def _preference_sentence(found: PairedPreference, first: str, second: str) -> str:
    said = f"{found.prefer_a} preferred {first}, {found.prefer_b} preferred {second}"
    if found.no_preference:
        said += f", {found.no_preference} had no preference"
    if found.share_a is None:
        return f"{said}: nobody chose, so no preference can be tested."
    if found.significant:
        winner = first if found.counted_a > found.counted_b else second
        return f"{said}: {winner} is preferred ({p_text(found.p_value)})."
    return (
        f"{said}: a preference was not shown ({p_text(found.p_value)}). This is no evidence of equal liking."
    )


def _ranking(report: ChoiceReport, called: Called, figures: bool) -> tuple[str, Section]:
    found = cast("RankTest", report.result)
    ordered = sorted(report.samples, key=lambda sample: (found.mean_ranks[sample], sample))
    what, values = rank_values(found)
    pairs: tuple[RankPair, ...] = getattr(found, "pairs", ())
    tables = (_ranks(report, found, ordered, called), *((_pairs(pairs, called),) if pairs else ()))
    bars = tuple((called(sample), values[sample]) for sample in ordered)
    title, spoken = "The samples in order", "; ".join(f"{name} {value:g}" for name, value in bars)
    figure = Figure(
        "ranks", title, f"{title}. {spoken}.", lambda: draw_bars(bars, f"{what} (lower = ranked earlier)")
    )
    headline = _ranking_sentence(found, pairs, ordered, report.alpha, called)
    return headline, Section("result", "Result", figures=(figure,) if figures else (), tables=tables)


def _ranks(report: ChoiceReport, found: RankTest, ordered: list[str], called: Called) -> Table:
    firsts = dict(report.counts)
    what, values = rank_values(found)
    return Table(
        caption="Samples by mean rank; rank 1 is first",
        columns=(
            Column("Sample", numeric=False),
            Column("Mean rank"),
            Column(what.capitalize()),
            Column("Ranked first"),
        ),
        rows=tuple(
            (
                called(sample),
                fixed(found.mean_ranks[sample], 2),
                significant(values[sample]),
                str(firsts[sample]),
            )
            for sample in ordered
        ),
    )


def _pairs(pairs: tuple[RankPair, ...], called: Called) -> Table:
    return Table(
        caption="Pairs, corrected for their number",
        columns=(Column("Pair", numeric=False), Column("Difference of rank sums"), Column("p, adjusted")),
        rows=tuple(
            (f"{called(pair.a)} and {called(pair.b)}", significant(pair.difference), p_cell(pair.p_adjusted))
            for pair in pairs
        ),
    )


def _ranking_sentence(
    found: RankTest, pairs: tuple[RankPair, ...], ordered: list[str], alpha: float, called: Called
) -> str:
    p = rank_p(found)
    tail = f"{rank_test_name(found)} {significant(found.statistic)}, df {found.df}, {p_text(p)}"
    if p > alpha:
        return (
            f"No difference in rank between the {len(ordered)} samples was shown ({tail}); "
            "this does not show that they are the same."
        )
    apart = [pair for pair in pairs if pair.p_adjusted <= alpha]
    first = f"The samples were ranked differently ({tail}): {called(ordered[0])} came first on average"
    if not pairs:
        return f"{first}."
    if not apart:
        return f"{first}, though no single pair stands apart."
    said = listing(
        [f"{called(_ahead(pair, ordered))} before {called(_behind(pair, ordered))}" for pair in apart]
    )
    return f"{first}. Apart from each other: {said}."


def _ahead(pair: RankPair, ordered: list[str]) -> str:
    return min(pair.a, pair.b, key=ordered.index)


def _behind(pair: RankPair, ordered: list[str]) -> str:
    return max(pair.a, pair.b, key=ordered.index)


_PARTS: dict[str, Callable[[ChoiceReport, Called, bool], tuple[str, Section]]] = {
    "same-different": _two_product,
    "A-not-A": _two_product,
    "preference": _preference,
    "ranking": _ranking,
}
