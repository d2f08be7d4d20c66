"""Plots against a second quantity: penalties, cooling curves, a sequential test, the order of serving."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.drawing import (
    GREY,
    INK,
    LEAST_WIDTH,
    LINES,
    PALE,
    WIDTH,
    Figure,
    canvas,
    cut,
    name_points,
    plain,
    rounded,
    rows_axis,
    written,
)
from panel.analysis.numbers import ABSENT, interval, signed
from panel.analysis.view_parts import table_of
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stats.cooling import Cooling
    from stats.sequential import SequentialTest


_SHORT = 18  # letters that one of the words of a difference gets
HOLLOW = "(hollow where “no difference” lies inside)"
MOST_LETTERED = 12  # positions in the grid of servings with the figure written into each cell


@dataclass(frozen=True, slots=True)
class PenaltyPoint:
    """One side of one just-about-right scale: share of answers 0..1, mean drop in liking with its limits."""

    label: str
    share: float
    drop: float
    low: float | None
    high: float | None


def penalty_figure(points: Sequence[PenaltyPoint], *, cut_off: float, title: str, name: str) -> Figure:
    """Mean drop in liking against the share of tasters who say so, with bootstrap intervals."""
    kept = tuple(points)
    spoken = "; ".join(
        f"{one.label}: {percent(one.share)} of answers, drop {rounded(one.drop)}"
        + ("" if one.low is None or one.high is None else f" ({rounded(one.low)} to {rounded(one.high)})")
        for one in kept
    )
    alt = f"{title}: drop in liking against share, a side counts from {percent(cut_off)}. {spoken}."
    rows = [
        (one.label, percent(one.share), rounded(one.drop), interval(one.low, one.high, 2)) for one in kept
    ]
    data = table_of(title, ("Side", "Share", "Drop", "95\u202f% interval"), rows)
    return Figure(name, title, alt, lambda: _draw_penalties(kept, cut_off), data)


def _draw_penalties(points: tuple[PenaltyPoint, ...], cut_off: float) -> str:
    figure, axes = canvas(4.2, left=0.75)
    places = [(100 * one.share, one.drop) for one in points]
    for (x, _), one in zip(places, points, strict=True):
        if one.low is not None and one.high is not None:
            axes.plot([x, x], [one.low, one.high], color=GREY, linewidth=1.2)
    for (x, y), one in zip(places, points, strict=True):
        filled = INK if one.share >= cut_off else "white"
        axes.plot([x], [y], "D", markerfacecolor=filled, markeredgecolor=INK, markersize=6)
    axes.axvline(100 * cut_off, color=INK, linestyle=(0, (4, 3)), linewidth=1)
    axes.axhline(0, color=GREY, linewidth=0.8)
    axes.set_xlim(0, 1.25 * max(100 * cut_off, *(x for x, _ in places)))
    axes.set_xlabel(f"share of answers, % (dashed: counts from {percent(cut_off)})")
    axes.set_ylabel("drop in liking, points")
    name_points(axes, places, [cut(one.label, 30) for one in points])
    return written(figure)


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One difference with its limits, in points. words : what its label is made of, each cut short by itself."""

    words: tuple[str, ...]
    difference: float
    low: float
    high: float

    @property
    def label(self) -> str:
        """The whole label."""
        return " ".join(self.words)


def differences_figure(rows: Sequence[DifferenceRow], *, title: str, axis: str, name: str) -> Figure:
    """Differences with intervals about the line of no difference, first on top; hollow where it is inside."""
    kept = tuple(rows)
    spoken = "; ".join(
        f"{one.label} {signed(one.difference, 2)} ({rounded(one.low)} to {rounded(one.high)})" for one in kept
    )
    data = table_of(
        title,
        ("Difference", "Points", "Interval"),
        [(one.label, signed(one.difference, 2), interval(one.low, one.high, 2)) for one in kept],
    )
    return Figure(name, title, f"{title}. {spoken}.", lambda: _draw_differences(kept, axis), data)


