"""Tables of right and wrong answers: sequential tests, A-not-A and same-different, several studies' d'."""

from __future__ import annotations

from typing import TYPE_CHECKING

import stats
from panel.analysis.figures import MeanRow, means_figure
from panel.analysis.figures_plots import sequential_figure
from panel.analysis.forced_choice import ForcedAnswer, ForcedChoiceReport, analyse_forced_choice
from panel.analysis.kind_report import KindReport, kind_report
from panel.analysis.numbers import number_with_limits, p_cell, share_with_limits
from panel.analysis.sequential_view import plan_table, steps_table
from panel.analysis.view_parts import Column, Section, Table
from stats.phrasing import count, percent
from stats.sequential import SequentialTest

if TYPE_CHECKING:
    from panel.analysis.columns import Columns
    from panel.analysis.kind_report import Asked

REPEATED = "{most} answers come from one taster; they are taken as independent, which makes p too small."


def forced_choice_table(columns: Columns, asked: Asked) -> ForcedChoiceReport:
    """One row per answer: taster (where there is one) and whether it was right."""
    tasters, correct = columns.names("taster"), columns.truths("correct")
    columns.stop()
    answers = [ForcedAnswer(who, right) for who, right in zip(tasters, correct, strict=True)]
    return analyse_forced_choice(
        asked.test, answers, alpha=asked.alpha, pd_limit=asked.pd_limit, beta=asked.beta
    )


def sequential_table(columns: Columns, asked: Asked) -> KindReport:
    """One row per taster in the order tasted, and whether the answer was right."""
    correct = columns.truths("correct")
    columns.stop()
    if (asked.pd_limit is None) == (asked.d_prime is None):
        raise ValueError(
            "a sequential test needs the difference that matters, planned beforehand: give --pd-limit "
            "(a share of tasters, e.g. 0.3) or --d-prime, not both"
        )
    found = stats.sequential_test(
        asked.test,
        correct,
        alpha=asked.alpha,
        beta=asked.beta,
        pd=asked.pd_limit,
        d_prime=asked.d_prime,
        max_tasters=asked.most_tasters,
    )
    facts = [
        ("Test", f"{asked.test}, sequential, against {percent(found.pd)} who tell the samples apart"),
        ("Correct", f"{sum(correct)} of {count(len(correct), 'taster')}, in the order of the rows"),
        ("Risks", f"α = {asked.alpha:g}, β = {asked.beta:g}"),
    ]
    return kind_report(
        "sequential", columns, asked, [("sequential test", found)], title="Sequential test", facts=facts
    )


def sequential_sections(report: KindReport, figures: bool) -> list[Section]:
    """The decision after each taster, and how the plan behaves."""
    found = report.results[0][1]
    assert isinstance(found, SequentialTest)
    drawn = (sequential_figure(found, title="Correct answers between Wald's lines"),) if figures else ()
    return [Section("decision", "Decision", figures=drawn, tables=(steps_table(found), plan_table(found)))]


def two_product_table(columns: Columns, asked: Asked, kind: str) -> KindReport:
    """One row per answer: what was served, and what the taster called it."""
    served, answer = columns.texts("served"), columns.texts("answer")
    tasters = columns.names("taster")
    columns.stop()
    target, other = _two_words(columns, [*served, *answer], kind)
    hits = [said == target for was, said in zip(served, answer, strict=True) if was == target]
    alarms = [said == target for was, said in zip(served, answer, strict=True) if was == other]
    test = stats.a_not_a_test if kind == "A-not-A" else stats.same_different_test
    found = test(sum(hits), len(hits), sum(alarms), len(alarms), alpha=asked.alpha)
    facts = [
        ("Test", f"{kind}; answers “{target}” are counted"),
        ("Answers", f"{len(hits)} for “{target}”, {len(alarms)} for “{other}”"),
        ("Took part", count(len(set(tasters)), "taster")),
    ]
    most = max(map(tasters.count, set(tasters)))
    if most > 1:
        columns.said.append(REPEATED.format(most=f"Up to {most}"))
    return kind_report(
        kind.casefold(),
        columns,
        asked,
        [(kind, found)],
        title=f"{kind[0].upper()}{kind[1:]} test",
        facts=facts,
    )


