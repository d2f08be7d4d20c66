"""What is measured beside taste, and by which rules taste and measurement become one verdict; sealed with the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Load = Literal["", "full", "equal volume", "single serving"]
Direction = Literal["more", "less", "target", "pass"]
Curve = Literal["linear", "stepped", "window", "none"]


@dataclass(frozen=True, slots=True)
class Measurand:
    """One thing to be measured of every product (VIM 2.3).

    key : "m1", "m2", … in the order typed; quantity : id in quantities.QUANTITIES
    unit : the one it is shown and typed in, one of the quantity's; "" where it has none
    load, servings : how full the product is, and how many servings that is, None where not said
    condition : how it is measured, in words; runs : how many valid runs are asked for
    low, high : window of a series in `unit`; threshold : below which it no longer serves, in `unit`
    start_minutes : when a series counts as begun; ambient : to which a series is normalised, in `unit`
    """

    key: str
    name: str
    quantity: str
    unit: str = ""
    load: Load = ""
    servings: float | None = None
    condition: str = ""
    runs: int = 3
    low: float | None = None
    high: float | None = None
    threshold: float | None = None
    start_minutes: float = 5.0
    ambient: float | None = None


@dataclass(frozen=True, slots=True)
class Criterion:
    """One line of the scorecard.

    source : key of a measurand, of a question, or of a term of one ("q3.2")
    figure : of a measurand, one of its quantity's figures; "" for a question's mean over tasters
    condition : name of the way of serving, "" for all (questions)
    unit : in which the limits below are given: the measurand's unit, or that of the figure
    direction : what is better; "pass" needs every valid run passed and is a gate only
    must_least, must_most : gates, None where there is none; a product that fails one can never win
    curve : how a value becomes 0 to 100; "none" for what is only a must and takes no weight
    worst, best : where the linear curve gives 0 and 100; "less" has worst above best
    target_low, target_high : the window that gives 100 ("target"); it falls to 0 at worst on either side, and
        `worst` is then the distance from the window at which nothing is left, None for at once
    steps : (limit, score) from the worse to the better end, for the stepped curve: the score holds from the limit on
    group : heading under which it is weighed; weight : share within the group, any positive number
    basis : where the thresholds come from: a standard, or "common practice, no source"
    """

    key: str
    name: str
    source: str
    figure: str = ""
    condition: str = ""
    unit: str = ""
    direction: Direction = "more"
    must_least: float | None = None
    must_most: float | None = None
    curve: Curve = "linear"
    worst: float | None = None
    best: float | None = None
    target_low: float | None = None
    target_high: float | None = None
    steps: tuple[tuple[float, float], ...] = ()
    group: str = "Taste"
    weight: float = 1.0
    basis: str = ""

    @property
    def weighed(self) -> bool:
        """Whether it takes part in the total; otherwise it is a gate only."""
        return self.curve != "none"

    @property
    def a_must(self) -> bool:
        """Whether a product can fail it."""
        return self.direction == "pass" or self.must_least is not None or self.must_most is not None


@dataclass(frozen=True, slots=True)
class Group:
    """A heading of the scorecard with its weight beside the other groups, any positive number."""

    name: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything about the bench that is sealed before data: what is measured, and the rules of the verdict.

    cup_ml : what one "cup" holds, as the study defines it; currency : of prices; shelf_mm : the height under which
        a product should fit, None where nobody asks
    """

    measurands: tuple[Measurand, ...] = ()
    criteria: tuple[Criterion, ...] = ()
    groups: tuple[Group, ...] = ()
    cup_ml: float = 180.0
    currency: str = "EUR"
    shelf_mm: float | None = None

    def measurand_called(self, key: str) -> Measurand | None:
        """The measurand with that key; None where it is a question's."""
        return next((measurand for measurand in self.measurands if measurand.key == key), None)


NOTHING_MEASURED = Bench()
