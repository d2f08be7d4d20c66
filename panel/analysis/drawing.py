"""Drawing: a figure as SVG text, black on a white card, legible in grey, the same bytes for the same data.

matplotlib loads when a figure is drawn, and a figure is drawn when somebody asks for its SVG. Its objects are
used without pyplot, so that no state is shared; the few settings that only its global table knows are set under
a lock while a figure is drawn and written.
"""

from __future__ import annotations

import base64
import io
import threading
import unicodedata
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.analysis.view_parts import Table

INK, GREY, PALE = "#1a1a1a", "#767676", "#d9d9d9"
PAPER: dict[str, Any] = {
    "facecolor": "white",
    "edgecolor": "none",
    "pad": 0.8,
}  # behind text that crosses a line
WIDTH = 7.0  # inches; the page scales it
LEAST_WIDTH = 5.4  # narrower figures would be blown up by the page
# Lines that stay apart in print without colour: dash pattern and mark.
LINES = (
    ("-", "o"),
    ((0, (5, 2)), "s"),
    ((0, (1, 1.5)), "^"),
    ((0, (6, 2, 1, 2)), "D"),
    ((0, (3, 1, 1, 1, 1, 1)), "v"),
)
_LOCK = threading.Lock()
_LETTER = 0.083  # inches that a letter at 10 points takes on average
_SETTINGS = {
    "svg.hashsalt": "panel",
    "svg.fonttype": "none",
    "font.family": ["sans-serif"],
    "font.size": 10.0,
}


@dataclass(frozen=True, eq=False)
class Figure:
    """A figure. `alt` says what it shows to those who do not see it; `name` is a file stem.

    draw : makes the SVG text; it is called once, when the figure is first shown
    data : the numbers behind it; None where a table of the same part holds them
    """

    name: str
    title: str
    alt: str
    draw: Callable[[], str]
    data: Table | None = None

    @cached_property
    def svg(self) -> str:
        """The figure as SVG text."""
        from matplotlib import rc_context

        with _LOCK, rc_context(_SETTINGS):
            return self.draw()

    def data_uri(self) -> str:
        """The figure as the address of an image, for a page that is one file."""
        return "data:image/svg+xml;base64," + base64.b64encode(self.svg.encode("utf-8")).decode("ascii")


def canvas(
    height: float,
    width: float = WIDTH,
    *,
    labels: Sequence[str] = (),
    left: float = 0.3,
    right: float = 0.3,
    top: float = 0.15,
    bottom: float = 0.55,
) -> tuple[Any, Any]:
    """A figure and its axes, sizes in inches. labels : texts left of the axes, which widen that margin."""
    from matplotlib.figure import Figure as Canvas

    figure = Canvas(figsize=(width, height), facecolor="white")
    left += max((text_width(label) for label in labels), default=0.0)
    axes = figure.add_axes(
        (left / width, bottom / height, (width - left - right) / width, (height - top - bottom) / height)
    )
    axes.set_facecolor("white")
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def text_width(text: str) -> float:
    """Inches that a text at 10 points takes, about: wide scripts count double."""
    return _LETTER * sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def rows_axis(axes: Any, labels: Sequence[str], most: int = 28) -> None:
    """Names, of so many letters at most, down the left side, from the bottom up, with hairlines to read values by."""
    axes.set_yticks(range(len(labels)), [plain(cut(label, most)) for label in labels])
    axes.set_ylim(-0.7, len(labels) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=PALE, linewidth=0.5)
    axes.set_axisbelow(True)


def written(figure: Any) -> str:
    """The figure as SVG text without a date or the maker's name in it."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    with warnings.catch_warnings():
        # The reader's own fonts draw the text, so a glyph that the measuring font lacks does no harm.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        FigureCanvasSVG(figure).print_svg(out, metadata=nothing)
    text = out.getvalue()
    return text[text.index("<svg") :]


def plain(text: str) -> str:
    """Text that matplotlib does not take for a formula."""
    return text.replace("$", r"\$")


def cut(text: str, most: int = 28) -> str:
    """A name short enough for a figure, cut in the middle: its end often tells it from the next.

    The table beside the figure has the whole of it.
    """
    if len(text) <= most:
        return text
    end = most * 2 // 5
    return f"{text[: most - 1 - end].rstrip()}…{text[-end:].lstrip()}"


def rounded(value: float, decimals: int = 2) -> str:
    """A number for a text alternative, with a real minus sign."""
    text = f"{value:.{decimals}f}"
    return (text.removeprefix("-") if float(text) == 0 else text).replace("-", "−")


def upright_marks(axes: Any, marks: Sequence[tuple[float, str]], middle: float) -> None:
    """An upright line of its own dash at each place, named above the axes; right of the middle the name ends there."""
    for row, (place, label) in enumerate(marks):
        axes.axvline(place, color=GREY, linestyle=LINES[1 + row % 4][0], linewidth=1.2)
        right = place > middle
        axes.annotate(
            plain(label),
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-3 if right else 3, 3 + 13 * row),
            textcoords="offset points",
            ha="right" if right else "left",
            fontsize=9,
        )


def name_points(
    axes: Any, points: Sequence[tuple[float, float]], texts: Sequence[str], size: float = 9
) -> None:
    """Names beside points, each at the first of eight places where it covers no other name or point.

    Set the limits of the axes first. Where no place is free the last one is taken.
    """
    taken = [_box(x, y, 0.04, 0.04) for x, y in (_inches(axes, point) for point in points)]
    for point, text in zip(points, texts, strict=True):
        x, y = _inches(axes, point)
        width, height = text_width(text) * size / 10, 0.15
        box, at = (0.0, 0.0, 0.0, 0.0), (0.0, 0.0)
        for across, up in ((1, 0), (1, 1), (1, -1), (-1, 0), (-1, 1), (-1, -1), (0, 1), (0, -1)):
            at = (x + across * (0.09 + width / 2), y + up * (0.09 if across else 0.16))
            box = _box(*at, width / 2, height / 2)
            if not any(_meet(box, other) for other in taken) and _inside(axes, box):
                break
        taken.append(box)
        offset = ((at[0] - x) * 72, (at[1] - y) * 72)
        axes.annotate(
            plain(text),
            point,
            xytext=offset,
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=size,
            bbox=PAPER,
        )


def _inches(axes: Any, point: tuple[float, float]) -> tuple[float, float]:
    x, y = axes.transData.transform(point) / axes.figure.dpi
    return float(x), float(y)


def _box(x: float, y: float, half_width: float, half_height: float) -> tuple[float, float, float, float]:
    return x - half_width, y - half_height, x + half_width, y + half_height


def _meet(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _inside(axes: Any, box: tuple[float, float, float, float]) -> bool:
    """Right of the left axis and above the lower one, where no scale is written, and within the figure."""
    width, height = axes.figure.get_size_inches()
    edge = axes.get_window_extent()
    left, low = edge.x0 / axes.figure.dpi, edge.y0 / axes.figure.dpi
    return bool(box[0] > left and box[1] > low and box[2] < width and box[3] < height)
