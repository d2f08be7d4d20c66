"""Maps of samples: principal components with ellipses, correspondence of terms, and lines of profiles."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from panel.analysis.drawing import (
    GREY,
    INK,
    LINES,
    PALE,
    Figure,
    canvas,
    cut,
    name_points,
    plain,
    rounded,
    text_width,
    written,
)
from panel.analysis.view_parts import table_of
from stats.phrasing import listing, percent

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stats.correspondence import Correspondence
    from stats.profile import Profile

MOST_LINES = 8  # more lines than this cannot be followed
_SIDE = 5.4  # inches: a map has equal scales both ways


def profile_map(found: Profile, *, titles: Mapping[str, str], called: Callable[[str], str]) -> Figure:
    """The samples on the first two principal components, attributes as arrows.

    titles : attribute -> what it is called; called : sample -> what it is called
    """
    shown = found.explained[:2]
    title = "Profile map of the samples"
    spoken = "; ".join(
        f"{called(point.sample)} at {', '.join(rounded(value) for value in point.coordinates[:2])}"
        for point in found.samples
    )
    arrows = "; ".join(
        f"{titles.get(name, name)} towards {', '.join(rounded(value) for value in both[:2])}"
        for name, both in found.correlations
    )
    alt = f"{title}: dimensions show {listing([percent(share) for share in shown])}. {spoken}. Arrows: {arrows}."
    data = table_of(
        f"{title}: coordinates of samples, correlations of attributes with the dimensions",
        ("Sample or attribute", *_dimensions(found.samples[0].coordinates)),
        [
            *((called(point.sample), *map(rounded, point.coordinates[:2])) for point in found.samples),
            *((titles.get(name, name), *map(rounded, both[:2])) for name, both in found.correlations),
        ],
    )
    return Figure("profile-map", title, alt, lambda: _draw_profile(found, titles, called), data)


def _dimensions(coordinates: Sequence[float]) -> tuple[str, ...]:
    return tuple(f"Dimension {place}" for place in range(1, min(2, len(coordinates)) + 1))


def _draw_profile(found: Profile, titles: Mapping[str, str], called: Callable[[str], str]) -> str:
    from matplotlib.patches import Ellipse

    figure, axes = canvas(_SIDE, _SIDE + 0.6, left=0.65)
    points = [_plane(point.coordinates) for point in found.samples]
    reach = max(max(map(abs, both)) for both in points) or 1.0
    for point in found.samples:
        if point.ellipse is not None:
            across, up = point.ellipse.half_axes
            reach = max(reach, *(abs(value) + across for value in point.ellipse.centre))
            axes.add_patch(
                Ellipse(
                    point.ellipse.centre,
                    2 * across,
                    2 * up,
                    angle=point.ellipse.angle,
                    fill=False,
                    edgecolor=GREY,
                    linewidth=0.9,
                )
            )
    _square(axes, 1.15 * reach, found.explained)
    ends = [_plane(both) for _, both in found.correlations]
    tips = [(0.95 * reach * x, 0.95 * reach * y) for x, y in ends]
    for tip in tips:
        drawn = {"arrowstyle": "-|>", "color": GREY, "linestyle": (0, (4, 2)), "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", tip, xytext=(0, 0), arrowprops=drawn)
    axes.plot(*zip(*points, strict=True), "D", color=INK, markersize=6)
    names = [cut(called(point.sample), 22) for point in found.samples]
    words = [cut(titles.get(name, name), 22) for name, _ in found.correlations]
    name_points(axes, [*points, *tips], [*names, *words])
    return written(figure)


def correspondence_map(found: Correspondence, *, called: Callable[[str], str]) -> Figure:
    """Samples and terms on the first two dimensions of a correspondence analysis."""
    title = "Map of samples and terms"
    samples = [(called(name), both) for name, both in found.samples]
    spoken = "; ".join(
        f"{name} at {', '.join(rounded(value) for value in both[:2])}"
        for name, both in [*samples, *found.terms]
    )
    shown = listing([percent(share) for share in found.explained[:2]])
    alt = f"{title}: dimensions show {shown} of the variation. {spoken}."
    data = table_of(
        f"{title}: coordinates",
        ("Sample or term", *_dimensions(found.samples[0][1])),
        [(name, *map(rounded, both[:2])) for name, both in [*samples, *found.terms]],
    )
    return Figure("check-all-map", title, alt, lambda: _draw_correspondence(samples, found), data)


def _draw_correspondence(samples: list[tuple[str, tuple[float, ...]]], found: Correspondence) -> str:
    figure, axes = canvas(_SIDE, _SIDE + 0.6, left=0.65)
    first = [_plane(both) for _, both in samples]
    second = [_plane(both) for _, both in found.terms]
    reach = max((max(map(abs, both)) for both in (*first, *second)), default=1.0)
    _square(axes, 1.15 * reach, found.explained)
    axes.plot(*zip(*first, strict=True), "D", color=INK, markersize=6)
    axes.plot(*zip(*second, strict=True), "o", markerfacecolor="white", markeredgecolor=GREY, markersize=5)
    names = [cut(name, 22) for name, _ in samples] + [cut(name, 22) for name, _ in found.terms]
    name_points(axes, [*first, *second], names)
    return written(figure)


def _plane(coordinates: Sequence[float]) -> tuple[float, float]:
    """The first two coordinates; a map of one dimension lies on the horizontal line."""
    return coordinates[0], coordinates[1] if len(coordinates) > 1 else 0.0


def _square(axes: Any, reach: float, explained: Sequence[float]) -> None:
    """Equal scales both ways, the middle marked, the share of each dimension on its axis."""
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.axhline(0, color=PALE, linewidth=0.8, zorder=0)
    axes.axvline(0, color=PALE, linewidth=0.8, zorder=0)
    for place, name in enumerate(("x", "y")):
        share = percent(explained[place]) if place < len(explained) else percent(0)
        getattr(axes, f"set_{name}label")(f"dimension {place + 1} ({share})")


def profile_lines(
    means: Mapping[str, Mapping[str, float]], *, axis: str, title: str, name: str = "profiles"
) -> Figure | None:
    """A line for each sample over the attributes; None for more samples than can be followed.

    means : sample -> attribute -> mean, all on one scale
    """
    if not 2 <= len(means) <= MOST_LINES:
        return None
    attributes = list(next(iter(means.values())))
    spoken = "; ".join(
        f"{sample}: {', '.join(f'{one} {rounded(row[one], 1)}' for one in attributes)}"
        for sample, row in means.items()
    )
    rows = [(sample, *(rounded(row[one], 1) for one in attributes)) for sample, row in means.items()]
    data = table_of(title, ("Sample", *attributes), rows)
    return Figure(name, title, f"{title}. {spoken}.", lambda: _draw_lines(means, attributes, axis), data)


def _draw_lines(means: Mapping[str, Mapping[str, float]], attributes: list[str], axis: str) -> str:
    names = [cut(sample, 22) for sample in means]
    bottom = 0.3 + 0.45 * max(text_width(cut(one, 18)) for one in attributes)
    figure, axes = canvas(2.6 + bottom, left=0.75, bottom=bottom, right=0.3 + max(map(text_width, names)))
    ends = []
    for place, (_sample, row) in enumerate(means.items()):
        dash, mark = LINES[place % len(LINES)]
        shade = INK if place < len(LINES) else GREY
        values = [row[one] for one in attributes]
        axes.plot(range(len(attributes)), values, color=shade, linestyle=dash, marker=mark, markersize=5)
        ends.append(values[-1])
    _name_ends(axes, ends, names, len(attributes) - 1)
    turned = {"rotation": 25, "ha": "right", "rotation_mode": "anchor"}
    axes.set_xticks(range(len(attributes)), [plain(cut(one, 18)) for one in attributes], **turned)
    axes.set_ylabel(plain(axis))
    axes.grid(axis="y", color=PALE, linewidth=0.5)
    return written(figure)


def _name_ends(axes: Any, ends: Sequence[float], names: Sequence[str], x: float) -> None:
    """Names at the right ends of lines, moved apart where they would overlap."""
    low, high = axes.get_ylim()
    step = (high - low) / 15
    at = -math.inf
    for value, name in sorted(zip(ends, names, strict=True)):
        at = max(value, at + step)
        axes.annotate(
            plain(name), (x, at), xytext=(8, 0), textcoords="offset points", va="center", fontsize=9
        )
