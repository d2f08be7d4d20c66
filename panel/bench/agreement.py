"""Does the instrument agree with the tongue? A measured figure against what tasters perceived, for few products."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from stats.multiplicity import holm
from stats.phrasing import count, listing, p_text
from stats.rank_agreement import RankAgreement, rank_agreement
from stats.results import Result
from stats.taster_means import adjusted_means

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from panel.bench.figures import Figure

FEWEST = 3


@dataclass(frozen=True, slots=True)
class AgreementPoint:
    """One product, for a plot: the measured figure and the perceived mean, each with its 95 % interval."""

    product: str
    name: str
    measured: float
    measured_low: float | None
    measured_high: float | None
    perceived: float
    perceived_low: float
    perceived_high: float


@dataclass(frozen=True, slots=True)
class Agreement(Result):
    """A measured figure beside a perceived attribute.

    measured, perceived : what is compared, in words; unit : of the measurement
    points : products that have both; left_out : those that lack one
    ranks : None where fewer than three have both; p_adjusted : Kendall's p over all such comparisons (Holm)
    compared : how many such comparisons were made
    """

    measured: str
    perceived: str
    unit: str
    points: tuple[AgreementPoint, ...]
    left_out: tuple[str, ...]
    ranks: RankAgreement | None
    p_adjusted: float | None
    compared: int
    method: str = "Kendall's tau-b and Spearman's rho of figure and adjusted mean, exact for few products"
    notes: tuple[str, ...] = (
        "an order of products says nothing about how far they lie apart, nor that one causes the other",
        "uncertainty of either side is shown, and not used in the p-value",
    )

    def sentence(self) -> str:
        """Whether they agree, with what so few products can show at all."""
        what = f"“{self.measured}” measured against “{self.perceived}” perceived"
        gone = f" Left out for want of one of them: {listing(self.left_out)}." if self.left_out else ""
        if self.ranks is None:
            have = count(len(self.points), "product has", "products have")
            return f"{what}: only {have} both, and nothing can be said.{gone}"
        many = ""
        if self.compared > 1 and self.p_adjusted is not None:
            many = f" Among {self.compared} such comparisons, corrected: {p_text(self.p_adjusted)}."
        return f"{what}: {self.ranks.sentence()}{many}{gone}"


@dataclass(frozen=True, slots=True)
class Compared:
    """What is to be compared: a measurand's figure with a question. condition : "" for the mean over all.

    measured, perceived : both in words
    """

    measurand: str
    figure: str
    question: str
    measured: str
    perceived: str
    condition: str = ""


def agreements(
    wanted: Sequence[Compared],
    figures: Sequence[Figure],
    taste: pd.DataFrame,
    *,
    names: Mapping[str, str],
    alpha: float = 0.05,
) -> tuple[Agreement, ...]:
    """Each comparison, its p-value corrected for how many there are (Holm).

    taste : columns taster, sample (the product's key), question, score and where present condition
    names : product -> name, of those that count. ValueError where tasters do not connect the products.
    """
    found = [_agreement(one, figures, taste, names, alpha) for one in wanted]
    tested = [i for i, one in enumerate(found) if one.ranks is not None and one.ranks.tau_p is not None]
    adjusted = holm([found[i].ranks.tau_p for i in tested]) if tested else ()  # type: ignore[union-attr, misc]
    p_of = dict(zip(tested, adjusted, strict=True))
    return tuple(replace(one, p_adjusted=p_of.get(i), compared=len(tested)) for i, one in enumerate(found))


def _agreement(
    wanted: Compared, figures: Sequence[Figure], taste: pd.DataFrame, names: Mapping[str, str], alpha: float
) -> Agreement:
    measured = {
        figure.product: figure
        for figure in figures
        if (figure.measurand, figure.figure) == (wanted.measurand, wanted.figure) and figure.value is not None
    }
    perceived = _perceived(wanted, taste, names)
    both = [product for product in names if product in measured and product in perceived]
    points = tuple(_point(product, names[product], measured[product], perceived[product]) for product in both)
    ranks = None
    if len(points) >= FEWEST:
        ranks = rank_agreement(
            [one.measured for one in points], [one.perceived for one in points], alpha=alpha
        )
    return Agreement(
        measured=wanted.measured,
        perceived=wanted.perceived,
        unit=next((figure.unit for figure in measured.values()), ""),
        points=points,
        left_out=tuple(name for product, name in names.items() if product not in both),
        ranks=ranks,
        p_adjusted=None,
        compared=0,
    )


def _perceived(
    wanted: Compared, taste: pd.DataFrame, names: Mapping[str, str]
) -> dict[str, tuple[float, float, float]]:
    """Product -> adjusted mean and its 95 % interval by t over tasters; empty with fewer than two of either."""
    from scipy.stats import t

    rows = taste[
        (taste["question"] == wanted.question) & taste["sample"].isin(list(names)) & taste["score"].notna()
    ]
    if wanted.condition and "condition" in rows:
        rows = rows[rows["condition"] == wanted.condition]
    if rows["taster"].nunique() < 2 or rows["sample"].nunique() < 2:
        return {}
    rows = rows[["taster", "sample", "score"]]
    found = adjusted_means(rows.assign(replicate=rows.groupby(["taster", "sample"]).cumcount()))
    wide = float(t.ppf(0.975, found.df))
    return {
        product: (
            mean,
            mean - wide * found.covariance[i][i] ** 0.5,
            mean + wide * found.covariance[i][i] ** 0.5,
        )
        for i, (product, mean) in enumerate(found.means.items())
    }


def _point(product: str, name: str, figure: Figure, perceived: tuple[float, float, float]) -> AgreementPoint:
    assert figure.value is not None
    return AgreementPoint(product, name, figure.value, figure.low, figure.high, *perceived)
