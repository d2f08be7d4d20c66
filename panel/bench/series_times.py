"""Times of a pasted series as minutes: plain numbers, elapsed times, times of day and dates."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

_PER_MINUTE = {"s": 1 / 60, "min": 1.0, "h": 60.0, "": 1.0}
_NUMBER = re.compile(r"([-−+]?\d*[.,]?\d+)\s*(s|sec|seconds?|m|min|minutes?|h|hours?)?\.?", re.IGNORECASE)
_CLOCK = re.compile(r"(\d{1,3}):(\d\d)(?::(\d\d)([.,]\d+)?)?\s*([ap]\.?m\.?)?", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})[T ]\s*(.+?)(?:Z|[+-]\d\d:?\d\d)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([./-])(\d{1,2})[./-](\d{2}|\d{4})[T ]\s*(.+)")
_DAY = 1440.0
# A clock that falls from this late to this early has passed midnight.
_LATE, _EARLY = 18 * 60.0, 6 * 60.0


@dataclass(frozen=True, slots=True)
class Times:
    """Minutes, one per line, None where a line was not understood; problems with their lines; notes."""

    minutes: tuple[float | None, ...]
    problems: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = ()


def read_times(cells: Sequence[tuple[int, str]], unit: str) -> Times:
    """Times as minutes.

    cells : line number and text; unit : of plain numbers, or the shape of clock times, as the heading says, "" if not
    Dates and times of day count from the first line; elapsed times, which begin below one hour, from zero.
    """
    texts = [text.strip() for _, text in cells]
    if any(_YEAR_FIRST.fullmatch(text) or _YEAR_LAST.fullmatch(text) for text in texts):
        return _dated(cells)
    if any(":" in text for text in texts):
        return _clocks(cells, unit)
    return _plain(cells, unit)


def _plain(cells: Sequence[tuple[int, str]], unit: str) -> Times:
    minutes: list[float | None] = []
    problems = []
    for line, text in cells:
        found = _NUMBER.fullmatch(text.strip())
        if found is None:
            problems.append(
                (line, f"“{text[:40]}” is no time. Write minutes, or a clock time such as 14:05:00.")
            )
            minutes.append(None)
            continue
        own = {"s": "s", "m": "min", "h": "h"}.get((found[2] or "")[:1].casefold(), unit)
        minutes.append(
            _rounded(float(found[1].replace(",", ".").replace("−", "-")) * _PER_MINUTE.get(own, 1.0))
        )
    said = {"s": "seconds", "h": "hours"}.get(unit)
    return Times(tuple(minutes), tuple(problems), (f"Times are taken as {said}.",) if said else ())


def _clocks(cells: Sequence[tuple[int, str]], unit: str) -> Times:
    """Times such as 14:05, 14:05:30, 2:05 PM or 0:05:00 since the start."""
    found = [_CLOCK.fullmatch(text.strip()) for _, text in cells]
    problems = [
        (line, f"“{text[:40]}” is no time. Write it like the others, such as 14:05:00.")
        for (line, text), match in zip(cells, found, strict=True)
        if match is None or int(match[2]) > 59 or int(match[3] or 0) > 59
    ]
    notes: list[str] = []
    shortest = any(match is not None and match[3] is None for match in found)
    seconds = shortest and (
        unit == "mm:ss" or any(m is not None and int(m[1]) > 23 and m[3] is None for m in found)
    )
    if shortest and unit not in ("h:mm", "mm:ss"):
        notes.append(
            "Times such as 25:30 were taken as minutes and seconds."
            if seconds
            else "Times such as 14:05 were taken as hours and minutes."
        )
    minutes = [None if match is None else _minutes(match, seconds) for match in found]
    afternoon = any(match is not None and match[5] for match in found)
    return _from_first(minutes, tuple(problems), notes, elapsed=seconds or not afternoon)


def _minutes(match: re.Match[str], seconds: bool) -> float:
    first, second = int(match[1]), int(match[2])
    if match[3] is None and seconds:
        return first + second / 60
    if match[5]:
        first = first % 12 + (12 if match[5].casefold().startswith("p") else 0)
    fraction = float((match[4] or ".0").replace(",", "."))
    return first * 60 + second + (int(match[3] or 0) + fraction) / 60


def _from_first(
    minutes: list[float | None], problems: tuple[tuple[int, str], ...], notes: list[str], *, elapsed: bool
) -> Times:
    known = [one for one in minutes if one is not None]
    first = known[0] if known else 0.0
    if elapsed and first < 60:
        notes.append("Times are taken as elapsed since the start.")
        first = 0.0
    else:
        notes.append("Times of day are counted from the first line.")
    out: list[float | None] = []
    days, last = 0, first
    for one in minutes:
        if one is not None and days == 0 and last >= _LATE and one <= _EARLY:
            days = 1
            notes.append("The series passes midnight.")
        last = last if one is None else one
        out.append(None if one is None else _rounded(one + days * _DAY - first))
    return Times(tuple(out), problems, tuple(notes))


def _dated(cells: Sequence[tuple[int, str]]) -> Times:
    """Dates with a time of day. Which of 03/04/2026 is the month matters only from one day to the next."""
    from datetime import date

    minutes: list[float | None] = []
    problems: list[tuple[int, str]] = []
    american = any(
        (m := _YEAR_LAST.fullmatch(text.strip())) and m[2] == "/" and int(m[3]) > 12 for _, text in cells
    )
    slashed: set[str] = set()
    for line, text in cells:
        try:
            if match := _YEAR_FIRST.fullmatch(text.strip()):
                day, clock = date(int(match[1]), int(match[2]), int(match[3])), match[4]
            elif match := _YEAR_LAST.fullmatch(text.strip()):
                one, two, year = int(match[1]), int(match[3]), int(match[4])
                slashed.add(f"{one}/{two}" if match[2] == "/" else "")
                month, number = (one, two) if american else (two, one)
                day, clock = date(year + (2000 if year < 100 else 0), month, number), match[5]
            else:
                raise ValueError
            time = _CLOCK.fullmatch(clock.strip())
            if time is None or int(time[1]) > 23 or int(time[2]) > 59:
                raise ValueError
            minutes.append(day.toordinal() * _DAY + _minutes(time, False))
        except ValueError:
            problems.append((line, f"“{text[:40]}” is no date and time. Write it like 2026-11-26 14:05:00."))
            minutes.append(None)
    if len(slashed - {""}) > 1 and not american and not problems:
        days = " and ".join(sorted(slashed - {""})[:2])
        problems.append((cells[0][0], f"{days} may be read in two ways. Write dates as year-month-day."))
    known = [one for one in minutes if one is not None]
    first = known[0] if known else 0.0
    counted = tuple(None if one is None else _rounded(one - first) for one in minutes)
    return Times(counted, tuple(problems), ("Times are counted from the first line.",))


def _rounded(minutes: float) -> float:
    """To a millisecond, which is all that dates in floating point hold."""
    return round(minutes * 60_000) / 60_000