def _draw_differences(rows: tuple[DifferenceRow, ...], axis: str) -> str:
    labels = [" ".join(cut(word, _SHORT) for word in row.words) for row in reversed(rows)]
    figure, axes = canvas(0.9 + 0.36 * len(rows), labels=labels)
    axes.axvline(0, color=INK, linestyle=(0, (4, 3)), linewidth=1)
    for place, row in enumerate(reversed(rows)):
        axes.plot([row.low, row.high], [place, place], color=INK, linewidth=1.4, solid_capstyle="butt")
        axes.plot([row.low, row.high], [place, place], "|", color=INK, markersize=7)
        filled = "white" if row.low <= 0 <= row.high else INK
        axes.plot([row.difference], [place], "D", markerfacecolor=filled, markeredgecolor=INK, markersize=6)
    rows_axis(axes, labels, most=4 * _SHORT)
    axes.set_xlabel(plain(axis))
    return written(figure)


def cooling_figure(
    series: Mapping[str, tuple[Sequence[float], Sequence[float], Cooling]],
    *,
    window: tuple[float, float] | None,
    title: str,
    name: str = "cooling",
) -> Figure:
    """Readings and fitted curves. series : name -> minutes, temperatures, fit; window : drawn as dashed lines."""
    spoken = "; ".join(
        f"{one}: from {rounded(fit.start, 1)} towards {rounded(fit.ambient, 1)}, "
        f"half of the gap gone in {significant(fit.half_life)} minutes"
        for one, (_, _, fit) in series.items()
    )
    rows = [
        (one, f"{minute:g}", rounded(reading, 1), rounded(fit.temperature_at(minute), 1))
        for one, (minutes, temperatures, fit) in series.items()
        for minute, reading in zip(minutes, temperatures, strict=True)
    ]
    data = table_of(title, ("Series", "Minutes", "Reading", "Curve"), rows)
    return Figure(name, title, f"{title}. {spoken}.", lambda: _draw_cooling(series, window), data)


def _draw_cooling(
    series: Mapping[str, tuple[Sequence[float], Sequence[float], Cooling]],
    window: tuple[float, float] | None,
) -> str:
    figure, axes = canvas(4.0, left=0.75)
    for place, (name, (minutes, temperature, fit)) in enumerate(series.items()):
        dash, mark = LINES[place % len(LINES)]
        shade = INK if place < len(LINES) else GREY
        axes.plot(minutes, temperature, mark, color=shade, markersize=4, markerfacecolor="white")
        last = max(minutes)
        grid = [last * step / 100 for step in range(101)]
        curve = [fit.temperature_at(t) for t in grid]
        axes.plot(grid, curve, color=shade, linestyle=dash, linewidth=1.3, label=plain(cut(name)))
    for limit in window or ():
        axes.axhline(limit, color=GREY, linestyle=(0, (1, 2)), linewidth=1.2)
    axes.set_xlabel("minutes")
    axes.set_ylabel("temperature")
    axes.grid(color=PALE, linewidth=0.5)
    if len(series) > 1:
        axes.legend(frameon=False, handlelength=3.5, fontsize=9)
    return written(figure)


def sequential_figure(test: SequentialTest, *, title: str, name: str = "sequential") -> Figure:
    """Correct answers taster by taster between Wald's two lines."""
    last = test.steps[-1] if test.steps else None
    reached = f"after {last.taster} tasters {last.correct} correct" if last else "no answer yet"
    alt = (
        f"{title}: {reached}. Lines: correct = {rounded(test.upper_intercept)} and "
        f"{rounded(test.lower_intercept)} + {significant(test.slope)} × tasters. Decision: {test.decision}."
    )
    rows = [(str(step.taster), str(step.correct)) for step in test.steps]
    data = table_of(title, ("Taster", "Correct so far"), rows)
    return Figure(name, title, alt, lambda: _draw_sequential(test), data)


