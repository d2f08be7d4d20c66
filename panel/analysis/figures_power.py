"""Power curves: how likely a test shows a difference of each size, with what was seen or is hoped for marked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.drawing import INK, LINES, PALE, Figure, canvas, cut, plain, upright_marks, written
from panel.analysis.numbers import chance_text
from panel.analysis.view_parts import Column, Table
from stats.phrasing import percent, significant

if TYPE_CHECKING:
    from collections.abc import Sequence

ROWS = 11  # sizes in the table behind the figure
MARKS_EVERY = 8  # points of a curve between two of its marks


@dataclass(frozen=True, slots=True)
class PowerCurve:
    """One curve: what it is called, the true sizes, ascending, and the chance 0..1 to show each of them."""

    label: str
    sizes: tuple[float, ...]
    chances: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A size to be marked by an upright line, and what it is."""

    size: float
    label: str


def power_figure(
    curves: Sequence[PowerCurve],
    *,
    axis: str,
    title: str,
    marks: Sequence[Mark] = (),
    level: float = 0.8,
    shares: bool = False,
    name: str = "power",
) -> Figure:
    """Chance to show a difference against its true size, a curve for each case.

    axis : what a size is, with its unit; marks : sizes marked by lines of their own dash
    level : chance drawn as a pale line; shares : sizes are shares 0..1 and are written in per cent
    """
    kept, lines = tuple(curves), tuple(marks)
    write = percent if shares else lambda size: significant(size, 2)
    rows = _rows(kept)
    spoken = "; ".join(f"{write(row[0])}: {_listed(row[1])}" for row in rows)
    marked = "".join(f" Marked: {mark.label}, {write(mark.size)}." for mark in lines)
    names = f" Curves: {'; '.join(curve.label for curve in kept)}." if len(kept) > 1 else ""
    alt = f"{title}.{names} {spoken}.{marked}"
    heads = [curve.label or "Chance to show it" for curve in kept]
    data = Table(
        caption=title,
        columns=(Column(axis[:1].upper() + axis[1:]), *(Column(head) for head in heads)),
        rows=tuple((write(size), *(chance_text(one) for one in chances)) for size, chances in rows),
    )
    return Figure(name, title, alt, lambda: _draw(kept, lines, axis, level, shares), data)


def _listed(chances: tuple[float, ...]) -> str:
    return ", ".join(chance_text(one) for one in chances)


def _rows(curves: tuple[PowerCurve, ...]) -> list[tuple[float, tuple[float, ...]]]:
    """Some sizes, evenly spread, with the chance on every curve; the curves share their sizes."""
    sizes = curves[0].sizes
    last = len(sizes) - 1
    places = sorted({round(last * step / (ROWS - 1)) for step in range(ROWS)})
    return [(sizes[at], tuple(curve.chances[at] for curve in curves)) for at in places]


def _draw(
    curves: tuple[PowerCurve, ...], marks: tuple[Mark, ...], axis: str, level: float, shares: bool
) -> str:
    top = 0.2 + 0.2 * len(marks)
    figure, axes = canvas(3.4 + top, left=0.75, top=top)
    scale = 100 if shares else 1
    for place, curve in enumerate(curves):
        dash, mark = LINES[place % len(LINES)]
        across = [scale * size for size in curve.sizes]
        chances = [100 * chance for chance in curve.chances]
        style = {"linestyle": dash, "marker": mark if len(curves) > 1 else "", "markevery": MARKS_EVERY}
        axes.plot(across, chances, color=INK, linewidth=1.6, markersize=5, label=plain(curve.label), **style)
    axes.axhline(100 * level, color=PALE, linewidth=1.2, zorder=0)
    sizes = curves[0].sizes
    named = [(scale * mark.size, cut(mark.label, 60)) for mark in marks]
    upright_marks(axes, named, scale * (sizes[0] + sizes[-1]) / 2)
    axes.set_ylim(0, 102)
    axes.set_xlim(scale * sizes[0], scale * sizes[-1])
    axes.set_xlabel(plain(f"{axis}, %" if shares else axis))
    axes.set_ylabel("chance, %")
    axes.grid(color=PALE, linewidth=0.4)
    axes.set_axisbelow(True)
    if len(curves) > 1:
        axes.legend(frameon=False, handlelength=4, fontsize=9, loc="lower right")
    return written(figure)
