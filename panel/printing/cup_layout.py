"""Where code, symbol and small type stand on a label: the largest code that leaves the symbol whole.

Digits of 8 to 12 mm are read at arm's length (judgement; the legal floor for food labels, an x-height of 1.2 mm
in Regulation (EU) 1169/2011, is far too small for a kitchen).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from reportlab.lib.units import mm

from panel.printing.lettering import DIGIT_HEIGHT, DIGIT_WIDTH
from panel.printing.sheets import Sheet
from panel.printing.symbols import SMALLEST_MODULE, dots_to_mm, module_dots

SPACING = 0.07  # between digits, of the type size
LARGEST_MODULE = 0.7  # mm
READABLE = 8.0  # mm: digits this tall come before a larger symbol
LEAST_DIGITS = 5.0  # mm
_EDGE = 1.5  # mm kept free inside the cut
_SMALL: float = 6.0 / mm  # small type, mm
_GAP = 0.6  # mm between digits, underline and small type
_LARGEST_TYPE = 22.0  # mm


@dataclass(frozen=True, slots=True)
class CupLayout:
    """Positions on one label in mm from its top left corner.

    type_size : of the code; middle, baseline : of its foot; dots : printer dots a module, 0 without symbol
    symbol_x, symbol_y, symbol_side : with quiet zone; small_middle, small_baseline, small_room : the small line
    """

    type_size: float
    middle: float
    baseline: float
    dots: int
    symbol_x: float
    symbol_y: float
    symbol_side: float
    small_middle: float
    small_baseline: float
    small_room: float

    @property
    def digits(self) -> float:
        """Height of the code's digits in mm."""
        return self.type_size * DIGIT_HEIGHT

    @property
    def underline(self) -> float:
        """Distance of the underline's middle from the top edge in mm."""
        return self.baseline + _GAP + self.type_size * 0.03


def code_width(type_size: float, length: int = 3) -> float:
    """Width in mm of a code of `length` digits."""
    return type_size * (length * DIGIT_WIDTH + (length - 1) * SPACING)


def _block(type_size: float) -> float:
    """Height of digits, underline and small line together."""
    return type_size * (DIGIT_HEIGHT + 0.06) + 3 * _GAP + _SMALL


def layout_for(
    sheet: Sheet, modules: int, dpi: int, cup_diameter: float | None, length: int = 3
) -> CupLayout:
    """The best layout on a label of `sheet` for a symbol of `modules` across, quiet zones included.

    Without room for the symbol the code stands alone: `dots` is 0.
    """
    least = module_dots(SMALLEST_MODULE, dpi)
    most = max(int(LARGEST_MODULE / dots_to_mm(1, dpi)), least)
    best: CupLayout | None = None
    for dots in range(least, most + 1):
        side = dots_to_mm(dots * modules, dpi)
        if best is not None and cup_diameter is not None and side > cup_diameter / 3:
            break
        found = [_beside(sheet, side, dots, length), _above(sheet, side, dots, length)]
        fits = [layout for layout in found if layout is not None]
        if not fits:
            break
        layout = max(fits, key=lambda one: one.type_size)
        if best is None or layout.digits >= READABLE:
            best = layout
    return best or _alone(sheet, length)


def _largest(fits: Callable[[float], bool]) -> float | None:
    """The largest type size in mm that fits, in steps of a quarter; None below the least digits."""
    step = 0.25
    size = _LARGEST_TYPE
    while size * DIGIT_HEIGHT >= LEAST_DIGITS:
        if fits(size):
            return size
        size -= step
    return None


def _beside(sheet: Sheet, side: float, dots: int, length: int) -> CupLayout | None:
    """Symbol left, code right; its quiet zone may reach the cut."""
    if sheet.round or side > sheet.height or side > sheet.width:
        return None
    room = sheet.width - side - _EDGE
    tall = sheet.height - 2 * _EDGE
    size = _largest(lambda one: code_width(one, length) <= room and _block(one) <= tall)
    if size is None:
        return None
    top = (sheet.height - _block(size)) / 2
    middle = side + room / 2
    return CupLayout(
        size,
        middle,
        top + size * DIGIT_HEIGHT,
        dots,
        0.0,
        (sheet.height - side) / 2,
        side,
        middle,
        top + _block(size) - 0.3,
        room,
    )


def _above(sheet: Sheet, side: float, dots: int, length: int) -> CupLayout | None:
    """Code above, symbol below; on a round label both stay inside the circle."""
    if side > sheet.width:
        return None
    symbol_y = sheet.height - side
    if sheet.round:
        symbol_y = sheet.height / 2 + _half_chord(sheet, side / 2, 0.2) - side
    if symbol_y < 0:
        return None
    return _stacked(sheet, symbol_y, side, dots, length)


def _alone(sheet: Sheet, length: int) -> CupLayout:
    found = _stacked(sheet, sheet.height - _EDGE, 0.0, 0, length)
    if found is None:
        raise ValueError(
            f"The label is too small: {sheet.width:g} × {sheet.height:g} mm has no room for a code "
            f"with digits of {LEAST_DIGITS:g} mm. Choose a larger label."
        )
    return found


def _stacked(sheet: Sheet, foot: float, side: float, dots: int, length: int) -> CupLayout | None:
    """Code and small line above the line `foot`."""

    def top_at(size: float) -> float:
        if not dots:
            return (sheet.height - _block(size)) / 2
        free = foot - _block(size)
        return free if sheet.round else free / 2

    def fits(size: float) -> bool:
        top = top_at(size)
        return top >= _EDGE and code_width(size, length) <= _room_at(sheet, top)

    size = _largest(fits)
    if size is None:
        return None
    top = top_at(size)
    middle = sheet.width / 2
    small = top + _block(size) - 0.3
    return CupLayout(
        size,
        middle,
        top + size * DIGIT_HEIGHT,
        dots,
        middle - side / 2,
        foot,
        side,
        middle,
        small,
        min(_room_at(sheet, small - _SMALL), _room_at(sheet, small)),
    )


def _room_at(sheet: Sheet, y: float) -> float:
    """Width inside the cut at height `y` from the label's top."""
    if not sheet.round:
        return sheet.width - 2 * _EDGE
    away = abs(y - sheet.height / 2)
    if away >= sheet.height / 2 - _EDGE:
        return 0.0
    return 2 * _half_chord(sheet, away, _EDGE) * sheet.width / sheet.height


def _half_chord(sheet: Sheet, away: float, edge: float) -> float:
    """Half the chord `away` from the middle of the circle of the label's height, `edge` inside the cut."""
    radius = sheet.height / 2 - edge
    return math.sqrt(max(radius**2 - away**2, 0.0))
