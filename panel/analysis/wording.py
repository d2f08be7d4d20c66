"""Findings on scores as sentences. Samples are named by whoever renders: by label, or by product after reveal."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Protocol

from panel.analysis.numbers import decimals_for, df_text, fixed, points
from stats import holm
from stats.multiplicity import CORRECTIONS
from stats.phrasing import count, listing, p_text, percent, significant

if TYPE_CHECKING:
    from panel.analysis.score_report import AttributeReport, ScoreReport
    from stats.check_all import TermTest
    from stats.comparisons import Pair
    from stats.liking_rows import HedonicAnova

Called = Callable[[str], str]
MOST_NAMED = 6  # samples that a sentence names one by one


class RankTest(Protocol):
    """What the rank tests have in one form."""

    @property
    def statistic(self) -> float: ...
    @property
    def df(self) -> int: ...
    @property
    def p_value(self) -> float: ...
    @property
    def mean_ranks(self) -> Mapping[str, float]: ...
    @property
    def method(self) -> str: ...
    @property
    def notes(self) -> tuple[str, ...]: ...
    def sentence(self) -> str: ...


def rank_p(ranks: RankTest) -> float:
    """The exact p of a rank test where it has one, else that of the chi-square form."""
    for name in ("p_exact", "p_permutation"):
        exact: float | None = getattr(ranks, name, None)
        if exact is not None:
            return exact
    return ranks.p_value


def rank_test_name(ranks: RankTest) -> str:
    """What the statistic of the rank test is called."""
    name = type(ranks).__name__
    known = {"FriedmanTest": "Friedman's chi-square", "DurbinTest": "Durbin's chi-square"}
    return known.get(name, "Skillings and Mack's chi-square")


def rank_values(ranks: RankTest) -> tuple[str, Mapping[str, float]]:
    """What a rank test compares, in words and per sample: rank sums, or with gaps mean ranks."""
    sums: Mapping[str, float] | None = getattr(ranks, "rank_sums", None)
    return ("rank sum", sums) if sums is not None else ("mean rank", ranks.mean_ranks)


def as_labelled(label: str) -> str:
    """The sample by its blind label."""
    return label


def headline(report: ScoreReport, called: Called) -> str:
    """What was asked, answered: the primary attribute first, the others counted."""
    if len(report.attributes) == 1:
        return attribute_sentence(report.attributes[0], called)
    others = [one for one in report.attributes if one.attribute != report.primary]
    rest = _counted(others, "other " if report.primary else "", report.correction)
    if report.primary is None:
        return rest
    return f"{attribute_sentence(report.attribute(report.primary), called)} {rest}"


def _counted(attributes: list[AttributeReport], other: str, correction: str) -> str:
    found = [f"“{one.title}”" for one in attributes if one.found]
    n = len(attributes)
    if all(one.p_value is None for one in attributes):
        reasons = {reason for one in attributes for reason in one.not_done[:1]}
        why = f": {next(iter(reasons))}" if len(reasons) == 1 else ""
        return f"No {other}attribute could be analysed{why}."
    corrected = f"{CORRECTIONS[correction]} over {n} attributes" if n > 1 else "no correction needed"
    if not found:
        what = (
            f"any of the {n} {other}attributes" if n > 1 else f"the {other}attribute “{attributes[0].title}”"
        )
        return (
            f"No difference between the samples was shown in {what} ({corrected}); "
            "this does not show that they are the same. "
            + (
                "The findings say how large a difference each could have missed."
                if n > 1
                else _limit(attributes[0])
            )
        ).rstrip()
    if n == 1:
        return f"The samples also differ in the {other}attribute {found[0]}."
    where = f"in {len(found)} of {n} {other}attributes: {listing(found)}"
    return f"The samples were found to differ {where} ({corrected})."


def _limit(one: AttributeReport) -> str:
    """What one null result could have missed, as a sentence of its own; "" where there are no limits."""
    if one.main is None:
        return ""
    said = _missed(one, one.main, as_labelled)
    at = said.find(": ")
    return "" if at < 0 else said[at + 2 :][:1].upper() + said[at + 3 :]


def attribute_sentence(one: AttributeReport, called: Called) -> str:
    """One attribute: how far apart and how sure, or what could have been missed."""
    if one.shares is not None:
        return _shares_sentence(one, one.shares.terms[0], called)
    if one.main is None:
        reason = one.not_done[0] if one.not_done else "too few scores"
        return f"“{one.title}” could not be analysed: {reason[0].lower()}{reason[1:]}."
    if one.found:
        return f"“{one.title}”: {_with_evidence(_apart(one, one.main, called), _evidence(one))}."
    if one.p_value is not None and one.p_value <= one.alpha:
        return (
            f"“{one.title}”: a difference would have been claimed for this attribute alone ({p_text(one.p_value)}), "
            f"but not after correction for {one.family} attributes (adjusted {p_text(one.p_adjusted or 1.0)}). "
            f"{_missed(one, one.main, called)}"
        )
    return (
        f"“{one.title}”: no difference between the {count(len(one.main.samples), 'sample')} was shown "
        f"({_evidence(one)}). {_missed(one, one.main, called)}"
    )


def _with_evidence(said: str, evidence: str) -> str:
    """The evidence behind a finding, in the bracket of limits that the finding ends with if it does."""
    if re.search(r" interval [^()]*\)$", said):
        return f"{said[:-1]}; {evidence})"
    return f"{said} ({evidence})"


def _evidence(one: AttributeReport) -> str:
    main = one.main
    assert main is not None
    test = (
        f"F({df_text(main.df_num)}, {df_text(main.df_den)}) = {significant(main.f)}, {p_text(main.p_value)}"
    )
    if one.family > 1 and one.p_adjusted is not None:
        adjusted = p_text(one.p_adjusted)
        test += f"; {adjusted} after correction for {one.family} attributes"
    return test


def _apart(one: AttributeReport, main: HedonicAnova, called: Called) -> str:
    clear = [pair for pair in main.pairs if pair.p_adjusted <= one.alpha]
    if main.reference is not None:
        return _against_reference(main, clear, called)
    if len(main.samples) == 2:
        return _pair_text(main.pairs[0], main.confidence, called)
    if not clear:
        return "the samples differ as a whole, but no single pair stands apart"
    ordered = sorted(main.means, key=lambda row: (-row.mean, row.sample))
    top = ordered[0]
    under = {pair.b if pair.a == top.sample else pair.a for pair in clear if top.sample in (pair.a, pair.b)}
    decimals = decimals_for(row.high - row.mean for row in main.means)
    limits = f"{percent(main.confidence)} interval {fixed(top.low, decimals)} to {fixed(top.high, decimals)}"
    best = f"{called(top.sample)} scored highest (mean {fixed(top.mean, decimals)}, {limits})"
    if not under:
        widest = max(clear, key=lambda pair: abs(pair.difference))
        return f"{best}, though not clearly above any other one sample; {_pair_text(widest, main.confidence, called)}"
    if len(under) == len(ordered) - 1:
        return f"{best}, above every other sample"
    names = [called(row.sample) for row in ordered if row.sample in under]
    level = [called(row.sample) for row in ordered[1:] if row.sample not in under]
    return f"{best}, above {_some(names)}; it was not separated from {_some(level)}"


def _some(names: list[str]) -> str:
    """Names as a list, or how many there are: a long list is read in the table."""
    return listing(names) if len(names) <= MOST_NAMED else f"{len(names)} others"


def _against_reference(main: HedonicAnova, clear: list[Pair], called: Called) -> str:
    assert main.reference is not None
    if not clear:
        return f"the samples differ as a whole, but none was separated from the reference {called(main.reference)}"
    return "; ".join(_pair_text(pair, main.confidence, called) for pair in clear)


def _pair_text(pair: Pair, confidence: float, called: Called) -> str:
    """ "four scored 0.75 points higher than one (95 % interval 0.19 to 1.32)"."""
    high, low = (pair.a, pair.b) if pair.difference >= 0 else (pair.b, pair.a)
    if pair.low is None or pair.high is None:
        return (
            f"{called(high)} scored {points(significant(abs(pair.difference), 2))} higher than {called(low)}"
        )
    decimals = decimals_for([(pair.high - pair.low) / 2])
    ends = (pair.low, pair.high) if pair.difference >= 0 else (-pair.high, -pair.low)
    return (
        f"{called(high)} scored {points(fixed(abs(pair.difference), decimals))} higher than {called(low)} "
        f"({percent(confidence)} interval {fixed(ends[0], decimals)} to {fixed(ends[1], decimals)})"
    )


def _missed(one: AttributeReport, main: HedonicAnova, called: Called) -> str:
    """What a null result leaves open: the limit of the pair that is least sure to be close."""
    limits = [
        max(abs(pair.low), abs(pair.high))
        for pair in main.pairs
        if pair.low is not None and pair.high is not None
    ]
    same = "This does not show that the samples are the same"
    if not limits:
        return f"{same}."
    spread = max(row.scores[-1] for row in one.raw) - min(row.scores[0] for row in one.raw)
    if max(limits) >= spread:
        return f"{same}: a difference as large as the whole range of the scores given could have been missed."
    several = len(main.pairs) > 1 and main.adjust in ("tukey", "dunnett")
    together = f", all {'pairs' if main.reference is None else 'comparisons'} together" if several else ""
    where = (
        "between two of them" if main.reference is None else f"from the reference {called(main.reference)}"
    )
    return (
        f"{same}: {where} a difference of up to {points(significant(max(limits), 2))} "
        f"could have been missed ({percent(main.confidence)} limits{together})."
    )


def condition_sentences(report: ScoreReport) -> list[str]:
    """Where the samples' differences depend on the condition, Holm's correction over attributes."""
    tested = [
        (one, line)
        for one in report.attributes
        for line in (one.interaction.table if one.interaction else ())
        if line.term == "sample × condition" and line.p_value is not None and line.f is not None
    ]
    adjusted = holm([line.p_value or 0.0 for _, line in tested])
    return [
        f"“{one.title}”: the differences between samples depend on the condition "
        f"(F({df_text(line.df)}, {df_text(line.df_den)}) = {significant(line.f or 0.0)}, {p_text(p)}"
        f"{f' after correction for {len(tested)} attributes' if len(tested) > 1 else ''}): "
        "read the means under each condition, not only those over all."
        for (one, line), p in zip(tested, adjusted, strict=True)
        if p <= one.alpha
    ]


def _judgements(one: AttributeReport, term: TermTest) -> str:
    """How many answers about each sample: tasters, or with conditions and replicates tasters times those."""
    if term.blocks == one.shape.tasters:
        return count(term.blocks, "taster's answers", "tasters' answers")
    return f"{term.blocks} judgements of each sample by {count(one.shape.tasters, 'taster')}"


def _share_missed(term: TermTest) -> float:
    """The farthest that two shares of yes may lie apart: the paired difference with its Wald limit."""
    ends = []
    for pair in term.pairs:
        apart = abs(pair.only_a - pair.only_b) / term.blocks
        spread = pair.only_a + pair.only_b - (pair.only_a - pair.only_b) ** 2 / term.blocks
        # One answer of continuity: without it shares that agree by chance would seem certain.
        ends.append(apart + (1.96 * math.sqrt(max(spread, 0.0)) + 1) / term.blocks)
    return min(1.0, max(ends))


def _shares_sentence(one: AttributeReport, term: TermTest, called: Called) -> str:
    """Yes/no answers: the shares of yes, and Cochran's Q."""
    if not term.blocks:
        return (
            f"“{one.title}”: nobody has answered about every sample yet, so that shares cannot be compared."
        )
    shares = {name: yes / term.blocks for name, yes in term.checked}
    ordered = sorted(shares, key=lambda name: (-shares[name], name))
    spoken = listing([f"{called(name)} {percent(shares[name])}" for name in ordered])
    if len(ordered) > MOST_NAMED:
        first, last = ordered[0], ordered[-1]
        spoken = f"from {called(first)} {percent(shares[first])} to {called(last)} {percent(shares[last])}"
    if term.cochran_q is None or term.p is None:
        return f"“{one.title}”: nobody answered differently for different samples: {spoken}."
    test = f"Cochran's Q = {significant(term.cochran_q)}, df {term.df}, {p_text(term.p)}"
    if one.family > 1 and one.p_adjusted is not None:
        test += f"; {p_text(one.p_adjusted)} after correction for {one.family} attributes"
    if one.found:
        return f"“{one.title}”: the share of “yes” differs between the samples: {spoken} ({test})."
    return (
        f"“{one.title}”: no difference in the share of “yes” was shown: {spoken} ({test}). "
        f"This does not show that the samples are the same: in {_judgements(one, term)} a difference of up to about "
        f"{percent(_share_missed(term))} of answers could have been missed (95\u202f% limit of a single pair)."
    )
