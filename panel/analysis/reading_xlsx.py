"""Bytes of an XLSX workbook -> lines of cells: the first sheet with content, values as they show."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from typing import Any

from panel.analysis.table import LIMIT_COLUMNS, LIMIT_ROWS, UnreadableTable

_UNPACKED_LIMIT = 100_000_000


def is_workbook(data: bytes) -> bool:
    """Whether the bytes are an XLSX workbook, whatever the file is called."""
    if not data.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return "xl/workbook.xml" in archive.namelist()
    except zipfile.BadZipFile:
        return False


def workbook_cells(data: bytes) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Numbered lines of cells of the first sheet that holds any, and what was assumed.

    Formulas give the value last saved. UnreadableTable where the workbook is damaged or unpacks to
    more than 100 MB.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > _UNPACKED_LIMIT:
            raise UnreadableTable("The workbook unpacks to more than 100 MB. Save only the table of scores.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of decoration that it does not keep
            return _first_sheet(data)
    except UnreadableTable:
        raise
    except Exception as error:  # openpyxl lets XML, ZIP, key and type errors of damaged files through
        raise UnreadableTable(f"The workbook is damaged ({error}). Save it again, or as CSV.") from error


def _first_sheet(data: bytes) -> tuple[list[tuple[int, list[str]]], list[str]]:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    try:
        names = [sheet.title for sheet in book.worksheets]
        for sheet in book.worksheets:
            rows = _rows(sheet)
            if rows:
                others = [name for name in names if name != sheet.title]
                said = f'The workbook has {len(names)} sheets; only "{sheet.title}" is read.'
                return rows, [said] if others else []
    finally:
        book.close()
    return [], []


def _rows(sheet: Any) -> list[tuple[int, list[str]]]:
    rows: list[tuple[int, list[str]]] = []
    width = 0
    for line, values in enumerate(sheet.iter_rows(values_only=True), start=1):
        cells = [_text(value) for value in values]
        while cells and not cells[-1].strip():
            cells.pop()
        if cells:
            rows.append((line, cells))
            width = max(width, len(cells))
        if len(rows) > LIMIT_ROWS or line > 1_048_576:
            raise UnreadableTable(f"The sheet has more than {LIMIT_ROWS:,} rows, the most that are read.")
        if width > LIMIT_COLUMNS:
            raise UnreadableTable(
                f"Line {line} has {width} cells; at most {LIMIT_COLUMNS} are read.", row=line
            )
    return [(line, cells + [""] * (width - len(cells))) for line, cells in rows]


def _text(value: Any) -> str:
    """A cell as text: 101.0 is "101", a date is ISO 8601, text stays as it is."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat()
    return str(value)
