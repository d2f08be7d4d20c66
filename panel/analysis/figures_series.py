"""Series over time, a panel for each product: readings of each run, the fitted curve, window and threshold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from panel.analysis.drawing import GREY, INK, PALE, WIDTH, Figure, cut, plain, rounded, written
from stats.phrasing import count

if TYPE_CHECKING:
    from collections.abc import Sequence

    Points = Sequence[tuple[float, float]]
    Series = tuple[str, Points, Points]

MOST_PANELS = 12
MOST_MARKS = 30  # of one run; a logger's many readings become a line between fewer marks
_MARKS = ("o", "s", "^", "D", "v")
_LEFT, _GAP, _HIGH = 0.75, 0.55, 1.75  # inches: left margin, between panels, height of a panel


def series_figure(
    series: Sequence[Series],
    *,
    unit: str,
    title: str,
    window: tuple[float, float] | None = None,
    threshold: float | None = None,
    name: str = "series",
) -> Figure:
    """Readings over minutes, two panels side by side on common axes.

    series : (product, readings, fitted curve) of each run, a product's runs together; no curve is an empty sequence
    window : drawn as a pale band; threshold : as a dashed line; both in `unit`, that of the values
    At most twelve products are drawn; the words say how many are left out.
    """
    products = list(dict.fromkeys(product for product, _, _ in series))
    shown = products[:MOST_PANELS]
    kept = [(product, [one for one in series if one[0] == product and len(one[1])]) for product in shown]
    more = f" The first {len(shown)} of {len(products)} products." if len(products) > len(shown) else ""
    spoken = "; ".join(_words(product, runs, unit) for product, runs in kept)
    limits = "" if window is None else f" Window {rounded(window[0], 1)} to {rounded(window[1], 1)} {unit}."
    limits += "" if threshold is None else f" Threshold {rounded(threshold, 1)} {unit}."
    alt = f"{title}: values over minutes. {spoken}.{limits}{more}"
    return Figure(name, title, alt, lambda: _draw(kept, unit, window, threshold))


def _words(product: str, runs: Sequence[Series], unit: str) -> str:
    if not runs:
        return f"{product}: no readings"
    starts, ends = [points[0][1] for _, points, _ in runs], [points[-1] for _, points, _ in runs]
    fitted = sum(bool(len(curve)) for _, _, curve in runs)
    how = "with fitted curves" if fitted == len(runs) else f"{fitted} fitted" if fitted else "no curve fitted"
    return (
        f"{product}, {count(len(runs), 'run')}, {how}: from {_span(starts)} {unit} to "
        f"{_span([value for _, value in ends])} {unit} after {_span([minutes for minutes, _ in ends], 0)} minutes"
    )


def _span(values: Sequence[float], decimals: int = 1) -> str:
    low, high = rounded(min(values), decimals), rounded(max(values), decimals)
    return low if low == high else f"{low}–{high}"


def _draw(
    kept: Sequence[tuple[str, Sequence[Series]]],
    unit: str,
    window: tuple[float, float] | None,
    threshold: float | None,
) -> str:
    from matplotlib.figure import Figure as Canvas

    columns = min(2, max(1, len(kept)))
    rows = max(1, math.ceil(len(kept) / columns))
    height = rows * (_HIGH + _GAP) + 0.35
    figure = Canvas(figsize=(WIDTH, height), facecolor="white")
    wide = (WIDTH - _LEFT - 0.25 - (columns - 1) * _GAP) / columns
    limits = _limits(kept, window, threshold)
    for place, (product, runs) in enumerate(kept):
        row, column = divmod(place, columns)
        left, bottom = _LEFT + column * (wide + _GAP), height - (row + 1) * (_HIGH + _GAP) + 0.2
        axes = figure.add_axes((left / WIDTH, bottom / height, wide / WIDTH, _HIGH / height))
        _panel(axes, product, runs, (window, threshold))
        axes.set_xlim(*limits[0])
        axes.set_ylim(*limits[1])
        if column == 0:
            axes.set_ylabel(plain(unit))
        if place + columns >= len(kept):
            axes.set_xlabel("minutes")
    return written(figure)


def _limits(
    kept: Sequence[tuple[str, Sequence[Series]]],
    window: tuple[float, float] | None,
    threshold: float | None,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """The axes of all panels: from minute 0 to the last reading, and every value, window and threshold."""
    points = [point for _, runs in kept for _, readings, _ in runs for point in readings]
    values = [value for _, value in points] + [*(window or ()), *([] if threshold is None else [threshold])]
    low, high = min(values, default=0.0), max(values, default=1.0)
    margin = 0.06 * (high - low) or 1.0
    first, last = min((m for m, _ in points), default=0.0), max((m for m, _ in points), default=1.0)
    return (min(0.0, first), last * 1.02 or 1.0), (low - margin, high + margin)


def _panel(
    axes: Any,
    product: str,
    runs: Sequence[Series],
    marked: tuple[tuple[float, float] | None, float | None],
) -> None:
    window, threshold = marked
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_facecolor("white")
    axes.set_title(plain(cut(product, 34)), fontsize=10, loc="left")
    if window is not None:
        axes.axhspan(*window, color=PALE, alpha=0.5, linewidth=0)
    if threshold is not None:
        axes.axhline(threshold, color=INK, linestyle=(0, (4, 3)), linewidth=1)
    for place, (_, readings, curve) in enumerate(runs):
        minutes, values = [m for m, _ in readings], [v for _, v in readings]
        every = max(1, math.ceil(len(readings) / MOST_MARKS))
        if len(curve):
            axes.plot([m for m, _ in curve], [v for _, v in curve], color=INK, linewidth=1.1)
        else:
            axes.plot(minutes, values, color=GREY, linewidth=0.8)
        mark = _MARKS[place % len(_MARKS)]
        axes.plot(
            minutes[::every],
            values[::every],
            mark,
            color=INK,
            markersize=3.2,
            markerfacecolor="white",
            markeredgewidth=0.8,
        )
    if not runs:
        axes.text(0.5, 0.5, "no readings", transform=axes.transAxes, ha="center", color=GREY)
    axes.grid(color=PALE, linewidth=0.5)
    axes.set_axisbelow(True)
