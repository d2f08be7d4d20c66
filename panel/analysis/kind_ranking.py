"""Tables of ranks: Friedman's test, Kendall's concordance, and Page's trend where an order was predicted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.figures import rank_sum_figure
from panel.analysis.kind_report import KindReport
from panel.analysis.numbers import natural, p_cell, signed
from panel.analysis.provenance import frame_hash, versions
from panel.analysis.view_parts import Column, Section, Table
from stats.phrasing import count, listing, p_text, significant
from stats.ranking import FriedmanTest, KendallConcordance
from stats.ranking_incomplete import DurbinTest, SkillingsMackTest
from stats.ranking_trend import PageTrend

if TYPE_CHECKING:
    import pandas as pd

    from panel.analysis.kind_report import Asked
    from panel.analysis.scores import ScoreTable
    from stats.results import Result

    RankTest = FriedmanTest | DurbinTest | SkillingsMackTest

FIRST_IS_ONE = "Rank 1 is first: a small rank sum stands for a sample that was ranked early."
NOT_RANKS = (
    "Not every taster's numbers are ranks (1, 2, 3, … with ties shared): they were ranked within each taster, the "
    "smallest number first."
)


def ranking_table(table: ScoreTable, asked: Asked) -> KindReport:
    """Ranks of samples by tasters, in a long or a wide table. ValueError for several attributes."""
    frame = table.frame
    attributes = sorted(set(frame["attribute"]))
    if len(attributes) > 1:
        raise ValueError(
            f"a ranking is one column of ranks, but there are {', '.join(attributes)}: name one with --score"
        )
    frame = frame.drop(columns="attribute")
    main = _main_test(frame, asked.alpha)
    results = _results(frame, main, asked)
    told = [ranking_sentence(main)]
    for name, one in results[1:]:
        told.append(one.sentence() if name == "agreement" else trend_sentence(one))
    if asked.order:
        told.insert(0, told.pop())  # the predicted order was the question
    said = (FIRST_IS_ONE,) if _are_ranks(frame) else (NOT_RANKS, FIRST_IS_ONE)
    return KindReport(
        kind="ranking",
        title="Ranking",
        answer=told[0],
        findings=tuple(told[1:]),
        facts=(
            ("Samples", f"{len(main.samples)}: {listing(sorted(main.samples, key=natural))}"),
            ("Took part", count(int(frame["taster"].nunique()), "taster")),
        ),
        results=tuple(results),
        alpha=asked.alpha,
        assumptions=(*table.assumptions, *said),
        versions=versions(),
        data_hash=frame_hash(table.frame),
        method="; ".join(result.method for _, result in results),
        notes=tuple(dict.fromkeys(note for _, result in results for note in result.notes)),
    )


def _results(frame: pd.DataFrame, main: RankTest, asked: Asked) -> list[tuple[str, Result]]:
    """The main test, the agreement of complete rankings, and the trend where an order was predicted."""
    results: list[tuple[str, Result]] = [("differences", main)]
    if isinstance(main, FriedmanTest):
        results.append(("agreement", stats.kendall_w(frame, draws=0)))
        if asked.order:
            results.append(("trend", stats.page_trend(frame, asked.order, alpha=asked.alpha)))
    elif asked.order:
        raise ValueError("order: Page's trend test needs every taster to have ranked every sample")
    return results


def _main_test(frame: pd.DataFrame, alpha: float) -> RankTest:
    """Friedman's test for complete tables, Durbin's for balanced blocks, else Skillings and Mack's."""
    from panel.analysis.shapes import shape_of

    shape = shape_of(frame)
    found: RankTest
    if shape.complete:
        found = stats.friedman(frame, alpha=alpha)
    elif shape.balanced_blocks:
        found = stats.durbin(frame, alpha=alpha)
    else:
        found = stats.skillings_mack(frame, alpha=alpha)
    return found


def _are_ranks(frame: pd.DataFrame) -> bool:
    """Whether each taster's numbers are ranks, ties sharing their average."""
    scored = frame[frame["score"].notna()]
    ranked = scored.groupby("taster")["score"].rank()
    return bool((ranked - scored["score"]).abs().max() < 1e-9)


def ranking_sentence(main: RankTest) -> str:
    """Whether the samples are ranked differently, and who stands before whom."""
    exact = main.p_exact if isinstance(main, FriedmanTest) else None
    p = main.p_value if exact is None else exact
    name = type(main).__name__.removesuffix("Test").replace("SkillingsMack", "Skillings and Mack")
    test = f"{name}'s chi-square {significant(main.statistic)}, df {main.df}, {p_text(p)}"
    order = sorted(main.mean_ranks, key=lambda sample: (main.mean_ranks[sample], sample))
    means = listing([f"{sample} {main.mean_ranks[sample]:.2f}" for sample in order])
    if p > main.alpha:
        return (
            f"A difference in rank between the {count(len(order), 'sample')} was not shown ({test}); mean ranks: "
            f"{means}. This does not show that they are the same{_missed(main)}."
        )
    pairs = getattr(main, "pairs", ())
    clear = [_before(pair.a, pair.b, main.mean_ranks) for pair in pairs if pair.p_adjusted <= main.alpha]
    told = listing([f"{first} before {later}" for first, later in clear[:6]])
    more = f" and {len(clear) - 6} more pairs" if len(clear) > 6 else ""
    apart = f"clearly apart: {told}{more}" if clear else "though no single pair stands apart"
    return f"The samples are ranked differently ({test}); mean ranks, first to last: {means}; {apart}."


