"""What a picture of series needs: each run's readings and the fitted law, in the unit shown, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.readings import law_of
from panel.bench.units import CUP_ML, shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from panel.bench.figures import Run
    from panel.study.measuring import Measurand

STEPS = 60


@dataclass(frozen=True, slots=True)
class Curve:
    """One run of one product.

    points : (minutes, value) as measured; fitted : points on the fitted law, () where it does not describe the run
    why : why it does not, "" where it does
    """

    product: str
    run: int
    points: tuple[tuple[float, float], ...]
    fitted: tuple[tuple[float, float], ...]
    why: str


def curves(
    measurand: Measurand, runs: Iterable[Run], names: Mapping[str, str] | None = None, cup_ml: float = CUP_ML
) -> tuple[Curve, ...]:
    """The valid series of a measurand by name of product and run. names : product -> its name."""
    called = names or {}

    def in_unit(points: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((m, shown(v, measurand.quantity, measurand.unit, cup_ml=cup_ml)) for m, v in points)

    found = []
    for run in runs:
        if run.measurand != measurand.key or run.invalid or not run.series:
            continue
        fit, why = law_of(run, measurand, cup_ml)
        end = max(minutes for minutes, _ in run.series)
        begin = measurand.start_minutes
        times = [begin + (end - begin) * step / STEPS for step in range(STEPS + 1)] if fit else []
        fitted = [(time, fit.temperature_at(time)) for time in times] if fit else []
        name = called.get(run.product, run.product)
        found.append(Curve(name, run.run, in_unit(sorted(run.series)), in_unit(fitted), why))
    return tuple(sorted(found, key=lambda curve: (curve.product.casefold(), curve.run)))
