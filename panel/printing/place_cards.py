"""What stands at a taster's place and on the wall: tray maps, join cards, the poster."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from panel.printing import cup_layout, lettering, symbols
from panel.printing.page import REHEARSAL, Page, PrintedSheet, paper_size

_MARGIN = 15.0
_LARGEST_CIRCLE = 80.0  # mm
_CARDS = (2, 4)  # across, down


@dataclass(frozen=True, slots=True)
class TrayCup:
    """One cup on a tray; position : in the serving order, from 1; condition : "" where there is only one."""

    code: str
    position: int
    condition: str = ""


@dataclass(frozen=True, slots=True)
class TrayMap:
    """The cups of one place."""

    place: int
    cups: tuple[TrayCup, ...]


@dataclass(frozen=True, slots=True)
class JoinCard:
    """The way to a place. address : what the symbol holds; typed_address, code : for those who type."""

    place: int
    address: str
    typed_address: str
    code: str


def tray_maps(
    maps: Sequence[TrayMap],
    *,
    cup_diameter_mm: float | None = None,
    rehearsal: bool = False,
    paper: str = "A4",
) -> PrintedSheet:
    """One page a place, lying: a circle for each cup in serving order, row by row, with its code.

    cup_diameter_mm : circles have that size where the paper has room; a warning where it has not
    Raises ValueError for no maps or a place without cups.
    """
    if not maps or not all(one.cups for one in maps):
        raise ValueError("A tray map needs at least one place, and each place at least one cup.")
    high, wide = paper_size(paper)
    page = Page((wide, high), "Tray maps")
    warnings: tuple[str, ...] = ()
    for one in maps:
        if rehearsal:
            page.watermark()
        diameter = _draw_tray(page, one, cup_diameter_mm)
        if cup_diameter_mm is not None and diameter < cup_diameter_mm:
            warnings = (
                f"Cups of {cup_diameter_mm:g} mm do not all fit on the paper: circles are drawn smaller, "
                "and show the order only.",
            )
        page.next_page()
    return page.finish(warnings)


def _draw_tray(page: Page, tray: TrayMap, cup: float | None) -> float:
    """Draw one map; the circles' diameter in mm."""
    top, foot = 30.0, 12.0
    page.text(_MARGIN, 20, f"Place {tray.place}", 22, bold=True)
    words = "Cups in serving order: from left to right, row by row. Stand each cup on its code."
    page.fitted(page.width - _MARGIN, 20, words, 10, page.width - 2 * _MARGIN - 60, align="right")
    page.rule(_MARGIN, 24, page.width - _MARGIN, 24)
    count = len(tray.cups)
    wide, high = page.width - 2 * _MARGIN, page.height - top - foot
    across = min(range(1, count + 1), key=lambda n: (-min(wide / n, high / math.ceil(count / n)), n))
    down = math.ceil(count / across)
    step_x, step_y = wide / across, high / down
    diameter = min(step_x - 6, step_y - 8, cup or _LARGEST_CIRCLE)
    ordered = sorted(tray.cups, key=lambda one: one.position)
    for index, one in enumerate(ordered):
        row, column = divmod(index, across)
        x, y = _MARGIN + (column + 0.5) * step_x, top + (row + 0.5) * step_y
        _draw_cup(page, one, x, y, diameter)
        if column + 1 < across and index + 1 < count:
            _arrow(page, x + diameter / 2 + 1, x + step_x - diameter / 2 - 1, y)
    return diameter


def _draw_cup(page: Page, cup: TrayCup, x: float, y: float, diameter: float) -> None:
    page.circle(x, y, diameter / 2, thick=0.3)
    size = min(diameter * 0.72 / cup_layout.code_width(1.0, len(cup.code)), 24.0)
    baseline = y + size * 0.3
    page.text(x, baseline, cup.code, size * mm, bold=True, align="middle", spacing=size * cup_layout.SPACING)
    half = cup_layout.code_width(size, len(cup.code)) / 2
    page.rule(x - half, baseline + size * 0.13, x + half, baseline + size * 0.13, thick=size * 0.06)
    page.fitted(x, y - diameter * 0.3, f"{cup.position}", min(12.0, diameter * 0.4), diameter, align="middle")
    if cup.condition:
        page.fitted(
            x, y + diameter * 0.35, cup.condition, min(9.0, diameter * 0.3), diameter * 0.6, align="middle"
        )