def _before(a: str, b: str, ranks: object) -> tuple[str, str]:
    mean = dict(ranks)  # type: ignore[call-overload]
    return (a, b) if mean[a] <= mean[b] else (b, a)


def _missed(main: RankTest) -> str:
    """What a null result leaves open: mean ranks farther apart than this would have been found."""
    if not isinstance(main, FriedmanTest):
        return ""
    gap = main.lsd / len(main.tasters)
    return f": two mean ranks had to lie {significant(gap, 2)} apart to be told apart even as a single pair"


def trend_sentence(trend: Result) -> str:
    """Page's trend, in ranks: who was expected first."""
    assert isinstance(trend, PageTrend)
    how = "exact" if trend.p_exact is not None else "normal approximation"
    test = f"Page's L = {significant(trend.statistic, 4)}, {p_text(trend.p_value)}, one-sided, {how}"
    line = listing(list(trend.order), last="then")
    if trend.p_value <= trend.alpha:
        return f"The ranks follow the predicted order, first to last {line} ({test})."
    return (
        f"That the ranks follow the predicted order, first to last {line}, was not shown ({test}); this does not "
        "show that there is no order."
    )


def ranking_sections(report: KindReport, figures: bool) -> list[Section]:
    """Rank sums, pairs and the other tests."""
    main = report.results[0][1]
    assert isinstance(main, FriedmanTest | DurbinTest | SkillingsMackTest)
    what = "mean rank" if isinstance(main, SkillingsMackTest) else "rank sum"
    values = dict(main.mean_ranks if isinstance(main, SkillingsMackTest) else main.rank_sums)
    order = sorted(values, key=lambda sample: (values[sample], sample))
    lsd = (
        f" Least significant difference of two sums (ISO 8587): {significant(main.lsd)}."
        if isinstance(main, FriedmanTest)
        else ""
    )
    sums = Table(
        caption=f"{what.capitalize()} of each sample, first-ranked on top",
        columns=(Column("Sample", numeric=False), Column(what.capitalize()), Column("Mean rank")),
        rows=tuple((one, f"{values[one]:.4g}", f"{main.mean_ranks[one]:.2f}") for one in order),
        note=f"{FIRST_IS_ONE}{lsd}",
    )
    tables = [sums]
    pairs = getattr(main, "pairs", ())
    if pairs and len(order) > 2:
        tables.append(_pairs(pairs, values))
    tables.append(_tests(report))
    drawn = rank_sum_figure(values, title=f"{what.capitalize()}s", what=what, lower_is="ranked earlier")
    return [Section("result", "Result", figures=(drawn,) if figures else (), tables=tuple(tables))]


def _pairs(pairs: tuple[object, ...], values: dict[str, float]) -> Table:
    rows = []
    for pair in pairs:
        a, b, p = pair.a, pair.b, pair.p_adjusted  # type: ignore[attr-defined]
        first, later = (a, b) if values[a] <= values[b] else (b, a)
        gap = values[later] - values[first]
        rows.append((gap, f"{first} before {later}", signed(gap, 1), p_cell(p)))
    return Table(
        caption="Pairs of samples",
        columns=(Column("Pair", numeric=False), Column("Difference in rank sum"), Column("p, adjusted")),
        rows=tuple(row[1:] for row in sorted(rows, key=lambda row: (-row[0], row[1]))),
        note="p by Holm's correction over pairs.",
    )


def _tests(report: KindReport) -> Table:
    rows = []
    for _, one in report.results:
        if isinstance(one, FriedmanTest):
            rows.append(
                ("Friedman, chi-square", significant(one.statistic), str(one.df), p_cell(one.p_value))
            )
            if one.p_exact is not None:
                rows.append((f"Friedman, {one.exact_how}", "–", "–", p_cell(one.p_exact)))
            if one.f is not None:
                df = f"{one.f_df_num}, {one.f_df_den}"
                rows.append(("Iman and Davenport, F", significant(one.f), df, p_cell(one.p_f)))
        elif isinstance(one, DurbinTest | SkillingsMackTest):
            name = type(one).__name__.removesuffix("Test").replace("SkillingsMack", "Skillings and Mack")
            rows.append((f"{name}, chi-square", significant(one.statistic), str(one.df), p_cell(one.p_value)))
        elif isinstance(one, KendallConcordance):
            rows.append(("Kendall's W", significant(one.w), "–", p_cell(one.p_value)))
        elif isinstance(one, PageTrend):
            rows.append(("Page's L", significant(one.statistic, 4), "–", p_cell(one.p_value)))
    return Table(
        caption="Tests",
        columns=(Column("Test", numeric=False), *(Column(text) for text in ("Statistic", "df", "p"))),
        rows=tuple(rows),
        detail=True,
    )
