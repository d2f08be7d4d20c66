"""Products beside each other: how far runs repeat, which products are apart, and who wins at equal volume."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.bench.derived import in_figure_unit, measurand_figures
from panel.bench.readings import reading_of
from panel.bench.units import CUP_ML
from panel.study.quantities import QUANTITIES, figure_unit
from stats.phrasing import count, listing, percent, significant
from stats.replicated_comparison import ReplicatedComparison, replicated_comparison

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from panel.bench.figures import Figure, Run
    from panel.study.measuring import Bench, Measurand

# Scales whose zero is agreed and not nothing: a share of the mean says nothing there.
_NO_RATIO = ("temperature", "temperature-series", "noise", "rating", "usability", "check")
# Factor of the repeatability limit: 1.96 √2, as ISO 5725-6 rounds it.
LIMIT_FACTOR = 2.8


@dataclass(frozen=True, slots=True)
class Repeatability:
    """How far repeated runs of one product lie apart, pooled over products.

    sd : repeatability standard deviation, in the figure's unit; df : degrees of freedom
    limit : below which two runs of one product lie apart with 95 % (2.8 sd, ISO 5725-6)
    coefficient : sd over the mean, None on scales whose zero is agreed, such as °C
    """

    measurand: str
    figure: str
    unit: str
    sd: float
    df: int
    limit: float
    coefficient: float | None
    products: int

    def sentence(self) -> str:
        """The scatter of repeats in words."""
        unit = f" {self.unit}" if self.unit else ""
        share = "" if self.coefficient is None else f", {percent(self.coefficient, 1)} of the mean"
        return (
            f"Repeated runs of one product scatter with a standard deviation of {significant(self.sd, 2)}{unit}{share} "
            f"({count(self.products, 'product')}, {count(self.df, 'degree')} of freedom); two runs lie within "
            f"{significant(self.limit, 2)}{unit} of each other 19 times out of 20."
        )


def repeatability(figures: Sequence[Figure], quantity: str) -> Repeatability | None:
    """Pooled over the products' figures of one measurand; None where no product has two runs.

    figures : the same figure of each product; quantity : id. Source: ISO 5725-2, equation of the pooled variance.
    """
    several = [figure for figure in figures if len(figure.runs) > 1]
    df = sum(len(figure.runs) - 1 for figure in several)
    if df == 0:
        return None
    squares = 0.0
    for figure in several:
        middle = sum(figure.runs) / len(figure.runs)
        squares += sum((run - middle) ** 2 for run in figure.runs)
    sd = math.sqrt(squares / df)
    every = [run for figure in several for run in figure.runs]
    centre = sum(every) / len(every)
    ratio = quantity not in _NO_RATIO and centre > 0
    first = several[0]
    return Repeatability(
        measurand=first.measurand,
        figure=first.figure,
        unit=first.unit,
        sd=sd,
        df=df,
        limit=LIMIT_FACTOR * sd,
        coefficient=sd / centre if ratio else None,
        products=len(several),
    )


def compared(
    measurand: Measurand, runs: Iterable[Run], figure: str = "mean", *, cup_ml: float = CUP_ML
) -> ReplicatedComparison:
    """The products compared by one figure of their valid runs, in the unit shown.

    Testers who rated several products are compared with themselves. Other runs are compared within days where every
    product was measured on the same two days or more, so that what changed from day to day does not count; otherwise
    by Welch's test. A product whose series stopped before its end was reached is left out and named.
    """
    readings = [
        reading_of(run, measurand, figure, cup_ml)
        for run in runs
        if run.measurand == measurand.key and not run.invalid
    ]
    readings.sort(key=lambda one: (one.run.product, one.run.run, one.run.id))
    open_ended = sorted({one.run.product for one in readings if one.at_least})
    values: dict[str, list[float]] = {}
    blocks: dict[str, list[str]] = {}
    steps = []
    testers = QUANTITIES[measurand.quantity].after_tasting
    for one in readings:
        if one.value is None or one.run.product in open_ended:
            continue
        values.setdefault(one.run.product, []).append(in_figure_unit(one.value, measurand, figure, cup_ml))
        blocks.setdefault(one.run.product, []).append(one.run.by if testers else one.run.at[:10])
        if one.instrument is not None:
            steps.append(in_figure_unit(one.instrument, measurand, figure, cup_ml, difference=True))
    found = replicated_comparison(
        values,
        blocks=blocks if (_several(blocks) if testers else _same_days(blocks)) else None,
        least_spread=sum(steps) / len(steps) if steps else 0.0,
        unit=figure_unit(measurand.quantity, figure, measurand.unit, ""),
    )
    return replace(
        found, left_out=(*found.left_out, *open_ended), notes=(*found.notes, *_open_ended(open_ended))
    )


def _open_ended(products: Sequence[str]) -> tuple[str, ...]:
    if not products:
        return ()
    return (
        f"{listing(products)} did not come to the end within the series, so that only a lower bound is known",
    )


def _several(testers: dict[str, list[str]]) -> bool:
    """Whether every tester is named, and some have rated several products."""
    named = [by for found in testers.values() for by in set(found)]
    return "" not in named and len(named) > len(set(named))


def _same_days(days: dict[str, list[str]]) -> bool:
    """Whether every product with two runs was measured on the same two days or more."""
    sets = {frozenset(found) for found in days.values() if len(found) > 1}
    return len(sets) == 1 and len(next(iter(sets))) > 1 and "" not in next(iter(sets))


@dataclass(frozen=True, slots=True)
class Race:
    """Products timed at equal volume, the fastest first.

    order : product, mean, low, high in `unit`; comparison : by replicate runs, letters tell who is apart
    """

    measurand: str
    name: str
    unit: str
    order: tuple[tuple[str, float, float | None, float | None], ...]
    comparison: ReplicatedComparison

    def sentence(self, names: dict[str, str]) -> str:
        """Who is first, and who cannot be told from the first. names : product -> name."""
        first, mean, *_ = self.order[0]
        letters = self.comparison.letters
        mine = set(letters.get(first, ""))
        tied = [names.get(p, p) for p, *_ in self.order[1:] if mine & set(letters.get(p, ""))]
        who = f"{names.get(first, first)} has the shortest mean time, {significant(mean)} {self.unit}"
        if not letters:
            return f"{who}; {self.comparison.sentence()[:1].lower()}{self.comparison.sentence()[1:]}"
        if tied:
            return f"{who}; it is not shown to be faster than {listing(tied)}."
        left = [names.get(p, p) for p in self.comparison.left_out]
        rest = f" ({listing(left)} had too few runs to compare)" if left else ""
        return f"{who}, and is faster than every other product compared{rest}."


def races(bench: Bench, runs: Sequence[Run]) -> tuple[Race, ...]:
    """Durations whose load is an equal volume, compared; none where fewer than two products have a run."""
    found = []
    for measurand in bench.measurands:
        if QUANTITIES[measurand.quantity].id != "duration" or measurand.load != "equal volume":
            continue
        mine = [run for run in runs if run.measurand == measurand.key]
        figures = [
            (figure.product, figure.value, figure.low, figure.high)
            for figure in measurand_figures(measurand, mine, bench.cup_ml, bench.currency)
            if figure.figure == "mean" and figure.value is not None
        ]
        order = tuple(sorted(figures, key=lambda row: (row[1], row[0])))
        if len(order) > 1:
            outcome = compared(measurand, mine, cup_ml=bench.cup_ml)
            found.append(Race(measurand.key, measurand.name, measurand.unit, order, outcome))
    return tuple(found)
