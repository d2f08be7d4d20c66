"""The figure of how the chance to show a difference grows, and now and then falls, with the number of people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.drawing import INK, PALE, Figure, canvas, upright_marks, written
from panel.analysis.numbers import chance_text
from panel.analysis.view_parts import Table, table_of

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_ROWS = 16  # of the table behind the figure
MOST_DOTS = 80  # from here on the numbers of people are a line without dots


@dataclass(frozen=True, slots=True)
class People:
    """A number of people to be marked, and what it is."""

    number: int
    label: str


def people_figure(
    chances: Sequence[tuple[int, float]],
    marks: Sequence[People],
    *,
    title: str,
    level: float = 0.8,
    steady: bool = False,
    name: str = "people",
) -> Figure:
    """Chance 0..1 for each number of people, ascending, with some numbers marked by lines of their own dash.

    steady : draw a plain line; otherwise one that steps, since each person can lower the chance
    """
    kept, lines = tuple(chances), tuple(marks)
    shown = dict(kept)
    rows = _rows(kept, lines)
    spoken = "; ".join(f"{number} people {chance_text(shown[number])}" for number in rows)
    marked = "".join(
        f" Marked: {mark.label}, {mark.number}, {chance_text(shown[mark.number])}." for mark in lines
    )
    data: Table = table_of(
        title, ("People", "Chance"), ((f"{number}", chance_text(shown[number])) for number in rows)
    )
    alt = f"{title}. {spoken}.{marked}"
    return Figure(name, title, alt, lambda: _draw(kept, lines, level, steady), data)


def _rows(chances: tuple[tuple[int, float], ...], marks: tuple[People, ...]) -> list[int]:
    """Some numbers of people, evenly spread, and those marked with their neighbours below."""
    known = [number for number, _ in chances]
    places = {round((len(known) - 1) * step / (MOST_ROWS - 4)) for step in range(MOST_ROWS - 3)}
    asked = {mark.number for mark in marks}
    return sorted({known[place] for place in places} | asked)


def _draw(
    chances: tuple[tuple[int, float], ...], marks: tuple[People, ...], level: float, steady: bool
) -> str:
    top = 0.2 + 0.2 * len(marks)
    figure, axes = canvas(3.0 + top, left=0.75, top=top)
    people = [number for number, _ in chances]
    values = [100 * chance for _, chance in chances]
    few = len(chances) <= MOST_DOTS
    style = {"color": INK, "linewidth": 1.4, "drawstyle": "default" if steady else "steps-mid"}
    axes.plot(people, values, marker="o" if few and not steady else "", markersize=3, **style)
    axes.axhline(100 * level, color=PALE, linewidth=1.2, zorder=0)
    named = [(mark.number, f"{mark.number}: {mark.label}") for mark in marks]
    upright_marks(axes, named, (people[0] + people[-1]) / 2)
    axes.set_ylim(0, 102)
    axes.set_xlim(people[0], people[-1])
    axes.xaxis.get_major_locator().set_params(integer=True)
    axes.set_xlabel("people")
    axes.set_ylabel("chance, %")
    axes.grid(color=PALE, linewidth=0.4)
    axes.set_axisbelow(True)
    return written(figure)
