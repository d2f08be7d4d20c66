"""Tables of paired comparisons: which of two samples is preferred, or how strong each of several is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.columns import folded
from panel.analysis.figures import MeanRow, means_figure
from panel.analysis.kind_report import KindReport, kind_report
from panel.analysis.numbers import (
    ABSENT,
    fixed,
    natural,
    number_with_limits,
    p_cell,
    p_equals,
    share_with_limits,
)
from panel.analysis.view_parts import Column, Section, Table
from stats.paired_comparisons import BradleyTerry, CircularTriads
from stats.phrasing import count, p_text, percent, significant
from stats.preference import PairedPreference

if TYPE_CHECKING:
    from panel.analysis.columns import Columns
    from panel.analysis.kind_report import Asked
    from stats.results import Estimate, Result

UNDECIDED = frozenset(("", "nopreference", "none", "tie", "equal", "both", "neither", "np", "undecided", "0"))


def preference_table(columns: Columns, asked: Asked) -> KindReport:
    """Choices between two samples, as winner and loser, or as the two shown and the one chosen."""
    rows = _comparisons(columns)
    named = sorted({name for row in rows for name in row[1:3]}, key=natural)
    if len(named) < 2:
        raise ValueError(f"a preference needs two samples, but the table names {', '.join(named) or 'none'}")
    tasters = len({taster for taster, _, _, _ in rows})
    undecided = sum(winner is None for _, _, _, winner in rows)
    facts = [
        ("Samples", f"{len(named)}: {', '.join(named)}"),
        ("Took part", count(tasters, "taster")),
        ("Comparisons", f"{len(rows)}, {undecided} without a preference" if undecided else str(len(rows))),
    ]
    if len(named) == 2:
        return _of_two(columns, asked, rows, named, facts)
    return _of_several(columns, asked, rows, facts)


Comparison = tuple[str, str, str, str | None]  # taster, the two samples, the preferred one or None


def _comparisons(columns: Columns) -> list[Comparison]:
    """Rows as comparisons. "No preference" is an empty cell or a word for it."""
    pairwise = columns.find("winner", needed=False) and columns.find("loser", needed=False)
    if pairwise:
        winner, loser = columns.loose("winner"), columns.texts("loser")
        tasters = columns.names("taster")
        columns.stop()
        named = sorted({name for name in (*winner, *loser) if folded(name) not in UNDECIDED}, key=natural)
        return [_won(*row, named) for row in zip(tasters, winner, loser, strict=True)]
    columns.used.pop("winner", None)
    if columns.find("first", needed=False) and columns.find("second", needed=False):
        first, second, choice = columns.texts("first"), columns.texts("second"), columns.loose("choice")
        tasters = columns.names("taster")
        columns.stop()
        return [_chosen(columns, *row) for row in zip(tasters, first, second, choice, strict=True)]
    columns.used.pop("first", None)
    if columns.find("choice", needed=False) is None:
        raise ValueError(
            "a table of preferences needs the columns winner and loser, or first, second and choice, or choice "
            f"alone for two samples; the table has {', '.join(columns.raw.columns)}. Name them with "
            "--column ROLE=HEADING"
        )
    choice = columns.loose("choice")
    tasters = columns.names("taster")
    columns.stop()
    named = sorted({name for name in choice if folded(name) not in UNDECIDED}, key=natural)
    if len(named) != 2:
        raise ValueError(
            f'column "{columns.used["choice"]}" names {count(len(named), "sample")} ({", ".join(named[:6])}); with '
            "other than two, give the samples compared: columns winner and loser, or first and second"
        )
    return [
        (taster, named[0], named[1], None if folded(one) in UNDECIDED else one)
        for taster, one in zip(tasters, choice, strict=True)
    ]


def _won(taster: str, winner: str, loser: str, named: list[str]) -> Comparison:
    """A row of winner and loser; without a winner the other sample is known only where there are two."""
    if folded(winner) not in UNDECIDED:
        return taster, winner, loser, winner
    others = [name for name in named if name != loser]
    return taster, loser, others[0] if len(others) == 1 else loser, None


def _chosen(columns: Columns, taster: str, first: str, second: str, choice: str) -> Comparison:
    if folded(choice) in UNDECIDED:
        return taster, first, second, None
    if choice not in (first, second):
        raise ValueError(
            f'column "{columns.used["choice"]}": "{choice}" is neither of the two samples shown, "{first}" and '
            f'"{second}"'
        )
    return taster, first, second, choice


def _of_two(
    columns: Columns, asked: Asked, rows: list[Comparison], named: list[str], facts: list[tuple[str, str]]
) -> KindReport:
    a, b = named
    wins = [winner for _, _, _, winner in rows]
    found = stats.paired_preference(
        wins.count(a),
        wins.count(b),
        wins.count(None),
        two_sided=not asked.one_sided,
        no_preference_rule="drop" if asked.drop else "split",
        alpha=asked.alpha,
    )
    tasters = [row[0] for row in rows]
    most = max(map(tasters.count, set(tasters)))
    if most > 1:
        columns.said.append(
            f"Up to {most} choices by one taster are taken as independent: p is then too small."
        )
    return kind_report(
        "preference",
        columns,
        asked,
        [("preference", found)],
        title="Paired preference",
        facts=facts,
        answer=_preferred(found, a, b),
        labels=named,
    )


def _preferred(found: PairedPreference, a: str, b: str) -> str:
    """Which of the two samples, by name."""
    from stats.preference import RULE_TEXT

    said = f"{found.prefer_a} preferred {a}, {found.prefer_b} preferred {b}"
    if found.no_preference:
        said += f" and {found.no_preference} had no preference ({RULE_TEXT[found.no_preference_rule]})"
    if found.share_a is None:
        return f"{said}: nobody chose, so that no preference can be tested."
    span = f"{percent(found.confidence)} interval {_range(found.share_a)}"
    share = f"share preferring {a} {percent(found.share_a.estimate or 0.0)}, {span}"
    if found.significant:
        winner = a if found.counted_a > found.counted_b else b
        return f"{said}: {winner} is preferred ({p_text(found.p_value)}; {share})."
    kind = "a preference" if found.two_sided else f"a preference for {a}"
    return (
        f"{said}: {kind} was not shown ({p_text(found.p_value)}; {share}). This is no evidence of equal liking: "
        f"anything inside the interval could be true."
    )


def _range(share: Estimate) -> str:
    return f"{percent(share.low or 0.0)} to {percent(share.high or 0.0)}"


def _of_several(
    columns: Columns, asked: Asked, rows: list[Comparison], facts: list[tuple[str, str]]
) -> KindReport:
    import pandas as pd

    decided = [
        (taster, winner, second if winner == first else first)
        for taster, first, second, winner in rows
        if winner is not None
    ]
    frame = pd.DataFrame(decided, columns=["taster", "winner", "loser"])
    results: list[tuple[str, Result]] = [("strengths", stats.bradley_terry(frame, alpha=asked.alpha))]
    if "taster" in columns.used:
        results.append(("circular triads", stats.circular_triads(frame, alpha=asked.alpha)))
    if len(decided) < len(rows):
        columns.said.append(
            f"{count(len(rows) - len(decided), 'comparison')} without a preference left out: the model has no ties."
        )
    return kind_report("preference", columns, asked, results, title="Paired comparisons", facts=facts)


def preference_sections(report: KindReport, figures: bool) -> list[Section]:
    """Shares of two samples; or strengths, pairs, and who contradicts themselves."""
    found = report.results[0][1]
    if isinstance(found, PairedPreference):
        return [Section("result", "Result", tables=(_shares(found, report.labels),))]
    assert isinstance(found, BradleyTerry)
    strengths = sorted(found.strengths, key=lambda one: -(one.log_strength.estimate or 0.0))
    rows = [
        MeanRow(one.sample, one.log_strength.estimate, one.log_strength.low or 0, one.log_strength.high or 0)
        for one in strengths
        if one.log_strength.estimate is not None
    ]
    title = "Strength of each sample with intervals"
    drawn = (means_figure(rows, title=title, axis="strength, log scale", name="strengths"),)
    sections = [
        Section(
            "result",
            "Result",
            figures=drawn if figures and rows else (),
            tables=(_strengths_table(found), _strength_pairs(found)),
            notes=(_fit_note(found),),
        )
    ]
    for name, one in report.results[1:]:
        if isinstance(one, CircularTriads):
            sections.append(Section("triads", f"Who tasted: {name}", tables=(_triads_table(one),)))
    return sections


def _shares(found: PairedPreference, names: tuple[str, ...]) -> Table:
    share = ABSENT if found.share_a is None else share_with_limits(found.share_a)
    other = ABSENT if found.p_value_other_rule is None else p_cell(found.p_value_other_rule)
    needed = "none would suffice" if found.critical_value is None else str(found.critical_value)
    return Table(
        caption=f"Estimates with {percent(found.confidence)} limits",
        columns=(Column("Quantity", numeric=False), Column("Estimate (limits)")),
        rows=(
            (f"Share preferring {names[0]}", share),
            ("Share without a preference", share_with_limits(found.undecided)),
            ("Fewest votes that show a preference", needed),
            ("p, exact", p_cell(found.p_value)),
            ("p, “no preference” by the other rule", other),
        ),
    )


def _strengths_table(found: BradleyTerry) -> Table:
    rows = sorted(found.strengths, key=lambda one: -(one.log_strength.estimate or 0.0))
    return Table(
        caption="Strength of each sample, strongest first",
        columns=(
            Column("Sample", numeric=False),
            Column("Strength, log scale (limits)"),
            Column("Expected share of wins"),
            Column("Won"),
        ),
        rows=tuple(
            (
                one.sample,
                number_with_limits(one.log_strength),
                ABSENT if one.share is None else percent(one.share),
                f"{one.won} of {one.compared}",
            )
            for one in rows
        ),
        note="Bradley-Terry model; a difference of 1 on the log scale is odds of 2.7 to 1.",
    )


def _strength_pairs(found: BradleyTerry) -> Table:
    return Table(
        caption="Pairs of samples",
        columns=(
            Column("Pair", numeric=False),
            Column("Won"),
            Column("Difference (limits)"),
            Column("p, adjusted"),
        ),
        rows=tuple(
            (
                f"{one.sample_a} minus {one.sample_b}",
                f"{one.a_won} : {one.b_won}",
                number_with_limits(one.difference),
                p_cell(one.p_adjusted),
            )
            for one in found.pairs
        ),
        note="p by Holm's correction over pairs.",
    )


def _fit_note(found: BradleyTerry) -> str:
    if found.fit_p_value is None or found.fit_statistic is None:
        return "Whether one strength per sample describes the pairs cannot be tested here."
    test = f"chi-square {significant(found.fit_statistic)}, df {found.fit_df}, {p_equals(found.fit_p_value)}"
    if found.fit_p_value < found.alpha:
        return f"One strength per sample does not describe all pairs ({test}): read the pairs, not the order."
    return f"That one strength per sample fails to describe the pairs was not shown ({test})."


def _triads_table(found: CircularTriads) -> Table:
    rows = sorted(found.tasters, key=lambda one: natural(one.taster))
    return Table(
        caption="Circular triads (A over B, B over C, C over A) of each taster",
        columns=(
            Column("Taster", numeric=False),
            *(
                Column(text)
                for text in ("Circular triads", "Most possible", "Consistence", "p against random")
            ),
        ),
        rows=tuple(
            (one.taster, str(one.triads), str(one.greatest), fixed(one.zeta, 2), p_cell(one.p_value))
            for one in rows
        ),
        note="Consistence is 1 without any circular triad.",
    )
