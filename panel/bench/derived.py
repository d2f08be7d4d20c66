"""Runs become figures: for each product and each figure of a measurand a value with its uncertainty, and flags."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from panel.bench.figures import Figure
from panel.bench.readings import numbered, reading_of
from panel.bench.units import CUP_ML, shown
from panel.bench.usability import FEW_TESTERS, few_testers, scores_of_testers
from panel.study.quantities import OWN_UNITS, QUANTITIES, figure_unit
from stats.measurement_uncertainty import Contribution, combined_uncertainty, type_a
from stats.phrasing import count, listing, significant

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from panel.bench.figures import Run
    from panel.bench.readings import Reading
    from panel.study.measuring import Bench, Measurand

CONFIDENCE = 0.95
EXACT = ("price", "count")
# Levels whose energy mean lies so far above their mean scatter too much to be repeats. Common practice, no source.
LEVELS_APART = 0.5
_TIMES_AND_AREAS = ("time until below", "time inside", "area outside")
_SIGNED = ("temperature", "temperature-series", "noise")
SCALES = {"rating": (1.0, 5.0), "usability": (0.0, 100.0)}


def bench_figures(bench: Bench, runs: Iterable[Run]) -> tuple[Figure, ...]:
    """Every figure of every measurand for every product that has a run, by measurand, figure and product.

    runs : of all products, also invalid ones, which are counted and not used. Runs of unknown measurands are a
    ValueError. A product without a run of a measurand has no figure of it.
    """
    given = list(runs)
    known = {measurand.key for measurand in bench.measurands}
    if strange := sorted({run.measurand for run in given} - known):
        raise ValueError(f"runs: the bench measures no {listing(strange)}")
    return tuple(
        figure
        for measurand in bench.measurands
        for figure in measurand_figures(
            measurand, [r for r in given if r.measurand == measurand.key], bench.cup_ml, bench.currency
        )
    )


def measurand_figures(
    measurand: Measurand, runs: Sequence[Run], cup_ml: float = CUP_ML, currency: str = ""
) -> tuple[Figure, ...]:
    """The figures of one measurand, by figure and product."""
    products = sorted({run.product for run in runs})
    return tuple(
        product_figure(measurand, figure, [run for run in runs if run.product == product], cup_ml, currency)
        for figure in QUANTITIES[measurand.quantity].figures
        for product in products
    )


def product_figure(
    measurand: Measurand, figure: str, runs: Sequence[Run], cup_ml: float = CUP_ML, currency: str = ""
) -> Figure:
    """One figure of one product from its runs; at least one run, all of one product and measurand."""
    valid = sorted((run for run in runs if not run.invalid), key=lambda run: (run.run, run.id))
    readings = [reading_of(run, measurand, figure, cup_ml) for run in valid]
    entry = QUANTITIES[measurand.quantity].entry
    found = [] if any(one.heats for one in readings) else [one for one in readings if one.value is not None]
    bare = Figure(
        product=runs[0].product,
        measurand=measurand.key,
        figure=figure,
        unit=figure_unit(measurand.quantity, figure, measurand.unit, currency),
        n=len(found),
        value=None,
        u=None,
        df=0.0,
        low=None,
        high=None,
        invalid=len(runs) - len(valid),
        flags=_flags(measurand, readings, found, len(runs) - len(valid)),
    )
    if not found:
        return bare
    if entry in SCALES:
        return _of_testers(bare, found, *SCALES[entry])
    if entry == "check":
        return _share(bare, found)
    return _into_unit(_measured(bare, found, measurand), measurand, cup_ml)


def energy_mean(levels: Sequence[float]) -> float:
    """10 lg of the mean of 10^(L/10): the level of the mean energy, in dB.

    ISO 3744 and ISO 1996 average so over microphone places and over time within one run (from memory). Runs repeated
    are another matter: their scatter is that of levels in dB, so that a figure is the mean of the runs' levels, as
    their repeatability is stated. Both differ by about 0.115 s² dB.
    """
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels) / len(levels))


def _measured(bare: Figure, found: Sequence[Reading], measurand: Measurand) -> Figure:
    """Mean with type A and B together, in the quantity's first unit."""
    values = [_value(one) for one in found]
    middle = sum(values) / len(values)
    parts = [type_a(values)] if len(values) > 1 else []
    if len(found) == 1 and found[0].own is not None:
        parts.append(Contribution("fit", found[0].own, max(found[0].own_df, 1.0), kind="A"))
    known = [one.instrument for one in found if one.instrument is not None]
    if known:  # common to all runs, so that it does not shrink with their number
        parts.append(Contribution("instrument", sum(known) / len(known)))
    exact = measurand.quantity == "price" or (
        measurand.quantity == "count" and (len(values) > 1 or measurand.runs == 1)
    )
    flags = (*bare.flags, *_said_of(values, len(known), measurand, exact))
    mean = replace(bare, value=middle, runs=tuple(values), bound=_bound(found), flags=flags)
    if not exact and not known and all(part.effect == 0 for part in parts):
        return mean
    total = combined_uncertainty(middle, parts or [Contribution("counted", 0.0)], confidence=CONFIDENCE)
    if len(values) == 1 and measurand.runs > 1 and not exact:  # scatter exists and is unknown: no interval
        return replace(mean, u=total.u, df=total.df)
    least = -math.inf if measurand.quantity in _SIGNED and bare.figure not in _TIMES_AND_AREAS else 0.0
    return replace(mean, u=total.u, df=total.df, low=max(total.low, least), high=total.high)


