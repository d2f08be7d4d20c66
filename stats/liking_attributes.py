"""Several attributes of one study: an analysis each, the p-values adjusted together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.liking import Method, hedonic_anova
from stats.liking_rows import HedonicAnova
from stats.multiplicity import Correction, adjust, expected_false_findings
from stats.phrasing import count, listing, p_text
from stats.results import Result
from stats.score_table import split_attributes

if TYPE_CHECKING:
    from stats.score_table import Frame


@dataclass(frozen=True, slots=True)
class AttributeRow:
    """One attribute. p_value, p_adjusted, analysis : None where it could not be analysed; `problem` says
    why. The primary attribute's p_adjusted is its p_value."""

    attribute: str
    primary: bool
    p_value: float | None
    p_adjusted: float | None
    significant: bool
    analysis: HedonicAnova | None
    problem: str | None


@dataclass(frozen=True, slots=True)
class AttributeAnovas(Result):
    """Analyses of variance per attribute, the primary one first, the others by name."""

    attributes: tuple[AttributeRow, ...]
    primary: str | None
    correction: str
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Which attributes differ, the primary one first."""
        lines = []
        first = self.attributes[0]
        if first.primary:
            lines.append(f"Primary, {first.attribute}: {self._verdict(first)}.")
        rest = [row for row in self.attributes if not row.primary]
        found = [
            f"{row.attribute} ({p_text(row.p_adjusted)})"
            for row in rest
            if row.significant and row.p_adjusted is not None
        ]
        named = listing(found) if found else "none shown"
        if rest:
            lines.append(
                f"Differing among {count(len(rest), 'further attribute')}, {self.correction} adjusted: {named}."
            )
        return " ".join(lines)

    def _verdict(self, row: AttributeRow) -> str:
        if row.p_value is None:
            return f"not analysed ({row.problem})"
        return f"{'samples differ' if row.significant else 'no difference shown'} ({p_text(row.p_value)})"


def anova_by_attribute(
    frame: Frame,
    *,
    method: Method = "two-way",
    correction: Correction = "holm",
    primary: str | None = None,
    alpha: float = 0.05,
    **options: Any,
) -> AttributeAnovas:
    """`hedonic_anova` for every value of the column `attribute`, p-values adjusted over attributes.

    frame : long, as for `hedonic_anova`, with a column `attribute`
    primary : the attribute of the primary question: tested at alpha on its own and listed first; the
        correction is over the others. None: over all.
    correction : "holm", "benjamini-hochberg" or "none"; options : passed to `hedonic_anova`

    An attribute that cannot be analysed (no variation, too few scores) keeps a row that says why.
    ValueError where `attribute` is missing or `primary` is not among them.
    """
    parts = split_attributes(frame)
    if primary is not None and primary not in parts:
        raise ValueError(f"primary: {primary!r} is no attribute; there are {', '.join(parts)}")
    names = sorted(parts, key=lambda name: (name != primary, name))
    analyses: dict[str, HedonicAnova] = {}
    problems: dict[str, str] = {}
    for name in names:
        try:
            analyses[name] = hedonic_anova(parts[name], method=method, alpha=alpha, **options)
        except ValueError as problem:
            problems[name] = str(problem)
    family = [name for name in names if name != primary and name in analyses]
    adjusted = dict(zip(family, adjust([analyses[n].p_value for n in family], correction), strict=True))
    rows = tuple(_row(n, n == primary, analyses.get(n), problems.get(n), adjusted, alpha) for n in names)
    notes = [f"attributes: {correction} over {count(len(family), 'attribute')}"]
    if correction == "none" and family:
        notes.append(expected_false_findings(len(family), alpha=alpha).sentence())
    notes += [f"{name}: not analysed, {problem}" for name, problem in problems.items()]
    return AttributeAnovas(
        attributes=rows,
        primary=primary,
        correction=correction,
        alpha=alpha,
        method=f"{method} analysis of variance per attribute",
        notes=tuple(notes),
    )


def _row(
    name: str,
    primary: bool,
    analysis: HedonicAnova | None,
    problem: str | None,
    adjusted: dict[str, float],
    alpha: float,
) -> AttributeRow:
    if analysis is None:
        return AttributeRow(name, primary, None, None, False, None, problem)
    p = adjusted.get(name, analysis.p_value)
    return AttributeRow(name, primary, analysis.p_value, p, p <= alpha, analysis, None)