def _draw_sequential(test: SequentialTest) -> str:
    figure, axes = canvas(3.6, left=0.7)
    end = max(len(test.steps) + 3, 10)
    for intercept, label, dash in (
        (test.upper_intercept, "difference from here up", (0, (6, 3))),
        (test.lower_intercept, "similar from here down", (0, (1, 2))),
    ):
        ends = [intercept, intercept + test.slope * end]
        axes.plot([0, end], ends, color=INK, linestyle=dash, linewidth=1.3, label=label)
    counts = [0, *(step.correct for step in test.steps)]
    axes.step(range(len(counts)), counts, where="post", color=GREY, linewidth=1.5)
    axes.plot(range(len(counts)), counts, "o", color=INK, markersize=4)
    axes.set_xlim(0, end)
    axes.set_ylim(0, max(counts[-1] + 2, test.upper_intercept + test.slope * end))
    axes.set_xlabel("tasters")
    axes.set_ylabel("correct so far")
    axes.legend(frameon=False, fontsize=9, loc="upper left")
    return written(figure)


def serving_grid(
    cells: Mapping[str, Mapping[int, tuple[float, int]]], *, title: str, name: str = "serving"
) -> Figure:
    """Deviation from the sample's mean, a row per sample and a column per position in the serving order.

    cells : sample -> position -> (mean deviation in points, number of scores)
    """
    spoken = "; ".join(
        f"{sample}: {', '.join(f'{place}. {rounded(value)}' for place, (value, _) in sorted(row.items()))}"
        for sample, row in cells.items()
    )
    places = sorted({place for row in cells.values() for place in row})
    rows = [
        (sample, *(signed(row[place][0], 2) if place in row else ABSENT for place in places))
        for sample, row in cells.items()
    ]
    data = table_of(title, ("Sample", *(f"Position {place}" for place in places)), rows)
    return Figure(name, title, f"{title}. {spoken}.", lambda: _draw_serving(cells), data)


def _draw_serving(cells: Mapping[str, Mapping[int, tuple[float, int]]]) -> str:
    listed = list(cells.items())[::-1]
    samples = [cut(name) for name, _ in listed]
    positions = sorted({place for row in cells.values() for place in row})
    width = min(WIDTH, max(LEAST_WIDTH, 2.6 + 0.62 * len(positions)))
    figure, axes = canvas(0.75 + 0.3 * len(samples), width, labels=samples)
    most = max((abs(value) for row in cells.values() for value, _ in row.values()), default=0.0) or 1.0
    shades = [[1.0] * len(positions) for _ in samples]
    lettered = len(positions) <= MOST_LETTERED  # more would overlap; the shade is left
    for y, (_, row) in enumerate(listed):
        for x, place in enumerate(positions):
            if place in row:
                value, _ = row[place]
                # Darker is farther from the sample's own mean, either way; the sign is in the text.
                shades[y][x] = 1.0 - 0.38 * abs(value) / most
                if lettered:
                    _cell_text(axes, x, y, value)
    axes.pcolormesh(shades, cmap="gray", vmin=0, vmax=1, edgecolors="#ffffff", linewidth=1)
    rows_axis(axes, samples)
    axes.set_yticks([y + 0.5 for y in range(len(samples))], [plain(one) for one in samples])
    axes.set_ylim(0, len(samples))
    step = 1 if lettered else 5
    shown = [x for x in range(len(positions)) if lettered or positions[x] % step == 0]
    axes.set_xticks([x + 0.5 for x in shown], [str(positions[x]) for x in shown])
    axes.grid(visible=False)
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    axes.set_xlabel("position in the serving order")
    return written(figure)


def _cell_text(axes: Any, x: int, y: int, value: float) -> None:
    text = signed(value, 1)
    axes.text(x + 0.5, y + 0.47, text, ha="center", va="center", fontsize=8, color=INK)
