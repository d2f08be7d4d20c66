"""A product across rounds: what ties two rounds together is the reference product that was in both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.draft_reader import name_key
from panel.study.scales import scale_of
from stats.phrasing import p_text, significant
from stats.results import Estimate, Result
from stats.taster_means import adjusted_means

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from panel.bench.figures import Figure
    from panel.study.measuring import Measurand
    from panel.study.plan import Question

CONFIDENCE = 0.95


class CannotCompareError(ValueError):
    """Two rounds that cannot be compared, with the reason in the user's words."""


@dataclass(frozen=True, slots=True, eq=False)
class TastedRound:
    """One round's answers to one question.

    name : of the round; reference : the register's id of the reference product, "" where there was none
    names : product -> name; scores : columns taster, sample (the product), score; condition : way of serving
    """

    name: str
    question: Question
    condition: str
    reference: str
    names: Mapping[str, str]
    scores: pd.DataFrame


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredRound:
    """One round's figures of one measurand."""

    name: str
    measurand: Measurand
    reference: str
    names: Mapping[str, str]
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class AgainstReference:
    """A product minus the reference in one round, with its 95 % interval by t; n : tasters, or runs of the product."""

    round: str
    product: str
    name: str
    difference: Estimate
    standard_error: float
    df: float
    n: int


