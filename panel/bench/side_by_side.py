"""One measurand for all products side by side: figures, repeatability, comparisons, the race, the curves."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.bench.between_products import Race, Repeatability, compared, races, repeatability
from panel.bench.curves import Curve, curves
from panel.bench.derived import SCALES, measurand_figures
from panel.bench.showing import ABSENT, Written, in_words, written
from panel.bench.usability import scores_of_testers
from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.bench.figures import Figure, Run
    from panel.study.measuring import Bench, Measurand
    from stats.replicated_comparison import ReplicatedComparison

_NOT_COMPARED = ("check", "price")


@dataclass(frozen=True, slots=True)
class FigureBeside:
    """One figure of all products.

    rows : product's name, the figure in writing, its letters ("" where it is not compared)
    words : a sentence for each product, with how testers were spread
    repeats : None for testers and without two runs
    comparison : None for prices and checks, and where no run gives the figure
    """

    figure: str
    name: str
    rows: tuple[tuple[str, Written, str], ...]
    words: tuple[str, ...]
    repeats: Repeatability | None
    comparison: ReplicatedComparison | None

    @property
    def known(self) -> bool:
        """Whether any product has it."""
        return any(shown.number != ABSENT for _, shown, _ in self.rows)


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Everything about one measurand. race : None unless it is timed at equal volume; curves : of a series."""

    measurand: Measurand
    figures: tuple[FigureBeside, ...]
    race: Race | None
    curves: tuple[Curve, ...]


def side_by_side(
    bench: Bench, measurand: Measurand, runs: Sequence[Run], names: Mapping[str, str]
) -> SideBySide:
    """The products' figures beside each other, by product's name.

    measurand : with its limits in the unit shown; runs : of the bench, also invalid ones; names : product -> name;
    products of the same name are told apart by a number
    """
    called = _told_apart(names)
    mine = [
        replace(run, product=called.get(run.product, run.product))
        for run in runs
        if run.measurand == measurand.key
    ]
    found = measurand_figures(measurand, mine, bench.cup_ml, bench.currency)
    kind = QUANTITIES[measurand.quantity]
    figures = [
        _beside(bench, measurand, mine, one_figure)
        for figure in kind.figures
        if (one_figure := [one for one in found if one.figure == figure])
    ]
    alone = replace(bench, measurands=(measurand,), criteria=())
    return SideBySide(
        measurand=measurand,
        figures=tuple(one for one in figures if one.known),
        race=next(iter(races(alone, mine)), None),
        curves=curves(measurand, mine, cup_ml=bench.cup_ml) if kind.entry == "series" else (),
    )


def _told_apart(names: Mapping[str, str]) -> dict[str, str]:
    times: Counter[str] = Counter()
    called = {}
    for product, name in names.items():
        times[name] += 1
        called[product] = name if times[name] == 1 else f"{name} ({times[name]})"
    return called


def _beside(
    bench: Bench, measurand: Measurand, runs: Sequence[Run], figures: Sequence[Figure]
) -> FigureBeside:
    kind, figure = QUANTITIES[measurand.quantity], figures[0].figure
    wanted = kind.entry not in _NOT_COMPARED and any(one.value is not None for one in figures)
    outcome = compared(measurand, runs, figure, cup_ml=bench.cup_ml) if wanted else None
    letters = outcome.letters if outcome else {}
    ordered = sorted(figures, key=lambda one: one.product.casefold())
    return FigureBeside(
        figure=figure,
        name=kind.figures[figure],
        rows=tuple((one.product, written(one, measurand), letters.get(one.product, "")) for one in ordered),
        words=tuple(_words(one, measurand) for one in ordered),
        repeats=repeatability(figures, measurand.quantity) if wanted and not kind.after_tasting else None,
        comparison=outcome,
    )


def _words(figure: Figure, measurand: Measurand) -> str:
    """A product's figure in a sentence; of a rating also how many testers gave which."""
    scale = SCALES.get(QUANTITIES[measurand.quantity].entry)
    if scale is None or not figure.runs:
        return in_words(figure, measurand, figure.product)
    return f"{figure.product}, {measurand.name}: {scores_of_testers(figure.runs, *scale).sentence()}"
