"""Scores -> report: the methods that the table calls for, every attribute, multiplicity handled."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import stats
from panel.analysis.attribute_analysis import Settings, analyse_attribute
from panel.analysis.provenance import frame_hash, versions
from panel.analysis.score_report import AttributeReport, ScoreReport
from panel.analysis.scores import ScoreTable
from panel.study.questions import scored_names

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from panel.study.plan import Plan
    from stats.response_patterns import ResponsePatterns

OPTIONAL = ("replicate", "condition")
METHOD = (
    "Each attribute by analysis of variance with tasters as blocks or random, beside it a rank test; pairs by "
    "Tukey's method, against a reference by Dunnett's; over attributes Holm's correction"
)


def analyse_scores(
    table: ScoreTable | pd.DataFrame,
    *,
    reference: str | None = None,
    alpha: float = 0.05,
    plan: Plan | None = None,
    correction: str = "holm",
    kinds: Mapping[str, str] | None = None,
    roles: Mapping[str, str] | None = None,
) -> ScoreReport:
    """The report of scores of samples by tasters.

    table : a checked table, or a long frame with columns taster, sample, score and where present attribute,
        replicate, position, condition; a score that is missing is nan and is never filled in
    reference : the sample that the others are compared with (Dunnett); None compares all pairs (Tukey)
    plan : the sealed plan; its alpha, primary question and wording are used. Without it every finding is
        exploratory.
    ValueError for a table with problems, an unknown reference, or fewer than two samples or tasters.
    """
    frame, name, assumptions = _checked(table)
    alpha = plan.alpha if plan else alpha
    samples = tuple(sorted(frame.loc[frame["score"].notna(), "sample"].unique()))
    _refuse(frame, samples, reference, alpha)
    primary = plan.primary if plan and plan.primary in set(frame["attribute"]) else None
    attributes = _each_attribute(frame, plan, primary, Settings(alpha=alpha, reference=reference))
    scored = frame["score"].notna()
    return ScoreReport(
        name=name,
        question=plan.question if plan else "",
        attributes=_corrected(attributes),
        samples=samples,
        tasters=int(frame.loc[scored, "taster"].nunique()),
        scores=int(scored.sum()),
        missing=int((~scored).sum()),
        conditions=tuple(frame["condition"].unique()) if "condition" in frame else (),
        replicates=int(frame["replicate"].nunique()) if "replicate" in frame else 1,
        primary=primary,
        planned=plan is not None,
        reference=reference,
        alpha=alpha,
        correction="holm",
        patterns=_patterns(frame, alpha),
        assumptions=assumptions,
        versions=versions(),
        data_hash=frame_hash(frame),
        method=METHOD,
        notes=_multiplicity_notes(attributes, alpha),
    )


def _each_attribute(
    frame: pd.DataFrame, plan: Plan | None, primary: str | None, settings: Settings
) -> list[AttributeReport]:
    """One report per attribute: the primary one first, the others in the order of the table."""
    order = sorted(dict.fromkeys(frame["attribute"]), key=lambda attribute: attribute != primary)
    parts = frame.groupby("attribute", sort=False)
    return [
        analyse_attribute(
            parts.get_group(one).drop(columns="attribute"),
            attribute=one,
            title=_title(plan, one),
            liking=_is_liking(plan, one),
            standing="exploratory" if plan is None else "primary" if one == primary else "secondary",
            settings=settings,
        )
        for one in order
    ]


def _checked(table: ScoreTable | pd.DataFrame) -> tuple[pd.DataFrame, str, tuple[str, ...]]:
    if isinstance(table, ScoreTable):
        if table.problems:
            raise ValueError(f"table: it has problems, first: {table.problems[0].text}")
        frame, name, assumptions = table.frame, table.name, table.assumptions
    else:
        frame, name, assumptions = table, "", ()
    missing = [column for column in ("taster", "sample", "score") if column not in frame]
    if missing:
        raise ValueError(
            f"table: column {missing[0]!r} is missing; it has {', '.join(map(str, frame.columns))}"
        )
    if "attribute" not in frame:
        frame = frame.assign(attribute="score")
    single = [column for column in OPTIONAL if column in frame and frame[column].nunique() < 2]
    return frame.drop(columns=single).reset_index(drop=True), name, assumptions


def _refuse(frame: pd.DataFrame, samples: tuple[str, ...], reference: str | None, alpha: float) -> None:
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    if len(samples) < 2:
        raise ValueError(
            f"table: two samples with scores are needed, but there is {', '.join(samples) or 'none'}"
        )
    if reference is not None and reference not in samples:
        raise ValueError(f"reference: {reference!r} is no sample; there are {', '.join(samples)}")


def _is_liking(plan: Plan | None, name: str) -> bool:
    """Whether an attribute is liking: by the scale of its question, in other people's tables by its name."""
    scales = {question.key: question.scale for question in plan.questions} if plan else {}
    if name in scales:
        return scales[name].startswith("hedonic")
    return any(word in name.casefold() for word in ("liking", "hedonic", "acceptance", "preference"))


def _patterns(frame: pd.DataFrame, alpha: float) -> ResponsePatterns | None:
    """Runs of identical answers on scales; None without serving positions or scores on a scale."""
    from stats.response_patterns import response_patterns

    scored = frame[frame["score"].notna()]
    on_scales = [name for name, part in scored.groupby("attribute") if not part["score"].isin((0, 1)).all()]
    scored = scored[scored["attribute"].isin(on_scales)]
    if "position" not in frame or scored.empty:
        return None
    keys = [name for name in ("taster", "condition", "replicate", "position", "attribute") if name in scored]
    return response_patterns(scored.sort_values(keys), alpha=alpha)


def _title(plan: Plan | None, name: str) -> str:
    return scored_names(plan).get(name, name) if plan else name


def _corrected(attributes: list[AttributeReport]) -> tuple[AttributeReport, ...]:
    """Attributes with p-values adjusted over those of the same standing; the primary one stands alone."""
    families: dict[str, list[AttributeReport]] = {}
    for one in attributes:
        if one.p_value is not None:
            families.setdefault(one.standing, []).append(one)
    adjusted: dict[str, tuple[float, int]] = {}
    for family in families.values():
        p = stats.holm([one.p_value for one in family])
        adjusted |= {one.attribute: (value, len(family)) for one, value in zip(family, p, strict=True)}
    done = []
    for one in attributes:
        value, size = adjusted.get(one.attribute, (None, 1))
        found = value is not None and value <= one.alpha
        done.append(dataclasses.replace(one, p_adjusted=value, family=size, found=found))
    return tuple(done)


def _multiplicity_notes(attributes: list[AttributeReport], alpha: float) -> tuple[str, ...]:
    samples = max(one.shape.samples for one in attributes)
    notes = []
    if len(attributes) > 1:
        said = stats.expected_false_findings(len(attributes), alpha=alpha).sentence()
        notes.append(
            f"{said} Holm's correction over attributes of the same standing keeps that chance at {alpha:g}."
        )
    if samples > 2:
        notes.append("Pairs of samples are compared together, so that their number is allowed for.")
    return tuple(notes)
