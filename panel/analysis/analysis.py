"""Scores -> report: the methods that the table calls for, every attribute, multiplicity handled."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import stats
from panel.analysis.attribute_analysis import Settings, analyse_attribute
from panel.analysis.attribute_kinds import attribute_kinds, judged_attributes, profile_of
from panel.analysis.drivers import drivers
from panel.analysis.duplicates import duplicate_distance, duplicate_pair
from panel.analysis.provenance import frame_hash, versions
from panel.analysis.score_report import AttributeReport, ScoreReport
from panel.analysis.scores import ScoreTable
from panel.study.questions import scored_names
from stats.multiplicity import CORRECTIONS
from stats.phrasing import count, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from panel.study.plan import Plan
    from stats.response_patterns import ResponsePatterns

OPTIONAL = ("replicate", "condition")
METHOD = (
    "Each attribute by analysis of variance with tasters as blocks or random, beside it a rank test; pairs by "
    "Tukey's method, against a reference by Dunnett's; over attributes {correction}"
)
ORDINAL_ATTRIBUTES = 3  # with more only liking is also read as ordered categories, which takes a while


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
    correction : over attributes of one standing: "holm", "benjamini-hochberg" or "none"
    kinds : attribute -> "liking", "intensity", "jar" (just about right) or "check-all" (or the id of such a
        scale); where it is silent the plan's scales tell, else the name. Scales of the last two kinds are drivers
    roles : sample -> "reference", or "duplicate" for the two labels of one product served twice; others are ignored
    ValueError for a table with problems, an unknown reference, role or correction, or fewer than two samples or
        tasters.
    """
    frame, name, assumptions = _checked(table)
    alpha = plan.alpha if plan else alpha
    roles = dict(roles or {})
    reference = reference or next((label for label, role in roles.items() if role == "reference"), None)
    samples = tuple(sorted(frame.loc[frame["score"].notna(), "sample"].unique()))
    _refuse(samples, alpha, correction, reference, roles)
    known = attribute_kinds(frame, plan, kinds or {})
    titles = {one: _title(plan, one) for one in known}
    primary = plan.primary if plan and plan.primary in known else None
    settings = Settings(alpha=alpha, reference=reference, correction=correction)
    attributes = _each_attribute(frame, primary, settings, known, titles, plan is not None)
    return ScoreReport(
        name=name,
        question=plan.question if plan else "",
        attributes=_corrected(attributes, correction),
        samples=samples,
        **_size(frame),
        primary=primary,
        planned=plan is not None,
        reference=reference,
        alpha=alpha,
        correction=correction,
        patterns=_patterns(frame, alpha),
        **_beside(frame, known, titles, primary, alpha, duplicate_pair(roles)),
        assumptions=assumptions,
        versions=versions(),
        data_hash=frame_hash(frame),
        method=METHOD.format(correction=CORRECTIONS[correction]),
        notes=_multiplicity_notes(attributes, alpha, correction, reference),
    )


def _size(frame: pd.DataFrame) -> dict[str, Any]:
    scored = frame["score"].notna()
    return {
        "tasters": int(frame.loc[scored, "taster"].nunique()),
        "scores": int(scored.sum()),
        "missing": int((~scored).sum()),
        "conditions": tuple(frame["condition"].unique()) if "condition" in frame else (),
        "replicates": int(frame["replicate"].nunique()) if "replicate" in frame else 1,
    }


def _each_attribute(
    frame: pd.DataFrame,
    primary: str | None,
    settings: Settings,
    kinds: Mapping[str, str],
    titles: Mapping[str, str],
    planned: bool,
) -> list[AttributeReport]:
    """One report per attribute: the primary one first, the others in the order of the table."""
    parts = frame.groupby("attribute", sort=False)
    judged = judged_attributes(kinds)
    few = len(judged) <= ORDINAL_ATTRIBUTES
    return [
        analyse_attribute(
            parts.get_group(one).drop(columns="attribute"),
            attribute=one,
            title=titles[one],
            liking=kinds[one] == "liking",
            standing="exploratory" if not planned else "primary" if one == primary else "secondary",
            settings=dataclasses.replace(settings, ordinal=few or one == primary or kinds[one] == "liking"),
        )
        for one in sorted(judged, key=lambda attribute: attribute != primary)
    ]