@dataclass(frozen=True, slots=True)
class AcrossRounds(Result):
    """Two products, or one twice, from two rounds, each as its difference to the reference in both.

    between : the first difference minus the second; p_value : two-sided, that it is nothing; unit : of all
    """

    reference: str
    what: str
    unit: str
    first: AgainstReference
    second: AgainstReference
    between: Estimate
    df: float
    p_value: float
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Both differences, their difference, and what ties them."""
        unit = f"\u202f{self.unit}" if self.unit else ""
        sides = [
            f"{side.name} in “{side.round}” {_signed(side.difference)}{unit}"
            for side in (self.first, self.second)
        ]
        found = f"{_signed(self.between)}{unit}, {p_text(self.p_value)}"
        apart = (
            "" if self.p_value <= self.alpha else "; they were not told apart, which does not make them equal"
        )
        return (
            f"Against the reference {self.reference}, which ties the rounds, in “{self.what}”: {sides[0]} and "
            f"{sides[1]}. "
            f"Between the two: {found}{apart}."
        )


def across_tasted(
    first: TastedRound, product: str, second: TastedRound, other: str, *, alpha: float = 0.05
) -> AcrossRounds:
    """`product` of the first round against `other` of the second, by the answers to the same question.

    CannotCompareError (in words) without a common reference, with another question, scale or way of serving, and where
    a product was not tasted beside the reference.
    """
    _refuse_another_question(first, second)
    reference = _shared_reference(first, second)
    left, right = _tasted_difference(first, product), _tasted_difference(second, other)
    notes = (
        "each difference comes from tasters of its own round, means adjusted for who tasted what; the two rounds are "
        "taken as independent, so that tasters who came to both usually make the interval too wide",
        "the tie holds as far as the reference was the same product, lot and preparation both times",
    )
    unit = first.question.unit
    method = "difference of differences to the reference; Welch and Satterthwaite's t"
    return _between(reference, first.question.text, unit, left, right, alpha, method, notes)


def across_measured(
    first: MeasuredRound, product: str, second: MeasuredRound, other: str, figure: str, *, alpha: float = 0.05
) -> AcrossRounds:
    """The same by a figure that was measured in both rounds. CannotCompareError as above."""
    _refuse_another_measurand(first, second)
    reference = _shared_reference(first, second)
    left, right = _measured_difference(first, product, figure), _measured_difference(second, other, figure)
    notes = (
        "uncertainties of the four figures are taken as independent; an error of the instrument that reference and "
        "product share would cancel, and makes the interval too wide rather than too narrow",
        "the tie holds as far as the reference was the same unit in the same state both times",
    )
    method = "difference of differences to the reference; combined standard uncertainty, effective degrees of freedom"
    return _between(
        reference, first.measurand.name, _unit_of(first, figure), left, right, alpha, method, notes
    )


def _unit_of(of: MeasuredRound, figure: str) -> str:
    return next((one.unit for one in of.figures if one.figure == figure), of.measurand.unit)


def _shared_reference(first: TastedRound | MeasuredRound, second: TastedRound | MeasuredRound) -> str:
    for one in (first, second):
        if not one.reference:
            raise CannotCompareError(
                f"“{one.name}” had no reference product, so that nothing ties it to the other round."
            )
    if first.reference != second.reference:
        left, right = first.names[first.reference], second.names[second.reference]
        raise CannotCompareError(
            f"“{first.name}” was tied to {left}, “{second.name}” to {right}: there is no common reference. Put one "
            "product into both rounds to compare them."
        )
    return second.names[second.reference]


def _refuse_another_question(first: TastedRound, second: TastedRound) -> None:
    one, other = first.question, second.question
    if one.scale != other.scale:
        raise CannotCompareError(
            f"“{first.name}” was answered on “{scale_of(one.scale).name}”, “{second.name}” on "
            f"“{scale_of(other.scale).name}”: scores of two scales cannot be compared."
        )
    if name_key(one.text) != name_key(other.text):
        raise CannotCompareError(
            f"“{one.text}” and “{other.text}” are two questions; their scores cannot be compared."
        )
    parts = ("low", "high", "points", "least", "most", "unit")
    if any(getattr(one, part) != getattr(other, part) for part in parts):
        raise CannotCompareError(
            f"“{one.text}” had other words or limits on its scale in “{second.name}” than in “{first.name}”; "
            "their scores cannot be compared."
        )
    if name_key(first.condition) != name_key(second.condition):
        raise CannotCompareError(
            f"“{first.name}” was served “{first.condition}”, “{second.name}” “{second.condition}”: compare what was "
            "served the same way."
        )


def _refuse_another_measurand(first: MeasuredRound, second: MeasuredRound) -> None:
    one, other = first.measurand, second.measurand
    for part, words in (
        ("quantity", "is another kind of quantity"),
        ("unit", "was taken down in another unit"),
        ("load", "was measured with another load"),
        ("servings", "was measured with another number of servings"),
        ("condition", "was measured in another way"),
        ("ambient", "was normalised to another room temperature"),
        ("start_minutes", "was counted from another minute"),
        ("threshold", "had another threshold"),
        ("low", "had another window"),
        ("high", "had another window"),
    ):
        if getattr(one, part) != getattr(other, part):
            raise CannotCompareError(
                f"“{other.name}” in “{second.name}” {words} than “{one.name}” in “{first.name}”; "
                "they cannot be compared."
            )


def _tasted_difference(of: TastedRound, product: str) -> AgainstReference:
    _refuse_the_reference(of, product)
    rows = of.scores[of.scores["score"].notna()][["taster", "sample", "score"]]
    try:
        rows = rows.assign(replicate=rows.groupby(["taster", "sample"]).cumcount())
        means = adjusted_means(rows)
        difference, error = means.contrast(product, of.reference)
    except (ValueError, KeyError):
        raise CannotCompareError(
            f"In “{of.name}” too few tasters connect {of.names[product]} with {of.names[of.reference]}."
        ) from None
    estimate = _interval(difference, error, means.df)
    return AgainstReference(of.name, product, of.names[product], estimate, error, means.df, means.n)


def _measured_difference(of: MeasuredRound, product: str, figure: str) -> AgainstReference:
    _refuse_the_reference(of, product)
    found = {
        one.product: one for one in of.figures if one.figure == figure and one.measurand == of.measurand.key
    }
    for one in (product, of.reference):
        if one not in found or found[one].value is None or found[one].u is None:
            raise CannotCompareError(
                f"In “{of.name}” there is no figure of “{of.measurand.name}” with its uncertainty for {of.names[one]}."
            )
    left, right = found[product], found[of.reference]
    assert left.value is not None
    assert right.value is not None
    error, df = _combined(left.u or 0.0, left.df, right.u or 0.0, right.df)
    estimate = _interval(left.value - right.value, error, df)
    return AgainstReference(of.name, product, of.names[product], estimate, error, df, left.n)


def _refuse_the_reference(of: TastedRound | MeasuredRound, product: str) -> None:
    if product not in of.names:
        raise CannotCompareError(f"The product was not in “{of.name}”.")
    if product == of.reference:
        raise CannotCompareError(f"{of.names[product]} is the reference itself: it differs from nothing.")


def _between(
    reference: str,
    what: str,
    unit: str,
    left: AgainstReference,
    right: AgainstReference,
    alpha: float,
    method: str,
    notes: tuple[str, ...],
) -> AcrossRounds:
    from scipy.stats import t

    assert left.difference.estimate is not None
    assert right.difference.estimate is not None
    difference = left.difference.estimate - right.difference.estimate
    error, df = _combined(left.standard_error, left.df, right.standard_error, right.df)
    if error > 0:
        p = float(2 * t.sf(abs(difference) / error, df))
    else:
        p = 1.0 if difference == 0 else 0.0
    between = _interval(difference, error, df)
    return AcrossRounds(reference, what, unit, left, right, between, df, p, alpha, method, notes)


def _combined(u: float, df_u: float, v: float, df_v: float) -> tuple[float, float]:
    """Standard error of a difference and its degrees of freedom (Welch 1947; JCGM 100:2008, G.4)."""
    variance = u**2 + v**2
    below = (u**4 / df_u if df_u else 0.0) + (v**4 / df_v if df_v else 0.0)
    return variance**0.5, variance**2 / below if below > 0 else float("inf")


def _interval(value: float, error: float, df: float) -> Estimate:
    from scipy.stats import norm, t

    tail = (1 + CONFIDENCE) / 2
    wide = float(norm.ppf(tail) if df == float("inf") else t.ppf(tail, df)) * error
    return Estimate(value, value - wide, value + wide, CONFIDENCE, how="t")


def _signed(estimate: Estimate) -> str:
    """A difference with its sign and interval."""

    def said(value: float | None) -> str:
        text = significant(value or 0.0, 2)
        return f"+{text}" if (value or 0) > 0 else text.replace("-", "−")

    return f"{said(estimate.estimate)} (95\u202f% interval {said(estimate.low)} to {said(estimate.high)})"
