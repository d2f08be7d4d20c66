"""The report of scores: frozen, by blind label, holding every result that stands behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from panel.analysis import wording
from stats.results import Result

if TYPE_CHECKING:
    from panel.analysis.drivers import Drivers
    from panel.analysis.duplicates import DuplicateDistance
    from panel.analysis.exclusions import WithoutTasters
    from stats.camps import Camps
    from stats.check_all import CheckAll
    from stats.consistency import PanelConsistency
    from stats.liking_ordinal import OrdinalCheck
    from stats.liking_permutation import PermutationAnova
    from stats.liking_rows import HedonicAnova
    from stats.order_effects import OrderEffects
    from stats.profile import Profile
    from stats.response_patterns import ResponsePatterns

Standing = Literal["primary", "secondary", "exploratory"]


@dataclass(frozen=True, slots=True)
class Shape:
    """What a table of one attribute looks like; it decides the method.

    complete : every taster scored every sample (under every condition); equal : equally often
    balanced_blocks : incomplete, but every taster has as many samples, every sample as many tasters and
        every two samples are together equally often
    """

    tasters: int
    samples: int
    conditions: int
    scores: int
    missing: int
    complete: bool
    equal: bool
    replicated: bool
    balanced_blocks: bool
    yes_no: bool


@dataclass(frozen=True, slots=True)
class RawScores:
    """All scores of one sample in one attribute, sorted: what a figure draws behind the mean."""

    sample: str
    scores: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ConditionMean:
    """The raw mean of one sample under one condition, over n scores."""

    condition: str
    sample: str
    mean: float
    n: int


@dataclass(frozen=True, slots=True)
class ServedMean:
    """Mean deviation from the sample's own mean at one position of the serving order, n scores."""

    sample: str
    position: int
    deviation: float
    n: int


@dataclass(frozen=True, slots=True)
class AttributeReport(Result):
    """One attribute: the method that its table calls for, the others beside it.

    by_condition : raw means under each condition, empty where there is one
    main : the analysis of variance that the finding rests on; None where it failed and for yes/no answers,
        whose finding rests on `shares`
    check : the same question by another analysis of variance; interaction : sample × condition fitted too
    ranks : Friedman, Durbin or Skillings-Mack; permutation, ordinal : checks of a plain table; shares : Cochran's
        Q of yes/no answers
    camps : clusters of tasters by what they like, for liking by 20 tasters or more
    without : the same test without the tasters that a rule flags; serving : deviations by position served
    p_value : of the test that the finding rests on; p_adjusted : over the attributes of the same standing by
        `correction`
    found : p_adjusted <= alpha
    why : why this method; not_done : what could not be computed, and why
    """

    attribute: str
    title: str
    standing: Standing
    shape: Shape
    raw: tuple[RawScores, ...]
    by_condition: tuple[ConditionMean, ...]
    main: HedonicAnova | None
    check: HedonicAnova | None
    interaction: HedonicAnova | None
    ranks: wording.RankTest | None
    permutation: PermutationAnova | None
    ordinal: OrdinalCheck | None
    shares: CheckAll | None
    consistency: PanelConsistency | None
    order: OrderEffects | None
    camps: Camps | None
    without: tuple[WithoutTasters, ...]
    serving: tuple[ServedMean, ...]
    p_value: float | None
    p_adjusted: float | None
    family: int
    correction: str
    alpha: float
    found: bool
    why: str
    not_done: tuple[str, ...]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding by blind label."""
        return wording.attribute_sentence(self, wording.as_labelled)


@dataclass(frozen=True, slots=True)
class ScoreReport(Result):
    """Scores of samples by tasters, analysed attribute by attribute. The samples go by their labels.

    primary : attribute that the verdict rests on, None where none was planned
    planned : whether a sealed plan names primary attribute and alpha
    patterns : runs of identical answers in the order served; None where the order is not known
    correction : how p-values are adjusted over attributes of one standing: "holm", "benjamini-hochberg", "none"
    drivers : just-about-right scales and ticked terms; profile : map of the samples from three or more
        intensities; duplicates : how far apart one product served twice lies; each None or empty without them
    """

    name: str
    question: str
    attributes: tuple[AttributeReport, ...]
    samples: tuple[str, ...]
    tasters: int
    scores: int
    missing: int
    conditions: tuple[str, ...]
    replicates: int
    primary: str | None
    planned: bool
    reference: str | None
    alpha: float
    correction: str
    patterns: ResponsePatterns | None
    drivers: Drivers | None
    profile: Profile | None
    duplicates: tuple[DuplicateDistance, ...]
    assumptions: tuple[str, ...]
    versions: tuple[tuple[str, str], ...]
    data_hash: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The answer first, by blind label."""
        return wording.headline(self, wording.as_labelled)

    def attribute(self, name: str) -> AttributeReport:
        """The part of the report about one attribute; KeyError naming those there are."""
        for one in self.attributes:
            if one.attribute == name:
                return one
        raise KeyError(f"no attribute {name!r}; there are {', '.join(a.attribute for a in self.attributes)}")
