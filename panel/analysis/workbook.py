"""The tables of a study as one workbook: a sheet for each table and one for the dictionary."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

LONGEST_CELL = 32_767  # characters that the format allows (ECMA-376, and its implementations)
WIDEST = 60
# What the format cannot hold; a tab, a line's end and a return it can.
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def workbook(tables: Mapping[str, str]) -> bytes:
    """An XLSX file with a sheet for each table.

    tables : name of the sheet -> CSV text with a heading line. What reads as a number is one; the rest is text, and
    no cell is a formula.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.active)
    for name, text in tables.items():
        sheet = book.create_sheet(name)
        widths: dict[int, int] = {}
        for number, row in enumerate(csv.reader(io.StringIO(text)), start=1):
            for place, cell in enumerate(row, start=1):
                written = sheet.cell(number, place)
                _put(written, cell, heading=number == 1)
                if number == 1:
                    written.font = Font(bold=True)
                written.alignment = Alignment(vertical="top", wrap_text=len(cell) > WIDEST)
                widths[place] = min(WIDEST, max(widths.get(place, 8), len(cell) + 2))
        for place, width in widths.items():
            sheet.column_dimensions[get_column_letter(place)].width = width
        sheet.freeze_panes = "A2"
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def _number(cell: str) -> int | float | None:
    """The number that the cell is, where it would be written back the same; a lot "0012" is none."""
    if re.fullmatch(r"-?\d{1,15}", cell):
        return int(cell) if str(int(cell)) == cell else None
    if re.fullmatch(r"-?\d+\.\d+", cell):
        return float(cell) if str(float(cell)) == cell else None
    return None


def _put(written: Any, cell: str, *, heading: bool) -> None:
    number = None if heading else _number(cell)
    if number is not None:
        written.value = number
        return
    written.value = _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", cell)[:LONGEST_CELL] or None
    if cell:
        written.data_type = "s"  # a text that begins with an equals sign stays a text
