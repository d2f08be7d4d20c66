"""How the bench's values are written: each run in the unit shown, each figure with what is known of it."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.bench.derived import measurand_figures
from panel.bench.showing import written
from panel.bench.units import shown
from panel.bench.usability import usability_score
from panel.study.quantities import QUANTITIES
from stats.phrasing import significant

if TYPE_CHECKING:
    from panel.bench.figures import Run
    from panel.store.bench_tables import Measurement
    from panel.study.measuring import Bench, Measurand


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run in a table. words: its value; typed: as it was written; by, note: as given; photos: how many."""

    entry: str
    run: int
    words: str
    typed: str
    by: str
    note: str
    invalid: str
    revised: bool
    after_reveal: bool
    photos: int


def clock(seconds: float) -> str:
    """Seconds as a stopwatch writes them: 1:02:03.4, or 24:50.0."""
    tenths = round(seconds * 10)
    hours, rest = divmod(tenths, 36_000)
    minutes, rest = divmod(rest, 600)
    whole, tenth = divmod(rest, 10)
    return f"{hours}:{minutes:02}:{whole:02}.{tenth}" if hours else f"{minutes}:{whole:02}.{tenth}"


def value_words(row: Measurement, measurand: Measurand, bench: Bench) -> str:
    """The value of one run, in the unit that the measurand has here."""
    entry = QUANTITIES[measurand.quantity].entry
    if entry == "series":
        return _series_words(row, measurand, bench)
    if entry == "usability":
        answers = json.loads(row.answers)
        return f"{usability_score(answers):g} of 100" if len(answers) == 10 else "incomplete"
    if row.value is None:
        return "no value"
    if entry == "check":
        return "passed" if row.value else "failed"
    if entry == "rating":
        return f"{row.value:g} of 5"
    if entry == "price":
        package = f" for {row.package}" if row.package else ""
        return f"{row.value:.2f} {row.currency}{package}, {row.priced_on}"
    if entry == "stopwatch":
        laps = json.loads(row.laps)
        said = f", {len(laps)} {'lap' if len(laps) == 1 else 'laps'}" if laps else ""
        return f"{clock(row.value)} ({_in_unit(row.value, measurand, bench)}){said}"
    return _in_unit(row.value, measurand, bench)


def _in_unit(value: float, measurand: Measurand, bench: Bench) -> str:
    found = shown(value, measurand.quantity, measurand.unit, cup_ml=bench.cup_ml)
    return f"{_plain(found)} {measurand.unit}".rstrip()


def _plain(value: float) -> str:
    """As many digits as anybody reads off an instrument, without the dust of a conversion."""
    return (
        f"{value:.6g}"
        if abs(value) >= 1000
        else significant(value, 4)
        if value != round(value, 2)
        else f"{value:g}"
    )


def _series_words(row: Measurement, measurand: Measurand, bench: Bench) -> str:
    series = json.loads(row.series)
    if not series:
        return "no readings"
    first, last = (
        shown(value, measurand.quantity, measurand.unit, cup_ml=bench.cup_ml)
        for value in (series[0][1], series[-1][1])
    )
    span = f"{series[0][0]:g} to {series[-1][0]:g} min"
    return f"{len(series)} readings over {span}, {first:.1f} to {last:.1f} {measurand.unit}"


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One figure of a product in words: its name, value with uncertainty and number of runs. known: whether it is."""

    name: str
    words: str
    flags: tuple[str, ...]
    known: bool


def figure_lines(measurand: Measurand, runs: list[Run], bench: Bench) -> tuple[FigureLine, ...]:
    """Every figure that the runs of one product give, with what is to be said about it."""
    names = QUANTITIES[measurand.quantity].figures
    return tuple(
        FigureLine(names[found.figure], written(found, measurand).text, found.flags, found.value is not None)
        for found in measurand_figures(measurand, runs, bench.cup_ml, bench.currency)
    )


def told_once(lines: tuple[FigureLine, ...]) -> tuple[tuple[FigureLine, ...], tuple[str, ...]]:
    """The figures, and what is to be said of several of them, once; what is said of one alone stays with it."""
    times = Counter(flag for line in lines for flag in line.flags)
    shared = tuple(flag for flag, count in times.items() if count > 1 or len(lines) == 1)
    return tuple(
        replace(line, flags=tuple(f for f in line.flags if f not in shared)) for line in lines
    ), shared
