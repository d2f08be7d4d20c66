"""Label sheets by their numbers. Every number can be changed: sheets of one size differ between makers."""

from __future__ import annotations

from dataclasses import dataclass

from panel.printing.page import A4, LETTER
from panel.study.problems import Problem

INCH = 25.4
_SLACK = 0.05  # mm: sums of published dimensions miss the paper's edge by rounding


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of labels; all lengths in mm.

    page_width, page_height : the paper; top, left : from its edges to the first label
    pitch_across, pitch_down : from one label's edge to the same edge of the next
    width, height : one label; across, down : how many; round : cut as an ellipse in that box
    """

    name: str
    page_width: float
    page_height: float
    top: float
    left: float
    pitch_across: float
    pitch_down: float
    width: float
    height: float
    across: int
    down: int
    round: bool = False

    def __post_init__(self) -> None:
        problems = sheet_problems(self)
        if problems:
            raise ValueError(" ".join(problem.text for problem in problems))

    @property
    def per_page(self) -> int:
        """Labels on one page."""
        return self.across * self.down

    def corner(self, index: int) -> tuple[float, float]:
        """Top left corner (x, y) of label `index` of a page, counted from 0 along the rows."""
        row, column = divmod(index, self.across)
        return self.left + column * self.pitch_across, self.top + row * self.pitch_down


def sheet_problems(sheet: Sheet) -> list[Problem]:
    """What is wrong with the numbers of a sheet, each beside its field; empty when they fit together."""
    sizes = ("page_width", "page_height", "width", "height", "across", "down")
    found = [
        Problem(
            field, "not-positive", f"{_words(field)} must be more than 0; it is {getattr(sheet, field):g}."
        )
        for field in sizes
        if not getattr(sheet, field) > 0
    ]
    found += [
        Problem(field, "negative", f"{_words(field)} cannot be negative; it is {getattr(sheet, field):g}.")
        for field in ("top", "left")
        if not getattr(sheet, field) >= 0
    ]
    return found or [*_overlaps(sheet), *_overhangs(sheet)]


def _overlaps(sheet: Sheet) -> list[Problem]:
    return [
        Problem(
            field,
            "overlap",
            f"Labels would lie on each other: {_words(field)} is {pitch:g} mm, but a label is {size:g} mm.",
        )
        for field, pitch, size, count in (
            ("pitch_across", sheet.pitch_across, sheet.width, sheet.across),
            ("pitch_down", sheet.pitch_down, sheet.height, sheet.down),
        )
        if count > 1 and not pitch >= size - _SLACK
    ]


def _overhangs(sheet: Sheet) -> list[Problem]:
    right = sheet.left + (sheet.across - 1) * sheet.pitch_across + sheet.width
    bottom = sheet.top + (sheet.down - 1) * sheet.pitch_down + sheet.height
    return [
        Problem(
            field,
            "off-paper",
            f"The last label would end {end - paper:.1f} mm beyond the {edge} edge of the paper. "
            f"Check {_words(field)}, the pitch, and how many labels there are.",
        )
        for field, edge, end, paper in (
            ("left", "right", right, sheet.page_width),
            ("top", "lower", bottom, sheet.page_height),
        )
        if end > paper + _SLACK
    ]


def _words(field: str) -> str:
    return {
        "page_width": "the paper's width",
        "page_height": "the paper's height",
        "top": "the top margin",
        "left": "the left margin",
        "pitch_across": "the step across",
        "pitch_down": "the step down",
        "width": "the label's width",
        "height": "the label's height",
        "across": "the number of labels across",
        "down": "the number of labels down",
    }[field]


def roll(width: float, height: float, *, round: bool = False) -> Sheet:
    """Single labels of `width` by `height` mm: every label is a page of its own."""
    name = f"Roll, {width:g} × {height:g} mm"
    return Sheet(name, width, height, 0, 0, width, height, width, height, 1, 1, round)


# Dimensions: common practice, no source, but for 3 × 7 on A4 and 3 × 10 on Letter, which several
# published templates share. The 5 × 13 and the round sheet vary between makers: print the ruler page first.
SHEETS: dict[str, Sheet] = {
    "a4-3x7": Sheet("A4, 3 × 7, 63.5 × 38.1 mm", *A4, 15.15, 7.2, 66.0, 38.1, 63.5, 38.1, 3, 7),
    "a4-4x10": Sheet("A4, 4 × 10, 48.5 × 25.4 mm", *A4, 21.5, 8.0, 48.5, 25.4, 48.5, 25.4, 4, 10),
    "a4-5x13": Sheet("A4, 5 × 13, 38.1 × 21.2 mm", *A4, 10.7, 4.75, 40.6, 21.2, 38.1, 21.2, 5, 13),
    "letter-3x10": Sheet(
        "US Letter, 3 × 10, 2.625 × 1 in",
        *LETTER,
        0.5 * INCH,
        0.1875 * INCH,
        2.75 * INCH,
        INCH,
        2.625 * INCH,
        INCH,
        3,
        10,
    ),
    "a4-round-40": Sheet("A4, 4 × 6, round 40 mm", *A4, 16.0, 17.5, 45.0, 45.0, 40.0, 40.0, 4, 6, True),
    "roll-50x30": roll(50, 30),
    "roll-40x30": roll(40, 30),
    "roll-57x32": roll(57, 32),
    "roll-2.25x1.25in": roll(2.25 * INCH, 1.25 * INCH),
}
