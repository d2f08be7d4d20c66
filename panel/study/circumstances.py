"""What the organiser knows of people and products that no plan seals, but that may ruin the test or size it.

These fields stand in the draft as typed. They choose cautions, the size of a rehearsed difference and the
assumptions of power; nothing is judged by them once the study is sealed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from panel.study.draft_reader import Reader

LIKING_LENGTH = 8.0  # points from one end of the nine-point scale to the other
Lingering = Literal["", "none", "some", "strong"]
PanelKind = Literal["", "people", "trained"]
SizeKey = Literal["large", "medium", "small"]

# Average over consumer studies in Hough and others (2006), Food Quality and Preference 17, 522-526; from memory.
TYPICAL_SPREAD = 0.23

LINGERING: dict[str, str] = {
    "": "Not said",
    "none": "Hardly: gone after a sip of water",
    "some": "Some: salty, sweet, fatty, spiced",
    "strong": "Strong: bitter, astringent, hot, smoked, spirits",
}
PANEL_KINDS: dict[str, str] = {
    "": "Not said",
    "people": "People as they come: colleagues, readers, guests",
    "trained": "A trained panel",
}


@dataclass(frozen=True, slots=True)
class Size:
    """How large a difference matters.

    notice : share of people who would notice it in a triangle of cups (a triangle's discriminators)
    prefer : share who would prefer the one that more people prefer, of those with a preference
    of_scale : difference between two means as a share of the scale's length
    """

    key: SizeKey
    name: str
    notice: float
    prefer: float
    of_scale: float


# Shares of discriminators below 25 % count as small, 25 to 35 % as medium, above as large (ISO 4120, from memory).
# Preferences and points: common practice, no source; one point on nine is an eighth of the scale.
SIZES: dict[str, Size] = {
    size.key: size
    for size in (
        Size("large", "A plain one", 0.5, 0.75, 3 / 16),
        Size("medium", "A noticeable one", 0.3, 0.65, 1 / 8),
        Size("small", "A subtle one", 0.2, 0.6, 1 / 16),
    )
}


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What was said of people and products.

    lingering : how long the taste stays; "" where nothing was said; panel_kind likewise
    looks_differ : whether samples can be told apart by eye; organiser_tastes : whether who plans tastes too
    size : how large a difference matters; spread : assumed standard deviation as a share of the scale's length
    """

    lingering: Lingering = ""
    panel_kind: PanelKind = ""
    looks_differ: bool = False
    organiser_tastes: bool = False
    size: Size = SIZES["medium"]
    spread: float = TYPICAL_SPREAD


def read_circumstances(reader: Reader) -> Circumstances:
    """What the fields of a draft, or of a first question, say; open ones keep their defaults."""
    spread = reader.number("spread", "the spread of the scores, in per cent of the scale,", 1, 100)
    lingering: Lingering = reader.choice("lingering", "how long the taste stays", LINGERING, "")  # type: ignore[assignment]
    kind: PanelKind = reader.choice("panel_kind", "who tastes", PANEL_KINDS, "")  # type: ignore[assignment]
    return Circumstances(
        lingering=lingering,
        panel_kind=kind,
        looks_differ=bool(reader.typed.get("looks_differ")),
        organiser_tastes=bool(reader.typed.get("organiser_tastes")),
        size=_read_size(reader),
        spread=TYPICAL_SPREAD if spread is None else spread / 100,
    )


def _read_size(reader: Reader) -> Size:
    """The size chosen, or typed in the terms of one kind of test."""
    size = SIZES[reader.choice("size", "how large a difference matters", SIZES, "medium")]
    notice = reader.number("own_notice", "how many would notice it, in per cent,", 5, 95)
    prefer = reader.number("own_prefer", "how many prefer the same one, in per cent,", 55, 99)
    points = reader.number("own_points", "the difference in points of nine", 0.1, 8)
    if notice is not None:
        size = replace(size, notice=notice / 100)
    if prefer is not None:
        size = replace(size, prefer=prefer / 100)
    return size if points is None else replace(size, of_scale=points / LIKING_LENGTH)
