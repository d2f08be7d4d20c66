"""Scores -> report: the methods that the table calls for, every attribute, multiplicity handled."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import stats
from panel.analysis.provenance import frame_hash, versions
from panel.analysis.score_report import AttributeReport, RawScores, ScoreReport, Shape, Standing
from panel.analysis.scores import ScoreTable
from panel.analysis.shapes import method_for, shape_of
from panel.analysis.wording import RankTest, rank_p

if TYPE_CHECKING:
    import pandas as pd

    from panel.study.plan import Plan
    from stats.liking_rows import HedonicAnova
    from stats.order_effects import OrderEffects

Found = TypeVar("Found")
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
    order = list(dict.fromkeys(frame["attribute"]))
    order.sort(key=lambda attribute: attribute != primary)
    parts = frame.groupby("attribute", sort=False)
    attributes = [_attribute(parts.get_group(one), one, plan, primary, reference, alpha) for one in order]
    return ScoreReport(
        name=name,
        question=plan.question if plan else "",
        attributes=_corrected(attributes),
        samples=samples,
        tasters=int(frame.loc[frame["score"].notna(), "taster"].nunique()),
        scores=int(frame["score"].notna().sum()),
        missing=int(frame["score"].isna().sum()),
        conditions=tuple(frame["condition"].unique()) if "condition" in frame else (),
        replicates=int(frame["replicate"].nunique()) if "replicate" in frame else 1,
        primary=primary,
        planned=plan is not None,
        reference=reference,
        alpha=alpha,
        correction="holm",
        assumptions=assumptions,
        versions=versions(),
        data_hash=frame_hash(frame),
        method=METHOD,
        notes=_multiplicity_notes(attributes, alpha),
    )


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


def _attribute(
    frame: pd.DataFrame,
    name: str,
    plan: Plan | None,
    primary: str | None,
    reference: str | None,
    alpha: float,
) -> AttributeReport:
    frame = frame.drop(columns="attribute")
    shape = shape_of(frame)
    method, why = method_for(shape)
    failed: list[str] = []
    settings = {"alpha": alpha, "adjust": "dunnett" if reference else "tukey", "reference": reference}
    main = check = interaction = None
    if not shape.yes_no:
        main = _attempt(failed, "", lambda: _anova(frame, method, settings))
        if main is not None and not shape.complete and shape.conditions == 1:
            check = _attempt(failed, "The check within tasters", lambda: _anova(frame, "two-way", settings))
        if main is not None and shape.conditions > 1:
            interaction = _attempt(
                failed, "Sample × condition", lambda: _anova(frame, method, settings | {"interaction": True})
            )
    ranks = _attempt(failed, "The rank test", lambda: _ranks(frame, shape, alpha))
    consistency = _attempt(failed, "Panel consistency", lambda: stats.panel_consistency(frame, alpha=alpha))
    order: OrderEffects | None = None
    if "position" in frame:
        # Not as stats.order_effects: once loaded, that name is the module.
        from stats.order_effects import order_effects

        order = _attempt(failed, "Serving order", lambda: order_effects(frame, alpha=alpha))
    standing: Standing = "exploratory" if plan is None else "primary" if name == primary else "secondary"
    p_value = main.p_value if main else rank_p(ranks) if shape.yes_no and ranks else None
    return AttributeReport(
        attribute=name,
        title=_title(plan, name),
        standing=standing,
        shape=shape,
        raw=_raw(frame),
        main=main,
        check=check,
        interaction=interaction,
        ranks=ranks,
        consistency=consistency,
        order=order,
        p_value=p_value,
        p_adjusted=p_value,
        family=1,
        alpha=alpha,
        found=False,
        why=YES_NO if shape.yes_no else why,
        not_done=tuple(failed),
        method=main.method if main else ranks.method if ranks else "",
        notes=tuple(dict.fromkeys((*(main.notes if main else ()), *(ranks.notes if ranks else ())))),
    )


YES_NO = "Every answer is yes or no: the shares of yes are compared by Cochran's Q, tasters as blocks."


def _attempt(failed: list[str], what: str, compute: Callable[[], Found]) -> Found | None:
    """The result, or None with the reason kept: one test that cannot be done does not stop the report."""
    try:
        return compute()
    except ValueError as error:
        failed.append(f"{what} was not computed: {error}." if what else f"{error}.")
        return None


def _anova(frame: pd.DataFrame, method: str, settings: dict[str, Any]) -> HedonicAnova:
    found: HedonicAnova = stats.hedonic_anova(frame, method=method, **settings)
    return found


def _ranks(frame: pd.DataFrame, shape: Shape, alpha: float) -> RankTest:
    cells = frame.groupby(["taster", "sample"])["score"].count()
    whole = bool((cells > 0).sum() == shape.tasters * shape.samples)
    found: RankTest
    if whole:
        found = stats.friedman(frame, alpha=alpha)
    elif shape.balanced_blocks:
        found = stats.durbin(frame, alpha=alpha)
    else:
        found = stats.skillings_mack(frame)
    return found


def _title(plan: Plan | None, name: str) -> str:
    asked = {question.key: question.text for question in plan.questions} if plan else {}
    return asked.get(name, name)


def _raw(frame: pd.DataFrame) -> tuple[RawScores, ...]:
    scored = frame[frame["score"].notna()]
    return tuple(
        RawScores(str(name), tuple(sorted(map(float, scores))))
        for name, scores in scored.groupby("sample")["score"]
    )


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