def _beside(
    frame: pd.DataFrame,
    kinds: Mapping[str, str],
    titles: Mapping[str, str],
    primary: str | None,
    alpha: float,
    pair: tuple[str, str] | None,
) -> dict[str, Any]:
    """What concerns several attributes at once: drivers, map, and the distance of a blind duplicate."""
    likings = [one for one, kind in kinds.items() if kind == "liking"]
    liking = primary if primary in likings else next(iter(likings), None)
    parts = frame.groupby("attribute", sort=False)
    distances = []
    for one in dict.fromkeys((primary or liking or "", *kinds)):
        if pair is not None and kinds.get(one) in ("liking", "intensity"):
            distances.append(duplicate_distance(parts.get_group(one), pair, one, titles[one]))
    return {
        "drivers": drivers(frame, kinds, titles, liking=liking, alpha=alpha),
        "profile": profile_of(frame, kinds),
        "duplicates": tuple(one for one in distances if one is not None),
    }


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


def _refuse(
    samples: tuple[str, ...], alpha: float, correction: str, reference: str | None, roles: Mapping[str, str]
) -> None:
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    if correction not in CORRECTIONS:
        raise ValueError(f"correction: {correction!r} is not known; choose {', '.join(CORRECTIONS)}")
    if len(samples) < 2:
        raise ValueError(
            f"table: two samples with scores are needed, but there is {', '.join(samples) or 'none'}"
        )
    if reference is not None and reference not in samples:
        raise ValueError(f"reference: {reference!r} is no sample; there are {', '.join(samples)}")
    for label in roles:
        if label not in samples:
            raise ValueError(f"roles: {label!r} is no sample; there are {', '.join(samples)}")


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


def _corrected(attributes: list[AttributeReport], correction: str) -> tuple[AttributeReport, ...]:
    """Attributes with p-values adjusted over those of the same standing; the primary one stands alone."""
    adjust = {"holm": stats.holm, "benjamini-hochberg": stats.benjamini_hochberg, "none": tuple}[correction]
    families: dict[str, list[AttributeReport]] = {}
    for one in attributes:
        if one.p_value is not None:
            families.setdefault(one.standing, []).append(one)
    adjusted: dict[str, tuple[float, int]] = {}
    for family in families.values():
        p = adjust([one.p_value for one in family])
        adjusted |= {one.attribute: (value, len(family)) for one, value in zip(family, p, strict=True)}
    done = []
    for one in attributes:
        value, size = adjusted.get(one.attribute, (None, 1))
        found = value is not None and value <= one.alpha
        done.append(dataclasses.replace(one, p_adjusted=value, family=size, found=found))
    return tuple(done)


def _multiplicity_notes(
    attributes: list[AttributeReport], alpha: float, correction: str, reference: str | None
) -> tuple[str, ...]:
    samples = max(one.shape.samples for one in attributes)
    notes = []
    if len(attributes) > 1:
        said = stats.expected_false_findings(len(attributes), alpha=alpha).sentence()
        kept = {
            "holm": (
                "Holm's correction over attributes of the same standing keeps the chance of any at "
                f"{percent(alpha)} or less."
            ),
            "benjamini-hochberg": (
                "Benjamini and Hochberg's correction over attributes of the same standing keeps the expected share "
                f"of false ones among the findings at {percent(alpha)} or less; single false findings remain likely."
            ),
            "none": "Nothing corrects for that here.",
        }
        notes.append(f"{said} {kept[correction]}")
    if samples > 2:
        pairs = samples - 1 if reference else samples * (samples - 1) // 2
        notes.append(
            f"{count(samples, 'sample')} make {count(pairs, 'comparison')} {'with the reference ' if reference else ''}"
            "in each attribute. They are made together, which keeps the chance of any false finding among those of "
            f"one attribute at {percent(alpha)}; one by one, {round(pairs * alpha, 2):g} false findings would be "
            "expected."
        )
    return tuple(notes)
