"""The report of rankings in words, a figure and tables: who came first, and which samples stand apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from panel.analysis.figures import rank_sum_figure
from panel.analysis.numbers import fixed, often, p_cell, p_equals
from panel.analysis.view_parts import Column, Section, Table
from panel.analysis.wording import rank_p, rank_test_name, rank_values
from stats.phrasing import count, listing, p_text, percent, significant

if TYPE_CHECKING:
    from panel.analysis.choice_report import ChoiceReport, PairOrder
    from panel.analysis.figures import Figure
    from panel.analysis.wording import Called, RankTest
    from stats.ranking_pairs import RankPair

MOST_PAIRS = 60  # rows of the table of pairs that anybody reads
Parts = tuple[str, "Figure | None", tuple[str, ...], tuple[Section, ...]]


def ranking_parts(report: ChoiceReport, called: Called, *, figures: bool) -> Parts:
    """Headline, figure, how sure it is, and the part of the report about rankings."""
    found = cast("RankTest", report.result)
    ordered = sorted(report.samples, key=lambda sample: (found.mean_ranks[sample], sample))
    what, values = rank_values(found)
    pairs: tuple[RankPair, ...] = getattr(found, "pairs", ())
    sums = {called(sample): values[sample] for sample in ordered}
    even = sum(sums.values()) / len(sums) if what == "rank sum" else None
    title = "The samples in order"
    lead = rank_sum_figure(sums, title=title, expected=even, what=what, lower_is="ranked earlier")
    p = rank_p(found)
    sure = [
        f"If the samples were alike to the tasters, rankings that differ as much would come up in {often(p)} such "
        "panels.",
    ]
    if pairs:
        sure.append(
            f"{count(len(ordered), 'sample')} make {count(len(pairs), 'pair')}; Holm’s correction over them keeps "
            f"the chance of any false finding among pairs at {percent(report.alpha)}."
        )
    tables = (_ranks(report, found, ordered, called), _pairs(report.orders, pairs, ordered, called))
    section = Section("result", "Result", tables=tables, gist=p_equals(p), opened=True)
    headline = _sentence(report, found, pairs, ordered, called)
    return headline, lead if figures else None, tuple(sure), (section,)


def _ranks(report: ChoiceReport, found: RankTest, ordered: list[str], called: Called) -> Table:
    firsts = dict(report.counts)
    what, values = rank_values(found)
    sums = what == "rank sum"
    return Table(
        caption="Samples by mean rank; rank 1 is first",
        columns=(
            Column("Sample", numeric=False),
            Column("Mean rank"),
            *((Column("Rank sum"),) if sums else ()),
            Column("Ranked first"),
        ),
        rows=tuple(
            (
                called(sample),
                fixed(found.mean_ranks[sample], 2),
                *((f"{values[sample]:g}",) if sums else ()),
                str(firsts[sample]),
            )
            for sample in ordered
        ),
    )


def _pairs(
    orders: tuple[PairOrder, ...], pairs: tuple[RankPair, ...], ordered: list[str], called: Called
) -> Table:
    """Pairs, the one ranked earlier in front: how many rank it so, with limits, then the test."""
    tests = {frozenset((pair.a, pair.b)): pair for pair in pairs}
    rows = []
    for one in orders:
        turned = ordered.index(one.b) < ordered.index(one.a)
        ahead, behind = (one.b, one.a) if turned else (one.a, one.b)
        before = one.of - one.before if turned else one.before
        low, high = (1 - one.high, 1 - one.low) if turned else (one.low, one.high)
        cells = [f"{called(ahead)} before {called(behind)}", f"{before} of {one.of}"]
        cells.append(f"{percent(low)} to {percent(high)}")
        test = tests.get(frozenset((one.a, one.b)))
        if test is not None:
            cells += [fixed(abs(test.difference), 1), p_cell(test.p_adjusted)]
        rows.append((-before / one.of, tuple(cells)))
    rows.sort(key=lambda row: row[0])
    shown = tuple(cells for _, cells in rows[:MOST_PAIRS])
    heads = ["Rankings that say so", "95\u202f% interval of the share"]
    heads += ["Difference of rank sums", "p, adjusted"] if pairs else []
    left = f" The {MOST_PAIRS} clearest of {len(rows)} pairs are shown." if len(rows) > MOST_PAIRS else ""
    return Table(
        caption="Pairs of samples: which was ranked earlier",
        columns=(Column("Pair", numeric=False), *(Column(head) for head in heads)),
        rows=shown,
        note="Intervals are exact and hold for all pairs together (Bonferroni)."
        + (" p by Holm’s correction over pairs." if pairs else "")
        + left,
        detail=len(rows) > 15,
    )


def _sentence(
    report: ChoiceReport,
    found: RankTest,
    pairs: tuple[RankPair, ...],
    ordered: list[str],
    called: Called,
) -> str:
    p = rank_p(found)
    tail = f"{rank_test_name(found)} {significant(found.statistic)}, df {found.df}, {p_text(p)}"
    if p > report.alpha:
        most = max((max(one.high, 1 - one.low) for one in report.orders), default=1.0)
        return (
            f"No difference in rank between the {len(ordered)} samples was shown ({tail}). This does not show that "
            f"they are the same: of two of them, up to {percent(most)} of tasters might rank one before the other "
            "(95\u202f% limits, all pairs together)."
        )
    apart = [pair for pair in pairs if pair.p_adjusted <= report.alpha]
    first = f"The samples were ranked differently ({tail}): {called(ordered[0])} came first on average"
    if not pairs:
        return f"{first}. Which pairs stand apart is not tested where tasters rank some of the samples only."
    if not apart:
        return f"{first}, though no single pair stands apart."
    said = [f"{called(_ahead(pair, ordered))} before {called(_behind(pair, ordered))}" for pair in apart[:8]]
    more = f" and {len(apart) - 8} more pairs" if len(apart) > 8 else ""
    return f"{first}. Apart from each other: {listing(said)}{more}."


def _ahead(pair: RankPair, ordered: list[str]) -> str:
    return min(pair.a, pair.b, key=ordered.index)


def _behind(pair: RankPair, ordered: list[str]) -> str:
    return max(pair.a, pair.b, key=ordered.index)
