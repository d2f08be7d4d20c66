"""Bytes of a text file -> lines of cells: which encoding, which separator, and saying so."""

from __future__ import annotations

import codecs
import csv
import io

from panel.analysis.table import LIMIT_COLUMNS, LIMIT_ROWS, UnreadableTable

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", None),
    (codecs.BOM_UTF32_LE, "utf-32", "The file is read as UTF-32."),
    (codecs.BOM_UTF32_BE, "utf-32", "The file is read as UTF-32."),
    (codecs.BOM_UTF16_LE, "utf-16", "The file is read as UTF-16."),
    (codecs.BOM_UTF16_BE, "utf-16", "The file is read as UTF-16."),
)
_KNOWN_BINARIES = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet (.xls)"),
    (b"PK", "a compressed archive"),
)
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}
_SAVE_AS = "Save the table as CSV or XLSX and try again."


def decode(data: bytes) -> tuple[str, list[str]]:
    """The text of a file and what was assumed about its encoding.

    Byte-order marks decide; else UTF-16 shows by its zero bytes, UTF-8 by being valid, and what is left
    is read as Latin-1 in the form that spreadsheets write (Windows-1252). UnreadableTable for binaries.
    """
    for mark, codec, said in _MARKS:
        if data.startswith(mark):
            return _decoded(data, codec), [said] if said else []
    for magic, what in _KNOWN_BINARIES:
        if data.startswith(magic):
            raise UnreadableTable(f"The file is {what}, not a table of scores. {_SAVE_AS}")
    wide = _unmarked_utf16(data)
    if wide is not None:
        return _decoded(data, wide), ["The file has no encoding mark and is read as UTF-16."]
    if b"\x00" in data:
        raise UnreadableTable(f"The file holds binary data, not a table. {_SAVE_AS}")
    try:
        return _printable(data.decode("utf-8")), []
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
        if text.count("\ufffd") > 0:
            text = data.decode("latin-1")
        said = "The file is not valid UTF-8 and is read as Latin-1 (Windows-1252): check accented names."
        return _printable(text), [said]


def _decoded(data: bytes, codec: str) -> str:
    try:
        return _printable(data.decode(codec))
    except UnicodeDecodeError as error:
        text = f"The file says it is {codec.upper()}, but byte {error.start} breaks that. {_SAVE_AS}"
        raise UnreadableTable(text) from error


def _unmarked_utf16(data: bytes) -> str | None:
    head = data[:2000]
    if len(head) < 4 or len(data) % 2:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) / 2
    if odd > 0.6 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.6 * half and odd < 0.1 * half:
        return "utf-16-be"
    return None


def _printable(text: str) -> str:
    head = text[:20_000]
    strange = sum(1 for letter in head if (ord(letter) < 32 and letter not in "\t\r\n\f") or letter == "\x7f")
    odd = sum(1 for letter in head if 0x80 <= ord(letter) < 0xA0)
    if strange > 0.001 * len(head) + 1 or odd > 0.05 * len(head) + 1:
        raise UnreadableTable(f"The file holds binary data, not a table. {_SAVE_AS}")
    return text


def cells(text: str) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Numbered lines of cells and what was assumed about the separator. Blank lines are left out."""
    separator = _separator(text)
    rows: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator or ",", strict=True)
    try:
        previous = 0
        for row in reader:
            start, previous = previous + 1, reader.line_num
            if len(row) > LIMIT_COLUMNS:
                raise UnreadableTable(
                    f"Line {start} has {len(row)} cells; at most {LIMIT_COLUMNS} are read. "
                    "This does not look like a table of scores.",
                    row=start,
                )
            if any(cell.strip() for cell in row):
                rows.append((start, row))
            if len(rows) > LIMIT_ROWS:
                raise UnreadableTable(f"The table has more than {LIMIT_ROWS:,} rows, the most that are read.")
    except csv.Error as error:
        text = (
            f"Line {reader.line_num}: the quotation marks do not close or a cell is far too long ({error})."
        )
        raise UnreadableTable(text, row=reader.line_num) from error
    said = separator and separator != ","
    return rows, [f"Cells are separated by {_SEPARATORS[separator]}."] if said and separator else []


def _separator(text: str) -> str | None:
    """The separator whose columns are the most regular; None for a table of one column."""
    head = [line for line in text[:200_000].splitlines() if line.strip()][:200]
    best: tuple[float, int, str] | None = None
    for mark in _SEPARATORS:
        widths = _widths(head, mark)
        if not widths or widths[0] < 2:
            continue
        usual = max(set(widths[1:] or widths), key=(widths[1:] or widths).count)
        regular = sum(width == usual for width in widths[1:] or widths) / len(widths[1:] or widths)
        rank = (round(regular, 1), usual, mark)
        if usual > 1 and (best is None or rank[:2] > best[:2]):
            best = rank
    return best[2] if best else None


def _widths(lines: list[str], mark: str) -> list[int]:
    try:
        return [len(row) for row in csv.reader(lines, delimiter=mark) if row]
    except csv.Error:
        return []
