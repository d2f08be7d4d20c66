"""Labels for cups: the code first, a symbol for the taster's phone, place and position in small type."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from panel.printing import cup_layout, symbols
from panel.printing.cup_layout import CupLayout
from panel.printing.page import REHEARSAL, Page, PrintedSheet
from panel.printing.sheets import Sheet

_FOOTER_MARGIN = 6.0  # mm of free paper that a footer needs


@dataclass(frozen=True, slots=True)
class CupLabel:
    """One cup. code : its digits; address : what the symbol holds, in capitals; place : row of the design.

    position : the cup's place in the serving order, from 1
    """

    code: str
    address: str
    place: int
    position: int


def cup_labels(
    labels: Sequence[CupLabel],
    sheet: Sheet,
    *,
    start_at: int = 1,
    shift: tuple[float, float] = (0.0, 0.0),
    cup_diameter_mm: float | None = None,
    footer_commitment: str = "",
    rehearsal: bool = False,
    dpi: symbols.Dpi = 300,
    outline: bool = False,
) -> PrintedSheet:
    """Labels in the order given, which must be tray order: an order by sample would tell.

    start_at : first free label of a part-used sheet, from 1
    shift : mm to the right and down, for a printer that drifts
    cup_diameter_mm : warns where the symbol is wider than a third of the cup; None when unknown
    footer_commitment : its first 16 characters are printed in the margin, where the sheet has one
    dpi : the printer's dots an inch; 300 is right for 600 and 1200 too
    outline : a hairline around each label, for a check on plain paper
    Raises ValueError for no labels, a start or code that cannot be, a label too small for its code.
    """
    _check(labels, sheet, start_at)
    drawn = {label.address: symbols.symbol_for(label.address) for label in labels}
    modules = max(symbol.across for symbol in drawn.values())
    layout = cup_layout.layout_for(
        sheet, modules, dpi, cup_diameter_mm, max(len(label.code) for label in labels)
    )
    page = Page((sheet.page_width, sheet.page_height), "Cup labels")
    for index, label in enumerate(labels, start=start_at - 1):
        slot = index % sheet.per_page
        if slot == 0 and index >= sheet.per_page and index > start_at - 1:
            page.next_page()
        if slot == 0 or index == start_at - 1:
            _footer(page, sheet, footer_commitment, rehearsal)
        x, y = sheet.corner(slot)
        corner = (x + shift[0], y + shift[1])
        _draw_label(page, label, drawn[label.address], layout, corner, dpi, rehearsal)
        if outline:
            _outline(page, sheet, corner)
    page.next_page()
    return page.finish(_warnings(sheet, layout, labels, modules, dpi, cup_diameter_mm, shift))


def _check(labels: Sequence[CupLabel], sheet: Sheet, start_at: int) -> None:
    if not labels:
        raise ValueError("There are no labels to print.")
    if not 1 <= start_at <= sheet.per_page:
        raise ValueError(f"The first free label must be between 1 and {sheet.per_page}; got {start_at}.")
    for label in labels:
        if not (label.code.isascii() and label.code.isdigit() and 2 <= len(label.code) <= 5):
            raise ValueError(f"A cup's code must be two to five digits; got {label.code!r}.")


def _draw_label(
    page: Page,
    label: CupLabel,
    symbol: symbols.Symbol,
    layout: CupLayout,
    corner: tuple[float, float],
    dpi: int,
    rehearsal: bool,
) -> None:
    x, y = corner
    if layout.dots:
        inset = (layout.symbol_side - symbols.dots_to_mm(layout.dots * symbol.across, dpi)) / 2
        symbols.draw(page, symbol, x + layout.symbol_x + inset, y + layout.symbol_y + inset, layout.dots, dpi)
    size = layout.type_size
    page.text(
        x + layout.middle,
        y + layout.baseline,
        label.code,
        size * mm,
        bold=True,
        align="middle",
        spacing=size * cup_layout.SPACING,
    )
    half = cup_layout.code_width(size, len(label.code)) / 2
    line = y + layout.underline
    page.rule(x + layout.middle - half, line, x + layout.middle + half, line, thick=size * 0.06)
    small = f"place {label.place} · cup {label.position}"
    page.fitted(
        x + layout.small_middle,
        y + layout.small_baseline,
        f"{REHEARSAL} · {small}" if rehearsal else small,
        7 if not rehearsal else 6,
        layout.small_room,
        bold=rehearsal,
        align="middle",
    )


def _footer(page: Page, sheet: Sheet, commitment: str, rehearsal: bool) -> None:
    """The start of the commitment in the margin below the labels, or else above them."""
    words = [REHEARSAL if rehearsal else "", f"seal {commitment[:16]}" if commitment else ""]
    text = " · ".join(word for word in words if word)
    below = sheet.page_height - (sheet.top + (sheet.down - 1) * sheet.pitch_down + sheet.height)
    if text and below >= _FOOTER_MARGIN:
        page.text(sheet.page_width / 2, sheet.page_height - below / 2 + 1, text, 7, align="middle")
    elif text and sheet.top >= _FOOTER_MARGIN:
        page.text(sheet.page_width / 2, sheet.top / 2 + 1, text, 7, align="middle")


def _outline(page: Page, sheet: Sheet, corner: tuple[float, float]) -> None:
    if sheet.round and sheet.width == sheet.height:
        page.circle(corner[0] + sheet.width / 2, corner[1] + sheet.height / 2, sheet.width / 2)
    else:
        page.box(*corner, sheet.width, sheet.height)


def _warnings(
    sheet: Sheet,
    layout: CupLayout,
    labels: Sequence[CupLabel],
    modules: int,
    dpi: int,
    cup: float | None,
    shift: tuple[float, float],
) -> tuple[str, ...]:
    found = []
    needed = symbols.dots_to_mm(symbols.module_dots(symbols.SMALLEST_MODULE, dpi) * modules, dpi)
    if not layout.dots:
        found.append(
            f"The QR symbol needs {needed:.1f} mm and does not fit a label of {sheet.width:g} × {sheet.height:g} mm "
            "beside the code. Labels carry the code alone; tasters tap or type it."
        )
    elif cup is not None and layout.symbol_side > cup / 3:
        found.append(
            f"The QR symbol is {layout.symbol_side:.1f} mm wide, more than a third of a cup of {cup:g} mm: "
            "it bends away at the sides and phones may miss it. Stick the label on the tray, a coaster or the lid."
        )
    if not all(symbols.is_compact(label.address) for label in labels):
        found.append(
            "The address has small letters or signs that make the QR symbol larger. "
            "A base address of capitals, digits, dots and hyphens keeps it small."
        )
    if layout.digits < 6:
        found.append(
            f"Digits are only {layout.digits:.1f} mm tall and hard to read at arm's length. Use a larger label."
        )
    if any(abs(one) > 5 for one in shift):
        found.append("The print is shifted by more than 5 mm: check the sheet's margins instead.")
    return tuple(found)
