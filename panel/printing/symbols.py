"""QR symbols as rectangles of whole printer dots.

ISO/IEC 18004: four modules of quiet zone, error correction level Q (a quarter of the symbol may be lost),
alphanumeric mode for capitals. At least half a millimetre a module: judgement between published minima of
0.4 mm in the hand and 0.75 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import qrcode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData
from reportlab.lib.units import inch, mm

from panel.printing.page import Page

QUIET_ZONE = 4  # modules on each side
SMALLEST_MODULE = 0.5  # mm
ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
DPI = (203, 300, 600)
Dpi = Literal[203, 300, 600]


@dataclass(frozen=True, slots=True)
class Symbol:
    """One QR symbol.

    version : 1 to 40; modules : rows of dark (True) and light, without quiet zone
    """

    version: int
    modules: tuple[tuple[bool, ...], ...]

    @property
    def across(self) -> int:
        """Modules on a side, quiet zones included."""
        return len(self.modules) + 2 * QUIET_ZONE

    def rectangles(self) -> list[tuple[int, int, int, int]]:
        """Dark areas as (column, row, width, height): equal runs in rows that follow each other are one."""
        done: list[tuple[int, int, int, int]] = []
        growing: dict[tuple[int, int], tuple[int, int]] = {}
        for row, line in enumerate(self.modules):
            found = set(_dark_runs(line))
            for run in [run for run in growing if run not in found]:
                top, high = growing.pop(run)
                done.append((run[0], top, run[1], high))
            for run in found:
                top, high = growing.get(run, (row, 0))
                growing[run] = (top, high + 1)
        done += [(run[0], top, run[1], high) for run, (top, high) in growing.items()]
        return sorted(done, key=lambda dark: (dark[1], dark[0]))


def _dark_runs(line: tuple[bool, ...]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for column, dark in enumerate(line):
        if dark and found and sum(found[-1]) == column:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        elif dark:
            found.append((column, 1))
    return found


def symbol_for(address: str) -> Symbol:
    """The smallest level Q symbol that holds `address`; ValueError where it is empty, not ASCII or has blanks."""
    if not address or not address.isascii() or any(character.isspace() for character in address):
        raise ValueError(
            f"address must be plain ASCII without blanks to go into a QR symbol; got {address!r}"
        )
    mode = MODE_ALPHA_NUM if is_compact(address) else MODE_8BIT_BYTE
    code = qrcode.QRCode(error_correction=qrcode.ERROR_CORRECT_Q, border=0)
    code.add_data(QRData(address, mode=mode))
    code.make(fit=True)
    return Symbol(int(code.version), tuple(tuple(map(bool, row)) for row in code.get_matrix()))


def is_compact(address: str) -> bool:
    """Whether every character belongs to the alphanumeric mode, which makes the symbol smaller."""
    return set(address) <= ALPHANUMERIC


def module_dots(module: float, dpi: int) -> int:
    """The fewest whole printer dots that make a module of at least `module` mm; ValueError for another dpi."""
    if dpi not in DPI:
        raise ValueError(f"dpi must be one of {', '.join(map(str, DPI))}; got {dpi}")
    return math.ceil(module * dpi / 25.4 - 1e-9)


def dots_to_mm(dots: float, dpi: int) -> float:
    """Length in mm of so many printer dots."""
    return dots * 25.4 / dpi


def draw(page: Page, symbol: Symbol, x: float, y: float, dots: int, dpi: int) -> None:
    """Draw `symbol`, `dots` printer dots a module, its quiet zone's top left corner at the whole dot nearest (x, y).

    One path is filled in one go: areas that touch show no seam on a screen or in a raster.
    """
    dot = inch / dpi
    left = round(x * mm / dot) + QUIET_ZONE * dots
    top = round(y * mm / dot) + QUIET_ZONE * dots
    path = page.canvas.beginPath()
    for column, row, wide, high in symbol.rectangles():
        bottom = top + (row + high) * dots
        path.rect(
            (left + column * dots) * dot,
            page.height * mm - bottom * dot,
            wide * dots * dot,
            high * dots * dot,
        )
    page.canvas.setFillGray(0)
    page.canvas.drawPath(path, stroke=0, fill=1)


def draw_within(page: Page, address: str, x: float, y: float, side: float, dpi: int = 600) -> None:
    """Draw the QR of `address` as large as whole dots allow in a white square of `side` mm, centred.

    ValueError where a module would be smaller than half a millimetre.
    """
    symbol = symbol_for(address)
    dots = int(side / dots_to_mm(symbol.across, dpi))
    if dots < module_dots(SMALLEST_MODULE, dpi):
        least = dots_to_mm(module_dots(SMALLEST_MODULE, dpi) * symbol.across, dpi)
        raise ValueError(
            f"address {address!r} needs a QR symbol of {least:.1f} mm; there are only {side:.1f} mm"
        )
    page.canvas.setFillGray(1)
    page.canvas.rect(x * mm, (page.height - y - side) * mm, side * mm, side * mm, stroke=0, fill=1)
    spare = (side - dots_to_mm(symbol.across * dots, dpi)) / 2
    draw(page, symbol, x + spare, y + spare, dots, dpi)
