"""Figures as SVG text: black on a white card, legible in grey, the same bytes for the same data.

matplotlib loads when a figure is drawn. Its objects are used without pyplot, so that no state is shared;
the few settings that only its global table knows are set under a lock while a figure is written.
"""

from __future__ import annotations

import base64
import io
import threading
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.phrasing import count, listing, percent, significant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_INK, _GREY, _PALE = "#1a1a1a", "#767676", "#d9d9d9"
_WIDTH = 7.0  # inches; the page scales it
_LOCK = threading.Lock()
_SETTINGS = {
    "svg.hashsalt": "panel",
    "svg.fonttype": "none",
    "font.family": ["sans-serif"],
    "font.size": 10.0,
}
_MOST_DOTS = 60  # distinct places per row of raw scores; above it scores are gathered into bins
_MOST_ROWS = 60


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawn figure. `alt` says what it shows to those who do not see it; `name` is a file stem."""

    name: str
    title: str
    alt: str
    svg: str

    def data_uri(self) -> str:
        """The figure as the address of an image, for a page that is one file."""
        return "data:image/svg+xml;base64," + base64.b64encode(self.svg.encode("utf-8")).decode("ascii")


@dataclass(frozen=True, slots=True)
class MeanRow:
    """One sample in a figure of means: its estimate with limits, its letters, its raw scores."""

    label: str
    mean: float
    low: float
    high: float
    letters: str = ""
    scores: tuple[float, ...] = ()


def means_figure(rows: Sequence[MeanRow], *, title: str, axis: str, name: str = "means") -> Figure:
    """Means with intervals over the raw scores; a larger dot stands for more equal scores."""
    with _LOCK:
        figure, axes = _canvas(1.1 + 0.5 * len(rows))
        for place, row in enumerate(reversed(rows)):
            values, sizes = _gathered(row.scores)
            axes.scatter(
                values, [place - 0.22] * len(values), s=sizes, c=_PALE, edgecolors=_GREY, linewidths=0.6
            )
            axes.plot([row.low, row.high], [place, place], color=_INK, linewidth=1.6, solid_capstyle="butt")
            axes.plot([row.low, row.high], [place, place], "|", color=_INK, markersize=8)
            axes.plot([row.mean], [place], "D", color=_INK, markersize=6)
            axes.annotate(
                _plain(row.letters),
                (1.01, place),
                xycoords=("axes fraction", "data"),
                va="center",
                fontsize=10,
            )
        _rows_axis(axes, [row.label for row in reversed(rows)])
        axes.set_xlabel(_plain(axis))
        svg = _written(figure)
    spoken = [f"{row.label} {_round(row.mean)} ({_round(row.low)} to {_round(row.high)})" for row in rows]
    alt = f"{title}: means with intervals. {'; '.join(spoken)}."
    return Figure(name, title, alt, svg)


def rank_sum_figure(
    rank_sums: Mapping[str, float],
    *,
    title: str,
    expected: float | None = None,
    what: str = "rank sum",
    name: str = "ranks",
) -> Figure:
    """Bars of rank sums (a higher sum is a higher score), with the sum expected if all were alike."""
    labels = sorted(rank_sums, key=lambda label: -rank_sums[label])
    with _LOCK:
        figure, axes = _canvas(1.1 + 0.38 * len(labels))
        places = list(range(len(labels)))[::-1]
        axes.barh(places, [rank_sums[label] for label in labels], color=_PALE, edgecolor=_INK, height=0.6)
        for place, label in zip(places, labels, strict=True):
            axes.annotate(
                f"{rank_sums[label]:.4g}",
                (rank_sums[label], place),
                textcoords="offset points",
                xytext=(4, 0),
                va="center",
            )
        if expected is not None:
            axes.axvline(expected, color=_INK, linestyle=(0, (4, 3)), linewidth=1)
        _rows_axis(axes, labels[::-1])
        axes.set_xlim(0, 1.12 * max(rank_sums.values()))
        dashed = "; dashed: all samples alike" if expected is not None else ""
        axes.set_xlabel(f"{what} (higher = scored higher{dashed})")
        svg = _written(figure)
    spoken = "; ".join(f"{label} {f'{rank_sums[label]:g}'}" for label in labels)
    return Figure(name, title, f"{title}. {spoken}.", svg)


def chance_figure(
    correct: int, n: int, chance: float, critical: int | None, *, title: str, name: str = "chance"
) -> Figure:
    """Number correct against what guessing gives: one bar per possible count, the critical ones hatched."""
    from scipy.stats import binom

    counts = list(range(n + 1))
    shares = [float(binom.pmf(k, n, chance)) for k in counts]
    with _LOCK:
        figure, axes = _canvas(3.0)
        bars = axes.bar(
            counts, shares, width=0.8 if n < 80 else 1.0, color=_PALE, edgecolor=_GREY, linewidth=0.5
        )
        for k, bar in zip(counts, bars, strict=True):
            if critical is not None and k >= critical:
                bar.set(hatch="////", edgecolor=_INK)
        top = max(shares)
        axes.annotate(
            f"{correct} correct",
            (correct, shares[correct]),
            xytext=(correct, 1.18 * top),
            ha="center",
            arrowprops={"arrowstyle": "-|>", "color": _INK, "shrinkB": 1},
        )
        axes.set_ylim(0, 1.32 * top)
        axes.set_xlabel(f"number correct of {n} (hatched: from the critical number on)")
        axes.set_ylabel("probability if all guess")
        svg = _written(figure)
    limit = f"{critical} are needed" if critical is not None else "no number would suffice"
    alt = (
        f"{title}: {correct} of {n} correct, {limit} for a difference; "
        f"guessing gives {significant(n * chance, 3)} on average ({percent(chance)})."
    )
    return Figure(name, title, alt, svg)


def consistency_grid(
    values: Mapping[str, Mapping[str, float | None]],
    flagged: Mapping[str, Sequence[str]],
    *,
    title: str,
    name: str = "consistency",
) -> Figure:
    """Agreement with the rest, a row per taster and a column per attribute; flagged cells are framed.

    values : taster -> attribute -> correlation with the mean of the others; None where not estimable
    flagged : taster -> attributes in which a rule flags them
    """
    tasters = list(values)[:_MOST_ROWS]
    attributes = list(dict.fromkeys(name for row in values.values() for name in row))
    with _LOCK:
        figure, axes = _canvas(1.0 + 0.26 * len(tasters), min(_WIDTH, 1.6 + 1.2 * len(attributes)))
        for y, taster in enumerate(reversed(tasters)):
            for x, attribute in enumerate(attributes):
                framed = attribute in flagged.get(taster, ())
                _cell(axes, x, y, values[taster].get(attribute), framed=framed)
        axes.set_xlim(0, len(attributes))
        axes.set_ylim(0, len(tasters))
        axes.set_xticks(
            [x + 0.5 for x in range(len(attributes))], [_plain(_cut(name, 18)) for name in attributes]
        )
        axes.set_yticks(
            [y + 0.5 for y in range(len(tasters))], [_plain(_cut(name)) for name in reversed(tasters)]
        )
        axes.tick_params(length=0)
        axes.xaxis.tick_top()
        for side in axes.spines.values():
            side.set_visible(False)
        svg = _written(figure)
    left_out = (
        f" The first {_MOST_ROWS} of {len(values)} tasters are drawn." if len(values) > _MOST_ROWS else ""
    )
    marked = [taster for taster in values if flagged.get(taster)]
    told = f"Flagged: {listing(marked)}" if marked else "Nobody is flagged"
    alt = f"{title}: agreement of {count(len(values), 'taster')} with the rest. {told}.{left_out}"
    return Figure(name, title, alt, svg)


def _cell(axes: Any, x: int, y: int, value: float | None, *, framed: bool) -> None:
    from matplotlib.patches import Rectangle

    # Paler is better agreement: what needs a look stands out in print. Text carries the value.
    shade = "#ffffff" if value is None else str(round(0.62 + 0.38 * max(0.0, min(1.0, value)), 3))
    axes.add_patch(Rectangle((x, y), 1, 1, facecolor=shade, edgecolor="#ffffff", linewidth=1))
    if framed:
        frame = Rectangle((x + 0.03, y + 0.07), 0.94, 0.86, fill=False, edgecolor=_INK, linewidth=1.5)
        axes.add_patch(frame)
    text = "–" if value is None else f"{value:.2f}".replace("-", "−")
    axes.text(x + 0.5, y + 0.47, text, ha="center", va="center", fontsize=8, color=_INK)


def _canvas(height: float, width: float = _WIDTH) -> tuple[Any, Any]:
    from matplotlib.figure import Figure as Canvas

    figure = Canvas(figsize=(width, height), facecolor="white", layout="constrained")
    axes = figure.add_subplot()
    axes.set_facecolor("white")
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _rows_axis(axes: Any, labels: Sequence[str]) -> None:
    axes.set_yticks(range(len(labels)), [_plain(_cut(label)) for label in labels])
    axes.set_ylim(-0.7, len(labels) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=_PALE, linewidth=0.5)
    axes.set_axisbelow(True)


def _written(figure: Any) -> str:
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    with rc_context(_SETTINGS), warnings.catch_warnings():
        # The reader's own fonts draw the text, so a glyph that the measuring font lacks does no harm.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        FigureCanvasSVG(figure).print_svg(out, metadata=nothing)
    text = out.getvalue()
    return text[text.index("<svg") :]


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


def _plain(text: str) -> str:
    """Text that matplotlib does not take for a formula."""
    return text.replace("$", r"\$")


def _cut(text: str, most: int = 28) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _round(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")