def _two_words(columns: Columns, words: list[str], kind: str) -> tuple[str, str]:
    """The word that counts and the other: "A" before "not A", "different" before "same"; ValueError otherwise."""
    met = sorted(set(words))
    if len(met) != 2:
        raise ValueError(
            f'columns "{columns.used["served"]}" and "{columns.used["answer"]}" must hold the same two words, '
            f"but hold {', '.join(met[:6])}"
        )
    if kind == "A-not-A":
        other = next((word for word in met if word.casefold().startswith(("not", "no", "b"))), met[1])
    else:
        other = next((word for word in met if word.casefold().startswith(("same", "equal", "s"))), met[1])
    return next(word for word in met if word != other), other


def two_product_sections(report: KindReport, figures: bool) -> list[Section]:
    """Rates, d' and the tests of a two-product test."""
    from stats.discrimination_two_product import TwoProductTest

    found = report.results[0][1]
    assert isinstance(found, TwoProductTest)
    words = dict(report.facts)["Answers"]
    rows = [
        ("Rate among the first", share_with_limits(found.target_rate), "exact"),
        ("Rate among the second", share_with_limits(found.other_rate), "exact"),
        ("Size of the difference (d′)", number_with_limits(found.d_prime), "profile likelihood"),
        ("d′ that could have been missed", number_with_limits(found.d_prime_upper), "one-sided"),
        ("p of the difference", p_cell(found.p_value), "one-sided, exact"),
        ("p, chi-square", p_cell(found.chi_square_p), "check, two-sided"),
    ]
    table = Table(
        caption=f"Estimates with {percent(found.confidence)} limits",
        columns=(
            Column("Quantity", numeric=False),
            Column("Estimate (limits)"),
            Column("Kind", numeric=False),
        ),
        rows=tuple(rows),
        note=f"First and second: {words}.",
    )
    return [Section("result", "Result", tables=(table,))]


def studies_table(columns: Columns, asked: Asked) -> KindReport:
    """One row per study: its name, method, number correct and number of answers."""
    names, methods = columns.texts("study"), columns.texts("method")
    correct, answers = columns.numbers("correct"), columns.numbers("answers")
    columns.stop()
    rows = [
        (name, method, _whole(right, "correct"), _whole(n, "answers"))
        for name, method, right, n in zip(names, methods, correct, answers, strict=True)
    ]
    found = stats.compare_d_primes(rows, alpha=asked.alpha)
    facts = [("Studies", f"{len(rows)}: {', '.join(f'{name} ({method})' for name, method, _, _ in rows)}")]
    return kind_report(
        "studies", columns, asked, [("comparison", found)], title="d′ in several studies", facts=facts
    )


def _whole(value: float, role: str) -> int:
    if value != value or not value.is_integer():
        raise ValueError(f"{role}: {value!r} is no whole number")
    return int(value)


def studies_sections(report: KindReport, figures: bool) -> list[Section]:
    """Each study's d', and each pair."""
    from stats.discrimination_comparison import DPrimeComparison

    found = report.results[0][1]
    assert isinstance(found, DPrimeComparison)
    each = Table(
        caption=f"Each study, with {percent(found.confidence)} limits",
        columns=(
            Column("Study", numeric=False),
            Column("Method", numeric=False),
            Column("Correct"),
            Column("d′"),
        ),
        rows=tuple(
            (one.name, one.test, f"{one.correct} of {one.n}", number_with_limits(one.d_prime))
            for one in found.studies
        ),
        note=f"One d′ for all: {number_with_limits(found.shared)}.",
    )
    pairs = Table(
        caption="Pairs of studies",
        columns=(Column("Pair", numeric=False), Column("Difference"), Column("p, adjusted")),
        rows=tuple(
            (f"{one.first} minus {one.second}", number_with_limits(one.difference), p_cell(one.p_adjusted))
            for one in found.pairs
        ),
        note="p by Holm's correction over pairs.",
    )
    known = [
        one for one in found.studies if one.d_prime.estimate is not None and one.d_prime.high is not None
    ]
    rows = [
        MeanRow(one.name, one.d_prime.estimate or 0.0, one.d_prime.low or 0.0, one.d_prime.high or 0.0)
        for one in known
    ]
    drawn = (
        (means_figure(rows, title="d′ with limits", axis="d′", name="studies"),) if figures and rows else ()
    )
    return [Section("result", "Result", figures=drawn, tables=(each, pairs))]
