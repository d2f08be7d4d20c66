"""What a read file is: cells as text, what was assumed on the way, and what was wrong with it."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, field

LIMIT_BYTES = 10_000_000
LIMIT_ROWS = 200_000
LIMIT_COLUMNS = 1_000

# Cells that people leave where there is no number. In a column of names they are names.
MISSING_WORDS = frozenset({"", "na", "n/a", "nan", "null", "none", ".", "-", "–", "—", "?", "missing"})
_POINT = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(\d+(,\d*)?|,\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that keeps a table from being analysed, as a sentence.

    row : counted from 1 with the headings as row 1 (in text files the line where it starts); None for the
        whole table
    column : heading of the column; None where no single column is meant
    """

    row: int | None
    column: str | None
    text: str

    def __str__(self) -> str:
        return self.text

    def to_dict(self) -> dict[str, int | str | None]:
        return {"row": self.row, "column": self.column, "text": self.text}


class UnreadableTable(ValueError):  # noqa: N818 - named after what it is about, as it is told to people
    """A file that is no table; carries the problem as a sentence."""

    def __init__(self, text: str, row: int | None = None, column: str | None = None) -> None:
        super().__init__(text)
        self.problem = Problem(row, column, text)


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as it stands in the file: every cell text, stripped of surrounding space.

    rows : one tuple per line, as wide as `columns`; lines without any content are left out
    lines : the line of the file where each row stands (headings count)
    decimal : "." or ",", as found in the cells
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    decimal: str = "."
    assumptions: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = field(default=())

    def column(self, name: str) -> list[str]:
        """The cells of one column, in file order."""
        at = self.columns.index(name)
        return [row[at] for row in self.rows]


def clean(cell: str) -> str:
    """A cell without surrounding white space, invisible marks or competing forms of one accent."""
    return unicodedata.normalize("NFC", cell.replace("\ufeff", "").replace("\u200b", "")).strip()


def is_missing(cell: str) -> bool:
    """Whether a cell of a number column says that there is no number."""
    return cell.casefold() in MISSING_WORDS


def number(cell: str, decimal: str = ".") -> float | None:
    """The number in a cell, or None where it holds none. Never infinite."""
    text = cell.replace("\u2212", "-").replace("\u00a0", "")
    pattern = _COMMA if decimal == "," else _POINT
    if not pattern.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else None


def decimal_mark(rows: list[list[str]]) -> tuple[str, str | None]:
    """The decimal mark that the cells use, and what to say about it (None for plain points)."""
    comma = point = None
    for row in rows:
        for cell in row:
            if "," in cell and comma is None and _COMMA.fullmatch(cell.replace("\u2212", "-")):
                comma = cell
            elif "." in cell and point is None and _POINT.fullmatch(cell.replace("\u2212", "-")):
                point = cell
    if comma is None:
        return ".", None
    if point is None:
        return ",", f'The comma is read as the decimal mark: "{comma}" is {comma.replace(",", ".")}.'
    return ".", (
        f'The point is read as the decimal mark, since cells such as "{point}" have one; '
        f'"{comma}" is therefore not a number.'
    )
