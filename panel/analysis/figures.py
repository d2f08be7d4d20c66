"""Figures of scores and of forced choices: means, rank sums, counts against chance, the consistency grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.drawing import (
    GREY,
    INK,
    LEAST_WIDTH,
    PALE,
    PAPER,
    WIDTH,
    Figure,
    canvas,
    cut,
    plain,
    rounded,
    rows_axis,
    text_width,
    written,
)
from panel.analysis.numbers import ABSENT, chance_text
from panel.analysis.view_parts import table_of
from stats.phrasing import count, listing, percent, significant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.analysis.view_parts import Table

__all__ = [
    "Figure",
    "MeanRow",
    "bars_figure",
    "chance_figure",
    "consistency_grid",
    "means_figure",
    "rank_sum_figure",
]

_MOST_DOTS = 60  # distinct places per row of raw scores; above it scores are gathered into bins
_MOST_COUNTED = 12  # different scores that the numbers behind a figure list one by one
_ROOMY = 14  # rows of means that get room to breathe
_MOST_ROWS = 40  # tasters in the grid: more do not fit a printed page


@dataclass(frozen=True, slots=True)
class MeanRow:
    """One sample in a figure of means: its estimate with limits, its letters, its raw scores."""

    label: str
    mean: float
    low: float
    high: float
    letters: str = ""
    scores: tuple[float, ...] = ()


def means_figure(
    rows: Sequence[MeanRow], *, title: str, axis: str, name: str = "means", what: str = "mean"
) -> Figure:
    """Means (or other estimates) with intervals over the raw scores; a larger dot stands for more equal scores.

    what : the estimate in a word
    """
    spoken = [f"{row.label} {rounded(row.mean)} ({rounded(row.low)} to {rounded(row.high)})" for row in rows]
    alt = f"{title}: {what}s with intervals. {'; '.join(spoken)}."
    kept = tuple(rows)
    return Figure(name, title, alt, lambda: _draw_means(kept, axis), _means_data(kept, title, what))


def _means_data(rows: tuple[MeanRow, ...], title: str, what: str) -> Table:
    scored = any(row.scores for row in rows)
    headings = ("Sample", what.capitalize(), "Interval", *(("Scores given",) if scored else ()))
    return table_of(
        title,
        headings,
        [
            (
                row.label,
                rounded(row.mean),
                f"{rounded(row.low)} to {rounded(row.high)}",
                *((_counted(row.scores),) if scored else ()),
            )
            for row in rows
        ],
        words=("Scores given",),
    )


def _counted(scores: Sequence[float]) -> str:
    """ "4 × 3, 5 × 1": each score and how often it was given; for many values their range only."""
    values = sorted(set(scores))
    if len(values) > _MOST_COUNTED:
        return f"{len(scores)}, from {values[0]:g} to {values[-1]:g}"
    return ", ".join(f"{value:g} × {scores.count(value)}" for value in values)


def _draw_means(rows: tuple[MeanRow, ...], axis: str) -> str:
    labels = [cut(row.label) for row in reversed(rows)]
    letters = max((len(row.letters) for row in rows), default=0)
    each = 0.5 if len(rows) <= _ROOMY else 0.32
    figure, axes = canvas(0.9 + each * len(rows), labels=labels, right=0.2 + 0.1 * letters)
    for place, row in enumerate(reversed(rows)):
        values, sizes = _gathered(row.scores)
        if values:
            below = [place - 0.22] * len(values)
            axes.scatter(values, below, s=sizes, c=PALE, edgecolors=GREY, linewidths=0.6)
        axes.plot([row.low, row.high], [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
        axes.plot([row.low, row.high], [place, place], "|", color=INK, markersize=8)
        axes.plot([row.mean], [place], "D", color=INK, markersize=6)
        if row.letters:
            beside = ("axes fraction", "data")
            axes.annotate(plain(row.letters), (1.01, place), xycoords=beside, va="center")
    rows_axis(axes, labels)
    axes.set_xlabel(plain(cut(axis, 80)))
    return written(figure)


def rank_sum_figure(
    rank_sums: Mapping[str, float],
    *,
    title: str,
    expected: float | None = None,
    what: str = "rank sum",
    name: str = "ranks",
    lower_is: str = "",
) -> Figure:
    """Bars of rank sums, with the sum expected if all were alike.

    lower_is : what a low sum means where ranks were given; "" for scores, of which a high sum means a high one
    """
    bars = tuple(sorted(rank_sums.items(), key=lambda item: item[1] if lower_is else -item[1]))
    dashed = "; dashed: all samples alike" if expected is not None else ""
    title = f"{title} ({f'lower = {lower_is}' if lower_is else 'higher = scored higher'}{dashed})"
    spoken = "; ".join(f"{label} {value:g}" for label, value in bars)
    data = table_of(title, ("Sample", what.capitalize()), [(label, f"{value:.4g}") for label, value in bars])
    return Figure(name, title, f"{title}. {spoken}.", lambda: draw_bars(bars, what, expected), data)


def bars_figure(bars: Sequence[tuple[str, float]], *, title: str, axis: str, name: str) -> Figure:
    """Bars of counts in the order given, each with its number."""
    kept = tuple(bars)
    spoken = "; ".join(f"{label} {value:g}" for label, value in kept)
    data = table_of(title, ("Answer", axis.capitalize()), [(label, f"{value:g}") for label, value in kept])
    return Figure(name, title, f"{title}. {spoken}.", lambda: draw_bars(kept, axis), data)


def draw_bars(bars: tuple[tuple[str, float], ...], axis: str, line: float | None = None) -> str:
    """Bars with their values, first on top; a dashed line where one is given."""
    labels = [cut(label) for label, _ in reversed(bars)]
    each = 0.38 if len(bars) <= _ROOMY else 0.28
    figure, axes = canvas(0.8 + each * len(bars), labels=labels)
    places = list(range(len(bars)))[::-1]
    axes.barh(places, [value for _, value in bars], color=PALE, edgecolor=INK, height=0.6)
    for place, (_, value) in zip(places, bars, strict=True):
        beside: dict[str, Any] = {"xytext": (4, 0), "textcoords": "offset points", "va": "center"}
        axes.annotate(f"{value:.4g}", (value, place), bbox=PAPER, zorder=3, **beside)
    if line is not None:
        axes.axvline(line, color=INK, linestyle=(0, (4, 3)), linewidth=1)
    rows_axis(axes, labels)
    axes.set_xlim(0, 1.12 * max(value for _, value in bars))
    axes.set_xlabel(plain(axis))
    return written(figure)


def chance_figure(
    correct: int, n: int, chance: float, critical: int | None, *, title: str, name: str = "chance"
) -> Figure:
    """Number correct against what guessing gives: one bar per possible count, the critical ones hatched."""
    limit = f"{critical} are needed" if critical is not None else "no number would suffice"
    alt = (
        f"{title}: {correct} of {n} correct, {limit} for a difference; "
        f"guessing gives {significant(n * chance, 3)} on average ({percent(chance)})."
    )
    counts, shares = _if_all_guess(correct, n, chance, critical)
    rows = [(str(k), chance_text(shares[k], 1), _standing(k, correct, critical)) for k in counts]
    heads = ("Number correct", "Chance if all guess", "What it is")
    data = table_of(title, heads, rows, words=heads[2:])
    return Figure(name, title, alt, lambda: _draw_chance(correct, n, chance, critical), data)


def _standing(k: int, correct: int, critical: int | None) -> str:
    said = ["given in this study"] if k == correct else []
    return (
        ", ".join([*said, "shows a difference"] if critical is not None and k >= critical else said) or ABSENT
    )


def _if_all_guess(correct: int, n: int, chance: float, critical: int | None) -> tuple[list[int], list[float]]:
    """The numbers correct that are worth showing, and the chance of every number."""
    from scipy.stats import binom

    shares = binom.pmf(range(n + 1), n, chance).tolist()
    # With many answers the far ends are flat: only what can be seen is drawn.
    seen = [k for k in range(n + 1) if shares[k] > 1e-4 * max(shares)]
    low, high = min(seen[0], correct), max(seen[-1], correct, min(critical or 0, n))
    return list(range(low, high + 1)), shares


def _draw_chance(correct: int, n: int, chance: float, critical: int | None) -> str:
    counts, shares = _if_all_guess(correct, n, chance, critical)
    figure, axes = canvas(3.0, left=0.8)
    few = len(counts) < 80
    heights = [shares[k] for k in counts]
    bars = axes.bar(counts, heights, width=0.8 if few else 1.0, color=PALE, edgecolor=GREY, linewidth=0.5)
    for k, bar in zip(counts, bars, strict=True):
        if critical is not None and k >= critical:
            bar.set(hatch="////", edgecolor=INK)
        if k == correct:
            bar.set(facecolor=GREY, edgecolor=INK)
    top = max(shares)
    axes.annotate(
        f"{correct} correct",
        (correct, shares[correct]),
        xytext=(correct, 1.18 * top),
        ha="center",
        arrowprops={"arrowstyle": "-|>", "color": INK, "shrinkB": 1},
    )
    axes.set_ylim(0, 1.32 * top)
    axes.xaxis.get_major_locator().set_params(integer=True)
    axes.set_xlabel(f"number correct of {n} (dark: this study; hatched: shows a difference)")
    axes.set_ylabel("probability if all guess")
    return written(figure)


def consistency_grid(
    values: Mapping[str, Mapping[str, float | None]],
    flagged: Mapping[str, Sequence[str]],
    *,
    title: str,
    name: str = "consistency",
) -> Figure:
    """Agreement with the rest, a row per taster and a column per attribute; flagged cells are framed.

    values : taster -> attribute -> correlation with the mean of the others; None where not estimable
    flagged : taster -> attributes in which a rule flags them; they are drawn before others where not all fit
    """
    drawn = sorted(values, key=lambda taster: not flagged.get(taster))[:_MOST_ROWS]
    tasters = [taster for taster in values if taster in drawn]
    told = listing([taster for taster in values if flagged.get(taster)])
    told = f"Flagged: {told}" if told else "Nobody is flagged"
    left_out = ""
    if len(values) > len(tasters):
        left_out = f" {len(tasters)} of {len(values)} tasters are drawn, flagged ones first."
    alt = f"{title}: agreement of {count(len(values), 'taster')} with the rest. {told}.{left_out}"
    title = f"{title}.{left_out}".rstrip(".")
    return Figure(
        name, title, alt, lambda: _draw_grid(tasters, values, flagged), _grid_data(values, flagged, title)
    )


def _grid_data(
    values: Mapping[str, Mapping[str, float | None]], flagged: Mapping[str, Sequence[str]], title: str
) -> Table:
    attributes = list(dict.fromkeys(name for row in values.values() for name in row))
    rows = [
        (
            taster,
            *(ABSENT if row.get(name) is None else rounded(row[name] or 0.0) for name in attributes),
            listing(list(flagged.get(taster, ()))) or ABSENT,
        )
        for taster, row in values.items()
    ]
    return table_of(title, ("Taster", *attributes, "Flagged in"), rows, words=("Flagged in",))


def _draw_grid(
    tasters: list[str],
    values: Mapping[str, Mapping[str, float | None]],
    flagged: Mapping[str, Sequence[str]],
) -> str:
    attributes = list(dict.fromkeys(name for taster in tasters for name in values[taster]))
    labels = [cut(name) for name in reversed(tasters)]
    tilted = len(attributes) > 5 or max(map(len, attributes)) > 14
    figure, axes = canvas(
        (1.4 if tilted else 0.5) + 0.26 * len(tasters),
        min(WIDTH, max(LEAST_WIDTH, 2.2 + 1.1 * len(attributes))),
        labels=labels,
        top=1.25 if tilted else 0.4,
        bottom=0.1,
        right=0.2 + 0.6 * text_width(cut(attributes[-1], 18)) if tilted else 0.2,
    )
    marked = [
        (y, x, values[taster].get(attribute), attribute in flagged.get(taster, ()))
        for y, taster in enumerate(reversed(tasters))
        for x, attribute in enumerate(attributes)
    ]
    _draw_cells(axes, marked, (len(tasters), len(attributes)))
    names = [plain(cut(name, 18)) for name in attributes]
    turned = {"rotation": 30, "ha": "left", "rotation_mode": "anchor"} if tilted else {}
    axes.xaxis.tick_top()
    axes.set_xticks([x + 0.5 for x in range(len(attributes))], names, **turned)
    axes.set_yticks([y + 0.5 for y in range(len(tasters))], [plain(label) for label in labels])
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    return written(figure)


def _draw_cells(axes: Any, cells: list[tuple[int, int, float | None, bool]], size: tuple[int, int]) -> None:
    from matplotlib.patches import Rectangle

    # Paler is better agreement: what needs a look stands out in print. Text carries the value.
    shades = [[1.0] * size[1] for _ in range(size[0])]
    for y, x, value, framed in cells:
        if value is not None:
            shades[y][x] = 0.62 + 0.38 * max(0.0, min(1.0, value))
        text = "–" if value is None else rounded(value)
        axes.text(x + 0.5, y + 0.47, text, ha="center", va="center", fontsize=8, color=INK)
        if framed:
            frame = Rectangle((x + 0.03, y + 0.07), 0.94, 0.86, fill=False, edgecolor=INK, linewidth=1.5)
            axes.add_patch(frame)
    axes.pcolormesh(shades, cmap="gray", vmin=0, vmax=1, edgecolors="#ffffff", linewidth=1)


def _gathered(scores: Sequence[float]) -> tuple[list[float], list[float]]:
    """Places and areas of dots for raw scores: equal scores share one, its area grows with their number."""
    if not scores:
        return [], []
    low, high = min(scores), max(scores)
    if len(set(scores)) > _MOST_DOTS:
        step = (high - low) / _MOST_DOTS
        scores = [low + step * round((score - low) / step) for score in scores]
    places = sorted(set(scores))
    most = max(scores.count(place) for place in places)
    return places, [10 + 90 * (scores.count(place) - 1) / max(most, 8) for place in places]
