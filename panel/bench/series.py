"""A logger's series as people paste, type or export it: times and values, or problems with their line numbers.

Headings, separators, decimal commas, clock times and units are recognised; what can be read in two ways is a problem
or is said in a note, never guessed in silence.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.bench.series_columns import Columns, columns_of, heading_of
from panel.bench.series_times import Times, read_times
from panel.bench.units import GREATEST, convert
from panel.study.quantities import QUANTITIES
from stats.phrasing import count

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_LINES = 20_000
MOST_PROBLEMS = 20
_MISSING = {"", "-", "--", "---", "–", "na", "n/a", "nan", "null", "none", "err", "error", "ol", "open"}
_VALUE = re.compile(r"([-−+]?\d*[.,]?\d+)\s*(°\s*[CF]|℃|℉|[CF]|deg\s*[CF])?", re.IGNORECASE)
_ABSOLUTE_ZERO = -273.15
_TOGETHER = "\\1\u00a0\\2"


@dataclass(frozen=True, slots=True)
class SeriesProblem:
    """What is wrong in one line, counted from 1; line 0 is the whole text."""

    line: int
    text: str


@dataclass(frozen=True, slots=True)
class SeriesRead:
    """A series as read.

    readings : (minutes, value in the quantity's first unit), rising in time; () where there are problems
    ambient : mean of the room's column where there was one, in the same unit
    notes : how it was taken, and what was left out
    """

    readings: tuple[tuple[float, float], ...] = ()
    ambient: float | None = None
    problems: tuple[SeriesProblem, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Reading:
    """The work in progress: problems and notes gathered on the way."""

    unit: str
    first_unit: str
    problems: list[SeriesProblem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def wrong(self, line: int, text: str) -> None:
        self.problems.append(SeriesProblem(line, text))


def read_series(text: str, quantity: str, unit: str) -> SeriesRead:
    """Read a series.

    text : lines of a time and a value, with or without headings; several columns where headings name them
    quantity : id in QUANTITIES; unit : of values that name none, in the headings or beside the number

    Times are minutes, or as the heading says (s, min, h), or clock times and dates, counted from the first line; a
    time of day may pass midnight once. Values may have a decimal comma and a unit. A line without a value is left out
    and said. Problems: a line that is not understood, times that go back, two values for one time, several columns
    that may hold the values, more than 20,000 lines.
    """
    at = _Reading(unit, QUANTITIES[quantity].units[0])
    lines = [
        (number, line)
        for number, line in enumerate(
            unicodedata.normalize("NFC", text.lstrip("\ufeff")).splitlines(), start=1
        )
        if line.strip().strip(",;\t")
    ]
    if not lines:
        return SeriesRead(
            problems=(SeriesProblem(0, "Paste or type one line for each reading: time and value."),)
        )
    if len(lines) > MOST_LINES:
        said = f"The series has {len(lines)} lines; at most {MOST_LINES} are read. Export fewer readings."
        return SeriesRead(problems=(SeriesProblem(0, said),))
    rows = _cells(lines)
    heading = heading_of(rows)
    columns = columns_of(heading, rows)
    if isinstance(columns, str):
        return SeriesRead(problems=(SeriesProblem(rows[0][0], columns),))
    return _read_rows(at, rows[len(heading) :], columns)


def _cells(lines: Sequence[tuple[int, str]]) -> list[tuple[int, list[str]]]:
    """Each line's cells, by the separator that the lines share."""
    texts = [line for _, line in lines]
    separator = next((one for one in "\t;" if sum(one in text for text in texts) > len(texts) / 2), "")
    if separator:
        return [
            (n, [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]) for n, line in lines
        ]
    if (
        sum(bool(re.search(r",\s|,\"|[^\d],|,[^\d]|\d,\d+\.\d|\.\d+,\d|\d:\d\d,", text)) for text in texts)
        > len(texts) / 2
    ):
        return [
            (n, [cell.strip() for cell in next(csv.reader([line], skipinitialspace=True))])
            for n, line in lines
        ]
    if all(re.fullmatch(r"\s*\d+,\d+\s*", text) for text in texts[1:] or texts):
        return [(n, [cell.strip() for cell in line.split(",")]) for n, line in lines]
    return [(n, _by_spaces(line)) for n, line in lines]


def _by_spaces(line: str) -> list[str]:
    """Cells between spaces; a date, its time and AM or PM stay together, as do a number and its unit."""
    text = re.sub(r"(\d{1,4}[-./]\d{1,2}[-./]\d{1,4})[T ]+(\d{1,2}:)", _TOGETHER, line.strip())
    text = re.sub(r"(:\d\d) +([AaPp]\.?[Mm])", _TOGETHER, text)
    text = re.sub(r"(\d) +(°|℃|℉|deg|[CFcf]\b|min\b|s\b|h\b)", _TOGETHER, text)
    return [cell.replace("\u00a0", " ") for cell in re.split(r"[ \t]+", text)]


def _read_rows(at: _Reading, rows: Sequence[tuple[int, list[str]]], columns: Columns) -> SeriesRead:
    kept: list[tuple[int, str, float]] = []
    rooms: list[float] = []
    scales = _scales(at, columns.unit), _scales(at, columns.ambient_unit or columns.unit)
    missing = 0
    for line, cells in rows:
        if len(cells) <= max(columns.time, columns.value, columns.date or 0):
            at.wrong(line, f"“{' '.join(cells)[:40]}” has no value beside its time.")
            continue
        if cells[columns.value].casefold().strip() in _MISSING:
            missing += 1
            continue
        value = _value(at, line, cells[columns.value], scales[0])
        if value is not None:
            day = "" if columns.date is None else f"{cells[columns.date]} "
            kept.append((line, day + cells[columns.time], value))
        if columns.ambient is not None and len(cells) > columns.ambient:
            room = cells[columns.ambient]
            if room.casefold() not in _MISSING and (found := _value(at, line, room, scales[1])) is not None:
                rooms.append(found)
    if missing:
        at.notes.append(f"{count(missing, 'line')} without a value left out.")
    times = read_times([(line, cell) for line, cell, _ in kept], columns.time_unit)
    for line, said in times.problems:
        at.wrong(line, said)
    return _joined(at, kept, times, rooms)


def _joined(at: _Reading, kept: list[tuple[int, str, float]], times: Times, rooms: list[float]) -> SeriesRead:
    at.notes += times.notes
    readings: list[tuple[float, float]] = []
    twice = 0
    for (line, _, value), minutes in zip(kept, times.minutes, strict=False):
        if minutes is None:
            continue
        if readings and minutes < readings[-1][0]:
            at.wrong(line, "The time goes back. Sort the lines by time, or correct this one.")
        elif readings and minutes == readings[-1][0]:
            if abs(value - readings[-1][1]) > 1e-9:
                at.wrong(line, "This time stands here twice with different values. Keep one line.")
            twice += 1
        else:
            readings.append((minutes, value))
    if twice and not at.problems:
        at.notes.append(f"{count(twice, 'line')} repeated and left out.")
    if not at.problems and len(readings) < 2:
        at.wrong(0, f"A series needs two readings or more, but there {'is one' if readings else 'is none'}.")
    if at.problems:
        return SeriesRead(problems=_first_of(at.problems), notes=tuple(at.notes))
    room = float(f"{sum(rooms) / len(rooms):.12g}") if rooms else None
    return SeriesRead(tuple(readings), room, (), tuple(at.notes))


def _first_of(problems: list[SeriesProblem]) -> tuple[SeriesProblem, ...]:
    found = sorted(problems, key=lambda one: one.line)
    more = len(found) - MOST_PROBLEMS
    if more <= 0:
        return tuple(found)
    return (*found[:MOST_PROBLEMS], SeriesProblem(0, f"{more} more lines have problems."))


def _scales(at: _Reading, column_unit: str) -> dict[str, tuple[float, float]]:
    """Unit beside a number ("" for none) -> (zero, slope) into the first unit: converting each number is slow."""
    found = {}
    for word, unit in (("", column_unit or at.unit), ("c", "°C"), ("f", "°F")):
        zero = convert(0.0, unit, at.first_unit)
        found[word] = (zero, convert(1.0, unit, at.first_unit) - zero)
    return found


def _value(at: _Reading, line: int, cell: str, scales: dict[str, tuple[float, float]]) -> float | None:
    found = _VALUE.fullmatch(cell.strip())
    if found is None:
        at.wrong(line, f"“{cell[:40]}” is no number. Write it in digits, such as 92.5.")
        return None
    word = {"℃": "c", "℉": "f"}.get(found[2] or "", (found[2] or "").casefold()[-1:])
    zero, slope = scales[word]
    value = float(f"{zero + slope * float(found[1].replace(',', '.').replace('−', '-')):.12g}")
    if value < _ABSOLUTE_ZERO or value > GREATEST:
        at.wrong(line, f"“{cell[:40]}” is out of reach. Check the number and its unit.")
        return None
    return value
