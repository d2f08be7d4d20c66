"""A page to print before labels are wasted: is the scale right, and where do the labels lie?"""

from __future__ import annotations

from reportlab.lib.units import mm

from panel.printing.page import Page, PrintedSheet
from panel.printing.sheets import Sheet

_LONGEST = 150.0  # mm


def ruler_page(sheet: Sheet, *, shift: tuple[float, float] = (0.0, 0.0)) -> PrintedSheet:
    """Outlines of all labels of `sheet`, and two rulers to measure. Print on plain paper, hold against the sheet.

    shift : mm to the right and down, as for the labels
    """
    page = Page((sheet.page_width, sheet.page_height), "Ruler page")
    for index in range(sheet.per_page):
        x, y = sheet.corner(index)
        x, y = x + shift[0], y + shift[1]
        if sheet.round and sheet.width == sheet.height:
            page.circle(x + sheet.width / 2, y + sheet.height / 2, sheet.width / 2)
        else:
            page.box(x, y, sheet.width, sheet.height)
        page.text(x + sheet.width / 2, y + 4.5, str(index + 1), 8, align="middle", grey=0.35)
    _rulers(page, sheet)
    page.next_page()
    return page.finish()


def ruler_length(sheet: Sheet) -> float:
    """Length of the ruler across in mm: the longest whole centimetre that the paper has room for, 150 at most."""
    return min(_LONGEST, (sheet.page_width - 16) // 10 * 10)


def _rulers(page: Page, sheet: Sheet) -> None:
    length = ruler_length(sheet)
    if length < 10:
        return
    left, middle = (sheet.page_width - length) / 2, sheet.page_height / 2
    page.rule(left, middle, left + length, middle, thick=0.25)
    for step in range(int(length) + 1):
        tick = 4.0 if step % 10 == 0 else 2.5 if step % 5 == 0 else 1.5
        page.rule(left + step, middle, left + step, middle - tick, thick=0.15)
    page.canvas.setFillGray(1)
    page.canvas.rect(
        left * mm, (sheet.page_height - middle - 5.5) * mm, length * mm, 5 * mm, stroke=0, fill=1
    )
    page.fitted(
        sheet.page_width / 2,
        middle + 4,
        f"This line is {length:.0f} mm long. If not: print at 100 %, without “fit to page”.",
        8,
        length,
        align="middle",
    )
    tall = min(_LONGEST, (sheet.page_height / 2 - 16) // 10 * 10)
    if tall >= 10:
        foot = middle + 10 + tall
        page.rule(left, middle + 10, left, foot, thick=0.25)
        for step in range(0, int(tall) + 1, 10):
            page.rule(left, foot - step, left + 4, foot - step, thick=0.15)
        page.fitted(left + 6, middle + 13, f"{tall:.0f} mm down", 8, sheet.page_width - left - 8)
