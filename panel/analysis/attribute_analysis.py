"""One attribute of a table of scores: the test its shape calls for, the checks beside it, panel and serving."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import stats
from panel.analysis.exclusions import without_flagged
from panel.analysis.score_report import (
    AttributeReport,
    ConditionMean,
    RawScores,
    ServedMean,
    Shape,
    Standing,
)
from panel.analysis.shapes import method_for, shape_of

if TYPE_CHECKING:
    import pandas as pd

    from panel.analysis.wording import RankTest
    from stats.camps import Camps
    from stats.check_all import CheckAll
    from stats.consistency import PanelConsistency
    from stats.liking_ordinal import OrdinalCheck
    from stats.liking_permutation import PermutationAnova
    from stats.liking_rows import HedonicAnova
    from stats.order_effects import OrderEffects
    from stats.results import Result

Found = TypeVar("Found")
YES_NO = (
    "Every answer is yes or no: the shares of yes are compared by Cochran's Q with tasters as blocks, pairs by the "
    "exact McNemar test. Scores of consistency and order are for scales and are left out."
)
# Above these sizes the F test no longer needs the check, and the check takes long.
PERMUTE_UP_TO, ORDINAL_UP_TO, MOST_CATEGORIES = 1_000, 600, 15
DRAWS = 9_999  # shuffles where a distribution is too long to walk: p to about ± 0.004 at 0.05
LARGE_PANEL = 1_000  # tasters above which camps are resampled less often: p to 1/61, which decides at 0.05
CAMPS_FROM = 20  # fewer tasters cannot tell camps from chance (`stats.camps`)


@dataclass(frozen=True, slots=True)
class Settings:
    """What holds for every attribute.

    reference : the sample that the others are compared with, None for all pairs
    correction : over attributes
    ordinal : whether scores in few categories are also read as ordered categories, which takes a while
    """

    alpha: float
    reference: str | None
    ordinal: bool = True
    correction: str = "holm"

    def of_anova(self) -> dict[str, Any]:
        adjust = "dunnett" if self.reference else "tukey"
        return {"alpha": self.alpha, "adjust": adjust, "reference": self.reference}


def analyse_attribute(
    frame: pd.DataFrame, *, attribute: str, title: str, standing: Standing, liking: bool, settings: Settings
) -> AttributeReport:
    """The report of one attribute, p-values not yet adjusted over attributes.

    frame : long, columns taster, sample, score and where they vary replicate, condition, position
    liking : whether the attribute is liking, so that camps of tasters are looked for
    A part that cannot be computed is None, its reason in `not_done`.
    """
    shape = shape_of(frame)
    results = _shares(frame, settings) if shape.yes_no else _scores(frame, shape, settings)
    if liking and not shape.yes_no and shape.tasters >= CAMPS_FROM and shape.samples > 2:
        _look_for_camps(results, frame, settings.alpha)
    main, shares = results.main, results.shares
    p_value = main.p_value if main else shares.terms[0].p if shares else None
    leading: Result | None = main or shares
    return AttributeReport(
        attribute=attribute,
        title=title,
        standing=standing,
        shape=shape,
        raw=_raw(frame),
        by_condition=_by_condition(frame) if shape.conditions > 1 else (),
        main=main,
        check=results.check,
        interaction=results.interaction,
        ranks=results.ranks,
        permutation=results.permutation,
        ordinal=results.ordinal,
        shares=shares,
        consistency=results.consistency,
        order=results.order,
        camps=results.camps,
        without=without_flagged(frame, results.consistency, method_for(shape)[0], settings.alpha),
        serving=_by_position(frame),
        p_value=p_value,
        p_adjusted=p_value,
        family=1,
        correction=settings.correction,
        alpha=settings.alpha,
        found=False,
        why=YES_NO if shape.yes_no else method_for(shape)[1],
        not_done=tuple(results.failed),
        method=leading.method if leading else "",
        notes=_notes(leading, results.ranks),
    )


@dataclass(slots=True)
class _Results:
    """What was computed so far; `failed` keeps the reasons for what could not be."""

    failed: list[str]
    main: HedonicAnova | None = None
    check: HedonicAnova | None = None
    interaction: HedonicAnova | None = None
    ranks: RankTest | None = None
    permutation: PermutationAnova | None = None
    ordinal: OrdinalCheck | None = None
    shares: CheckAll | None = None
    consistency: PanelConsistency | None = None
    order: OrderEffects | None = None
    camps: Camps | None = None

    def attempt(self, what: str, compute: Callable[[], Found]) -> Found | None:
        """The result, or None with the reason kept: one test that cannot be done does not stop the report."""
        try:
            return compute()
        except ValueError as error:
            self.failed.append(f"{what} was not computed ({error})")
            return None


def _shares(frame: pd.DataFrame, settings: Settings) -> _Results:
    from stats.check_all import check_all

    results = _Results([])
    results.shares = results.attempt("Cochran's Q", lambda: check_all(frame, alpha=settings.alpha))
    return results


def _scores(frame: pd.DataFrame, shape: Shape, settings: Settings) -> _Results:
    results, of_anova = _Results([]), settings.of_anova()
    alpha, method = settings.alpha, method_for(shape)[0]
    if shape.tasters < 2:
        results.failed.append("one taster's scores say nothing about other tasters; at least two are needed")
        return results
    if frame["score"].nunique() < 2:
        results.failed.append(f"every score is {frame['score'].max():g}, which leaves nothing to compare")
        return results
    results.main = results.attempt("The analysis of variance", lambda: _anova(frame, method, of_anova))
    if not shape.complete and shape.conditions == 1:
        results.check = results.attempt(
            "The check within tasters", lambda: _anova(frame, "two-way", of_anova)
        )
    if shape.conditions > 1:
        asked = of_anova | {"interaction": True, "adjust": "none", "reference": None}
        results.interaction = results.attempt("Sample × condition", lambda: _anova(frame, method, asked))
    results.ranks = results.attempt("The rank test", lambda: _ranks(frame, shape, alpha))
    if shape.conditions == 1 and not shape.replicated:
        _light_checks(results, frame, shape, settings)
    results.consistency = results.attempt(
        "Panel consistency", lambda: stats.panel_consistency(frame, alpha=alpha)
    )
    if "position" in frame:
        from stats.order_effects import order_effects

        results.order = results.attempt("Serving order", lambda: order_effects(frame, alpha=alpha))
    return results


def _look_for_camps(results: _Results, frame: pd.DataFrame, alpha: float) -> None:
    from stats.camps import camps

    many = frame["taster"].nunique() > LARGE_PANEL
    resamples = 60 if many else 200
    results.camps = results.attempt("Camps of liking", lambda: camps(frame, alpha=alpha, resamples=resamples))


def _notes(leading: Result | None, ranks: RankTest | None) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*(leading.notes if leading else ()), *(ranks.notes if ranks else ()))))


def _light_checks(results: _Results, frame: pd.DataFrame, shape: Shape, settings: Settings) -> None:
    alpha = settings.alpha
    if shape.scores <= PERMUTE_UP_TO:
        results.permutation = results.attempt(
            "The permutation test", lambda: stats.permutation_anova(frame, draws=DRAWS, alpha=alpha)
        )
    few = shape.samples <= MOST_CATEGORIES and frame["score"].nunique() <= MOST_CATEGORIES
    if settings.ordinal and shape.scores <= ORDINAL_UP_TO and few:
        results.ordinal = results.attempt(
            "The check as ordered categories", lambda: stats.ordinal_check(frame, alpha=alpha)
        )


def _anova(frame: pd.DataFrame, method: str, settings: dict[str, Any]) -> HedonicAnova:
    found: HedonicAnova = stats.hedonic_anova(frame, method=method, **settings)
    return found


def _ranks(frame: pd.DataFrame, shape: Shape, alpha: float) -> RankTest:
    cells = frame.groupby(["taster", "sample"])["score"].count()
    whole = bool((cells > 0).sum() == shape.tasters * shape.samples)
    found: RankTest
    if whole:
        found = stats.friedman(frame, draws=DRAWS, alpha=alpha)
    elif shape.balanced_blocks:
        found = stats.durbin(frame, alpha=alpha)
    else:
        found = stats.skillings_mack(frame, alpha=alpha)
    return found


def _raw(frame: pd.DataFrame) -> tuple[RawScores, ...]:
    scored = frame[frame["score"].notna()]
    return tuple(
        RawScores(str(name), tuple(sorted(map(float, scores))))
        for name, scores in scored.groupby("sample")["score"]
    )


def _by_position(frame: pd.DataFrame) -> tuple[ServedMean, ...]:
    """How far scores lie from their sample's mean at each position; empty without positions or for yes and no."""
    if "position" not in frame:
        return ()
    scored = frame[frame["score"].notna()]
    if scored["score"].isin((0, 1)).all():
        return ()
    apart = scored["score"] - scored.groupby("sample")["score"].transform("mean")
    cells = apart.groupby([scored["sample"], scored["position"]])
    return tuple(
        ServedMean(str(sample), int(position), float(mean), int(size))
        for (sample, position), mean, size in zip(
            cells.mean().index.tolist(), cells.mean(), cells.size(), strict=True
        )
    )


def _by_condition(frame: pd.DataFrame) -> tuple[ConditionMean, ...]:
    scored = frame[frame["score"].notna()]
    cells = scored.groupby(["condition", "sample"])["score"]
    means, sizes = cells.mean(), cells.size()
    return tuple(
        ConditionMean(str(condition), str(sample), float(mean), int(size))
        for (condition, sample), mean, size in zip(means.index.tolist(), means, sizes, strict=True)
    )
