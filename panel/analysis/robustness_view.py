"""Does a finding hang on the method, on single tasters, or on the condition? Every check beside the finding."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.numbers import natural, p_cell, p_equals
from panel.analysis.view_parts import Column, Section, Table
from panel.analysis.wording import rank_p, rank_test_name
from stats.phrasing import count, listing, p_text

if TYPE_CHECKING:
    from panel.analysis.score_report import AttributeReport, ScoreReport

WITHOUT = (
    "Nobody is left out of the findings. Leaving tasters out after looking at their scores is not a test of its own: "
    "it shows only whether a finding hangs on them."
)


def robustness_section(report: ScoreReport) -> Section | None:
    """None where no attribute was analysed by scores."""
    known = [one for one in report.attributes if one.main is not None]
    if not known:
        return None
    shaky = [said for one in known for said in shaky_sentences(one)]
    agreeing = [one for one in known if not shaky_sentences(one) and checks_of(one)]
    paragraphs = list(shaky)
    if agreeing:
        where = listing([f"“{one.title}”" for one in agreeing[:6]])
        more = f" and {len(agreeing) - 6} more" if len(agreeing) > 6 else ""
        paragraphs.append(f"Every check agrees with the finding at α = {report.alpha:g} for {where}{more}.")
    paragraphs += [without_sentence(one) for one in known if one.without]
    rows = [(one.title, name, p_cell(p)) for one in known for name, p in _lines(one)]
    table = Table(
        caption="The finding and its checks, attribute by attribute",
        columns=(
            Column("Attribute", numeric=False),
            Column("Test", numeric=False),
            Column("p, this attribute alone"),
        ),
        rows=tuple(rows),
        detail=len(rows) > 12,
    )
    notes = (WITHOUT,) if any(one.without for one in known) else ()
    unsure = sum(bool(shaky_sentences(one)) or hangs_on_them(one) for one in known)
    gist = f"sensitive in {unsure} of {count(len(known), 'attribute')}" if unsure else "the checks agree"
    return Section(
        "robustness",
        "Robustness: does it hang on the method or on single tasters?",
        paragraphs=tuple(paragraphs),
        tables=(table,),
        notes=notes,
        gist=gist if any(checks_of(one) or one.without for one in known) else "no other test applies",
    )


def checks_of(one: AttributeReport) -> list[tuple[str, float]]:
    """Name and p of each other test of the same question."""
    found = []
    if one.check is not None:
        found.append(("analysis of variance within tasters", one.check.p_value))
    if one.ranks is not None:
        found.append((rank_test_name(one.ranks), rank_p(one.ranks)))
    if one.permutation is not None:
        found.append(("permutation of scores within tasters", one.permutation.p_value))
    if one.ordinal is not None:
        found.append(("cumulative logit of ordered categories", one.ordinal.p_value))
    return found


def shaky_sentences(one: AttributeReport) -> list[str]:
    """Where a check comes out on the other side of alpha; nothing where all agree."""
    if one.main is None:
        return []
    here = one.main.p_value <= one.alpha
    other = [f"{name} ({p_text(p)})" for name, p in checks_of(one) if (p <= one.alpha) != here]
    if not other:
        return []
    return [
        f"“{one.title}”: the ways to test disagree at α = {one.alpha:g}: the analysis of variance gives "
        f"{p_equals(one.main.p_value)}, but {listing(other)}. The result is sensitive to the method; read it with "
        "caution."
    ]


def without_sentence(one: AttributeReport) -> str:
    """What leaving flagged tasters out does to the finding."""
    assert one.main is not None
    told = [f"without {_who(row.tasters)} {p_equals(row.p_value)}" for row in one.without]
    verdict = "the finding hangs on them" if hangs_on_them(one) else "the finding stays"
    return f"“{one.title}”: {p_equals(one.main.p_value)} with everybody; {'; '.join(told)}: {verdict}."


def hangs_on_them(one: AttributeReport) -> bool:
    """Whether leaving flagged tasters out moves p across alpha."""
    main = one.main
    return main is not None and any(
        (row.p_value <= one.alpha) != (main.p_value <= one.alpha) for row in one.without
    )


def _who(tasters: tuple[str, ...]) -> str:
    if len(tasters) > 4:
        return f"the {len(tasters)} flagged tasters"
    named = listing(sorted(tasters, key=natural))
    return f"{'taster' if len(tasters) == 1 else 'tasters'} {named}"


def _lines(one: AttributeReport) -> list[tuple[str, float | None]]:
    assert one.main is not None
    rows: list[tuple[str, float | None]] = [("the finding: analysis of variance", one.main.p_value)]
    rows += checks_of(one)
    rows += [(f"the finding without {_who(row.tasters)}", row.p_value) for row in one.without]
    return rows
