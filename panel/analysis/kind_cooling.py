"""Tables of temperature readings: Newton's law of cooling for each series, and minutes inside a window."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from panel.analysis.figures_plots import cooling_figure
from panel.analysis.kind_report import KindReport, kind_report
from panel.analysis.numbers import ABSENT, decimals_for, fixed, natural, number_with_limits
from panel.analysis.view_parts import Column, Section, Table
from stats.cooling import Cooling, TimeInWindow, cooling, time_in_window
from stats.phrasing import count, significant

if TYPE_CHECKING:
    from panel.analysis.columns import Columns
    from panel.analysis.drawing import Figure
    from panel.analysis.kind_report import Asked
    from stats.results import Estimate, Result


MOST_CURVES = 10  # line styles and shades that can be told apart


def cooling_table(columns: Columns, asked: Asked) -> KindReport:
    """One row per reading: minutes, temperature, and the series where there are several."""
    minutes, temperature = columns.numbers("minutes"), columns.numbers("temperature")
    named = columns.texts("series") if columns.find("series", needed=False) else ["the series"] * len(minutes)
    columns.stop()
    results: list[tuple[str, Result]] = []
    readings: list[tuple[str, tuple[tuple[float, float], ...]]] = []
    failed = []
    for series in sorted(set(named), key=natural):
        cells = zip(named, minutes, temperature, strict=True)
        rows = [(m, t) for name, m, t in cells if name == series and not math.isnan(m + t)]
        times, degrees = [m for m, _ in rows], [t for _, t in rows]
        try:
            results.append((series, cooling(times, degrees, asked.ambient)))
            readings.append((series, tuple(rows)))
        except ValueError as error:
            failed.append(f"{series}: no curve was fitted ({error})")
            continue
        if asked.window is not None:
            results.append((series, time_in_window(times, degrees, *asked.window)))
    if not results:
        raise ValueError(failed[0])
    columns.said += failed
    fits = [one for _, one in results if isinstance(one, Cooling)]
    return kind_report(
        "cooling",
        columns,
        asked,
        results,
        title="Cooling",
        facts=[
            ("Series", str(len(fits))),
            ("Readings", str(sum(fit.n for fit in fits))),
            ("Surroundings", "fitted" if asked.ambient is None else f"{asked.ambient:g}, as given"),
        ],
        answer=_answer(results),
        findings=[f"{name}: {one.sentence()}" for name, one in results if isinstance(one, TimeInWindow)],
        readings=readings,
    )


def _answer(results: list[tuple[str, Result]]) -> str:
    """One series: its own sentence. Several: slowest to fastest."""
    fits = [(name, one) for name, one in results if isinstance(one, Cooling)]
    if len(fits) == 1:
        return fits[0][1].sentence()
    ordered = sorted(fits, key=lambda both: -both[1].half_life)
    (slow, first), (fast, last) = ordered[0], ordered[-1]
    return (
        f"{count(len(fits), 'series', 'series')}: the distance to the surroundings halves most slowly in {slow} "
        f"({_minutes(first.half_life_interval)}) and fastest in {fast} ({_minutes(last.half_life_interval)})."
    )


def _minutes(value: Estimate) -> str:
    span = ""
    if value.low is not None and value.high is not None:
        decimals = decimals_for([(value.high - value.low) / 2])
        span = f", 95\u202f% interval {fixed(value.low, decimals)} to {fixed(value.high, decimals)}"
        return f"{fixed(value.estimate, decimals)} minutes{span}"
    return f"{significant(value.estimate or 0.0)} minutes"


def _half_life(fit: Cooling) -> str:
    """The half-life with its limits, for a cell."""
    span = fit.half_life_interval
    known = span.low is not None and span.high is not None
    return number_with_limits(span, decimals_for([((span.high or 0) - (span.low or 0)) / 2]) if known else 1)


def cooling_sections(report: KindReport, figures: bool) -> list[Section]:
    """The fitted figures of each series."""
    fits = [(name, one) for name, one in report.results if isinstance(one, Cooling)]
    windows = {name: one for name, one in report.results if isinstance(one, TimeInWindow)}
    headings = ["Half-life, minutes", "Start", "Surroundings", "Error SD", "Readings"]
    headings += ["Minutes inside", "Below", "Above"] if windows else []
    rows = []
    for name, fit in fits:
        cells = [
            _half_life(fit),
            f"{significant(fit.start)} ± {significant(fit.start_se, 2)}",
            significant(fit.ambient)
            if fit.ambient_given
            else f"{significant(fit.ambient)} ± {significant(fit.ambient_se, 2)}",
            significant(fit.residual_sd, 2),
            str(fit.n),
        ]
        if windows:
            inside = windows.get(name)
            cells += (
                [significant(value) for value in (inside.inside, inside.below, inside.above)]
                if inside
                else [ABSENT] * 3
            )
        rows.append((name, *cells))
    table = Table(
        caption="Newton's law of cooling, each series",
        columns=(Column("Series", numeric=False), *(Column(text) for text in headings)),
        rows=tuple(rows),
        note="± gives standard errors. Close readings of a logger are not independent: errors are then too small.",
    )
    return [Section("result", "Result", figures=_figures(report, fits) if figures else (), tables=(table,))]


def _figures(report: KindReport, fits: list[tuple[str, Cooling]]) -> tuple[Figure, ...]:
    readings = dict(report.readings)
    shown = fits[:MOST_CURVES]
    series = {
        name: ([m for m, _ in readings[name]], [t for _, t in readings[name]], fit) for name, fit in shown
    }
    window = next(((one.low, one.high) for _, one in report.results if isinstance(one, TimeInWindow)), None)
    more = f", the first {MOST_CURVES} of {len(fits)}" if len(fits) > MOST_CURVES else ""
    return (cooling_figure(series, window=window, title=f"Readings and fitted curves{more}"),)