def _said_of(values: Sequence[float], known: int, measurand: Measurand, exact: bool) -> list[str]:
    """What is to be read with care about a mean of these values, of which `known` have their instrument stated."""
    said = []
    if measurand.quantity not in EXACT and known < len(values):
        said.append(_instrument_unknown(len(values) - known, len(values)))
    if measurand.quantity == "noise" and energy_mean(values) - sum(values) / len(values) > LEVELS_APART:
        said.append(
            f"The levels scatter so much that the mean of their energies is {significant(energy_mean(values))} dB(A): "
            "look for what changed between the runs."
        )
    if len(values) == 1 and not exact:
        said.append(
            "One run only: how far repeats scatter is unknown, so that there is no interval."
            if measurand.runs > 1
            else "One run, as planned: its interval is the instrument's alone."
        )
    elif not exact and not known and max(values) == min(values):
        said.append("All runs gave the same value; without the instrument's resolution its error is unknown.")
    return said


def _instrument_unknown(missing: int, of: int) -> str:
    where = "" if missing == of else f" of {count(missing, 'run')}"
    return (
        f"Neither resolution nor limits of the instrument{where} are stated, so that its error is left out."
    )


def _bound(found: Sequence[Reading]) -> Literal["", "at least"]:
    return "at least" if any(one.at_least for one in found) else ""


def _value(reading: Reading) -> float:
    if reading.value is None:
        raise ValueError(f"{numbered(reading.run)} has no value")
    return reading.value


def _of_testers(bare: Figure, found: Sequence[Reading], least: float, most: float) -> Figure:
    values = [_value(one) for one in found]
    scores = scores_of_testers(values, least, most, confidence=CONFIDENCE)
    few = [f"{few_testers(scores.n)}."] if scores.n < FEW_TESTERS else []
    if scores.n > 1 and scores.u is None:
        few.append("All testers gave the same score; how far others would differ is unknown.")
    return replace(
        bare,
        value=scores.mean,
        u=scores.u,
        df=0.0 if scores.u is None else scores.n - 1.0,
        low=scores.low,
        high=scores.high,
        runs=tuple(values),
        flags=(*bare.flags, *few),
    )


def _share(bare: Figure, found: Sequence[Reading]) -> Figure:
    """Share of runs passed; limits by Clopper and Pearson (1934), Biometrika 26, 404-413."""
    from scipy.special import betaincinv

    values = [_value(one) for one in found]
    n, passed = len(values), sum(value >= 0.5 for value in values)
    tail, share = (1 - CONFIDENCE) / 2, passed / n
    return replace(
        bare,
        value=share,
        u=math.sqrt(share * (1 - share) / n),
        df=math.inf,
        low=0.0 if passed == 0 else float(betaincinv(passed, n - passed + 1, tail)),
        high=1.0 if passed == n else float(betaincinv(passed + 1, n - passed, 1 - tail)),
        runs=tuple(values),
    )


def _flags(
    measurand: Measurand, readings: Sequence[Reading], found: Sequence[Reading], invalid: int
) -> tuple[str, ...]:
    entry = QUANTITIES[measurand.quantity].entry
    said = [_sentence(text) for text in dict.fromkeys(one.said for one in readings if one.said)]
    whom = "tester" if entry in SCALES else "run"
    asked = 1 if entry == "price" else measurand.runs
    if not readings:
        said.append(f"There is no valid {whom}.")
    elif len(found) < asked and len(readings) < asked:
        said.append(f"{count(len(readings), f'valid {whom}')} of the {asked} asked for.")
    if invalid:
        said.append(f"{count(invalid, 'entry', 'entries')} kept out as invalid.")
    instruments = sorted({one.run.instrument for one in readings if one.run.instrument})
    if len(instruments) > 1:
        said.append(f"Measured with different instruments: {listing(instruments)}.")
    return tuple(said)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def in_figure_unit(
    value: float, measurand: Measurand, figure: str, cup_ml: float, *, difference: bool = False
) -> float:
    """A value of a figure, in the quantity's first unit, in the unit that the figure is shown in.

    difference : whether it is a difference or an uncertainty; an area always is one
    """
    if figure in OWN_UNITS:
        return value
    apart = difference or figure == "area outside"
    return shown(value, measurand.quantity, measurand.unit, cup_ml=cup_ml, difference=apart)


def _into_unit(figure: Figure, measurand: Measurand, cup_ml: float) -> Figure:
    """The figure in the unit in which its measurand is shown."""

    def in_unit(value: float | None, difference: bool = False) -> float | None:
        if value is None:
            return None
        return in_figure_unit(value, measurand, figure.figure, cup_ml, difference=difference)

    return replace(
        figure,
        value=in_unit(figure.value),
        u=in_unit(figure.u, True),
        low=in_unit(figure.low),
        high=in_unit(figure.high),
        runs=tuple(in_figure_unit(value, measurand, figure.figure, cup_ml) for value in figure.runs),
    )