def _arrow(page: Page, start: float, end: float, y: float) -> None:
    if end - start > 1.5:
        page.rule(start, y, end, y, thick=0.2)
        page.rule(end - 1, y - 1, end, y, thick=0.2)
        page.rule(end - 1, y + 1, end, y, thick=0.2)


def join_cards(
    cards: Sequence[JoinCard], *, rehearsal: bool = False, paper: str = "A4", dpi: symbols.Dpi = 300
) -> PrintedSheet:
    """Eight cards a page, one a place, with cutting lines; cut and stack them in the order printed.

    Raises ValueError for no cards, or an address whose symbol does not fit the card.
    """
    if not cards:
        raise ValueError("There are no join cards to print.")
    page = Page(paper_size(paper), "Join cards")
    across, down = _CARDS
    wide, high = page.width / across, page.height / down
    for index, card in enumerate(cards):
        slot = index % (across * down)
        if slot == 0:
            if index:
                page.next_page()
            _cutting_lines(page, wide, high)
        row, column = divmod(slot, across)
        _draw_card(page, card, column * wide, row * high, (wide, high), dpi, rehearsal)
    page.next_page()
    return page.finish()


def _cutting_lines(page: Page, wide: float, high: float) -> None:
    across, down = _CARDS
    for column in range(1, across):
        page.rule(column * wide, 0, column * wide, page.height, dash=True)
    for row in range(1, down):
        page.rule(0, row * high, page.width, row * high, dash=True)


def _draw_card(
    page: Page,
    card: JoinCard,
    x: float,
    y: float,
    size: tuple[float, float],
    dpi: int,
    rehearsal: bool,
) -> None:
    wide, high = size
    symbols.draw_within(page, card.address, x + 4, y + (high - 42) / 2, 42, dpi)
    left, room = x + 48, wide - 48 - 6
    page.text(left, y + 17, "Place", 10)
    number = str(card.place)
    page.text(left, y + 31, number, lettering.fitted(number, 36, room * mm, bold=True), bold=True)
    page.fitted(left, y + 39, "Scan with your phone’s camera.", 9, room)
    page.fitted(left, y + 46, "Or open", 8, room)
    page.fitted(left, y + 50, card.typed_address, 9, room, bold=True)
    page.fitted(left, y + 54.5, "and type your place code", 8, room)
    page.fitted(left, y + 61.5, card.code, 15, room, bold=True)
    if rehearsal:
        page.text(left + room, y + 12, REHEARSAL, 8, bold=True, align="right")


def sitting_poster(
    heading: str,
    address: str,
    typed_address: str,
    *,
    network: str = "",
    rehearsal: bool = False,
    paper: str = "A4",
) -> PrintedSheet:
    """The way into a sitting, for a wall: a symbol to be read from across a table.

    network : name of the wireless network to join first, "" to leave that out
    Raises ValueError for an address that no symbol can hold.
    """
    page = Page(paper_size(paper), "Sitting poster")
    if rehearsal:
        page.watermark()
    middle, room = page.width / 2, page.width - 2 * _MARGIN
    page.fitted(middle, 32, heading, 30, room, bold=True, align="middle")
    page.fitted(middle, 46, "Scan with your phone’s camera to take part.", 17, room, align="middle")
    side = 150.0
    symbols.draw_within(page, address, middle - side / 2, 55, side)
    page.text(middle, 219, "Or open this address in any browser:", 13, align="middle")
    page.fitted(middle, 232, typed_address, 24, room, bold=True, align="middle")
    if network:
        page.rule(_MARGIN, 243, page.width - _MARGIN, 243)
        page.fitted(middle, 253, f"First join the wireless network “{network}”.", 14, room, align="middle")
    page.next_page()
    return page.finish(lettering.doubts([heading, network]))
