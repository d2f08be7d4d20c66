"""Figures of a verdict: what each group gives to the total, and one thing against another, product by product."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.drawing import (
    GREY,
    INK,
    PALE,
    Figure,
    canvas,
    cut,
    name_points,
    plain,
    rounded,
    rows_axis,
    written,
)
from panel.analysis.view_parts import table_of

if TYPE_CHECKING:
    from collections.abc import Sequence

# Fillings that stay apart in grey and for every eye: by hatch and by lightness.
_FILLS = (("#4a4a4a", ""), ("#ffffff", "///"), ("#bdbdbd", ""), ("#ffffff", "..."), ("#8a8a8a", "\\\\\\"))


def parts_figure(
    rows: Sequence[tuple[str, Sequence[float]]], groups: Sequence[str], *, title: str, name: str = "parts"
) -> Figure:
    """Bars of totals, each made of what the groups give to it. rows : product and points from each group."""
    kept = [(label, tuple(values)) for label, values in rows]
    spoken = "; ".join(
        f"{label}: {', '.join(f'{group} {rounded(value, 0)}' for group, value in zip(groups, values, strict=True))}"
        for label, values in kept
    )
    data = table_of(
        title,
        ("Product", *groups, "Total"),
        [
            (label, *(rounded(value, 1) for value in values), rounded(sum(values), 1))
            for label, values in kept
        ],
    )
    return Figure(
        name, title, f"{title}. {spoken}.", lambda: _draw_parts(kept, [cut(one, 24) for one in groups]), data
    )


def _draw_parts(rows: Sequence[tuple[str, tuple[float, ...]]], groups: Sequence[str]) -> str:
    labels = [cut(label) for label, _ in reversed(rows)]
    each = 0.42 if len(rows) <= 14 else 0.3
    figure, axes = canvas(1.15 + each * len(rows), labels=labels, top=0.45)
    starts = [0.0] * len(rows)
    for place, group in enumerate(groups):
        colour, hatch = _FILLS[place % len(_FILLS)]
        widths = [values[place] for _, values in reversed(rows)]
        axes.barh(
            range(len(rows)),
            widths,
            left=starts,
            height=0.62,
            color=colour,
            hatch=hatch,
            edgecolor=INK,
            linewidth=0.7,
            label=plain(group),
        )
        starts = [start + width for start, width in zip(starts, widths, strict=True)]
    rows_axis(axes, labels)
    axes.set_xlim(0, 100)
    axes.set_xlabel("points of 100")
    axes.legend(
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=min(4, len(groups)), frameon=False, fontsize=9
    )
    return written(figure)


@dataclass(frozen=True, slots=True)
class Spot:
    """One product in a plot of two things, each with its limits or None; ringed : whether it is marked."""

    label: str
    x: float
    y: float
    x_limits: tuple[float, float] | None = None
    y_limits: tuple[float, float] | None = None
    ringed: bool = False


def against_figure(
    spots: Sequence[Spot], *, title: str, across: str, up: str, name: str, ringed_is: str = ""
) -> Figure:
    """One thing against another. ringed_is : what a filled mark stands for, "" where none is filled."""
    kept = tuple(spots)
    spoken = "; ".join(
        f"{one.label} {rounded(one.x)} and {rounded(one.y)}{f', {ringed_is}' if one.ringed and ringed_is else ''}"
        for one in kept
    )
    rows = [
        (one.label, rounded(one.x), _span(one.x_limits), rounded(one.y), _span(one.y_limits)) for one in kept
    ]
    data = table_of(title, ("Product", across, "Interval", up, "Interval"), rows)
    shown = f"{title} ({ringed_is}: filled)" if ringed_is and any(one.ringed for one in kept) else title
    alt = f"{shown}: {across} and {up}. {spoken}."
    return Figure(name, shown, alt, lambda: _draw_against(kept, across, up), data)


def _span(limits: tuple[float, float] | None) -> str:
    return "–" if limits is None else f"{rounded(limits[0])} to {rounded(limits[1])}"


def _draw_against(spots: tuple[Spot, ...], across: str, up: str) -> str:
    figure, axes = canvas(4.0, left=0.75)
    for one in spots:
        if one.x_limits:
            axes.plot(one.x_limits, [one.y, one.y], color=GREY, linewidth=1.1)
        if one.y_limits:
            axes.plot([one.x, one.x], one.y_limits, color=GREY, linewidth=1.1)
        face = INK if one.ringed else "white"
        axes.plot([one.x], [one.y], "o", color=INK, markersize=6.5, markerfacecolor=face)
    axes.grid(color=PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.margins(0.16)
    axes.set_xlabel(plain(cut(across, 70)))
    axes.set_ylabel(plain(cut(up, 44)))
    axes.set_xlim(axes.get_xlim())
    axes.set_ylim(axes.get_ylim())
    name_points(axes, [(one.x, one.y) for one in spots], [cut(one.label, 24) for one in spots])
    return written(figure)
