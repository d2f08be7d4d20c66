"""Which column of a pasted series holds what: by its headings where there are any, else by what the cells look like."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.phrasing import listing

if TYPE_CHECKING:
    from collections.abc import Sequence

_TIME = re.compile(
    r"\b(time|elapsed|minutes?|mins?|seconds?|secs?|hours?|date|timestamp|zeit|t)\b", re.IGNORECASE
)
_DATE = re.compile(r"^\W*date\W*$", re.IGNORECASE)
_NUMBERING = re.compile(r"^(#|no\.?|nr\.?|n|index|record|sample|id|reading)$", re.IGNORECASE)
_ROOM = re.compile(r"\b(ambient|room|surroundings?|outside|air)\b", re.IGNORECASE)
_TEMPERATURE = re.compile(r"temp|°|℃|℉|value|probe|channel", re.IGNORECASE)
_UNIT = re.compile(
    r"(?:^|[(\[/,]|\bin\b|\s)\s*(°\s*[CF]|℃|℉|deg\s*[CF]|[CF]|celsius|fahrenheit)\s*[)\]]?\s*$", re.IGNORECASE
)
_TIME_UNIT = re.compile(r"\b(hours?|hrs?|h|minutes?|mins?|seconds?|secs?|s)\b(?!\s*[:])(?!:)", re.IGNORECASE)
_SHAPE = re.compile(r"(h{1,2}:mm:ss|h{1,2}:mm|m{1,2}:ss)", re.IGNORECASE)
_STARTS_WITH_NUMBER = re.compile(r"^[-−+]?\s*[\d.,]*\d")


@dataclass(frozen=True, slots=True)
class Columns:
    """Places of the columns, counted from 0; units are "" where no heading names one.

    time_unit : "s", "min", "h", "h:mm" or "mm:ss"; date : column of the days where the time stands beside it
    """

    time: int
    value: int
    ambient: int | None = None
    unit: str = ""
    ambient_unit: str = ""
    time_unit: str = ""
    date: int | None = None


def heading_of(rows: Sequence[tuple[int, list[str]]]) -> list[list[str]]:
    """The lines at the top before the first that starts with a number, at most five: the last holds the headings."""
    found = []
    for _, cells in rows[:5]:
        if any(_STARTS_WITH_NUMBER.match(cell) for cell in cells[:2]):
            break
        found.append(cells)
    return found


def columns_of(heading: Sequence[Sequence[str]], rows: Sequence[tuple[int, list[str]]]) -> Columns | str:
    """The columns, or a sentence where they cannot be told apart."""
    body = rows[len(heading) :]
    if not body:
        return "There are headings and no readings below them."
    width = max(len(cells) for _, cells in body)
    if width == 1 and all(re.fullmatch(r"\d+(,\d+){2,3}", cells[0]) for _, cells in body):
        return "Commas stand within the numbers and between them. Put a semicolon or a space between time and value."
    if width < 2:
        return "Each line needs a time and a value, with a space, a tab, a semicolon or a comma between."
    if not heading:
        return _bare(width, body)
    names = [*heading[-1], *[""] * width][:width]
    numbering = {place for place, name in enumerate(names) if _NUMBERING.match(name.strip())}
    if (date := _date_in(names)) is not None:
        numbering.add(date)
    times = [p for p, n in enumerate(names) if _TIME.search(n) and not _unit_in(n) and p not in numbering]
    if len(times) > 1:  # "min; T": the t of a temperature, not of a time
        times = [p for p in times if names[p].strip() not in ("T", "t")] or times
    rooms = [p for p, name in enumerate(names) if _ROOM.search(name) and p not in times]
    rest = [p for p in range(width) if p not in numbering and p not in times[:1] and p not in rooms]
    values = [p for p in rest if _TEMPERATURE.search(names[p]) and p not in times] or [
        p for p in rest if p not in times
    ]
    if not times:
        times = [p for p in range(width) if p not in numbering and p not in values[-1:] and p not in rooms][
            :1
        ]
        values = [p for p in values if p not in times]
    if not times or not values:
        return f"No column of time and value was found under the headings {listing([n for n in names if n])}."
    if len(values) > 1 or len(rooms) > 1:
        many = [f"“{names[p]}”" for p in (values if len(values) > 1 else rooms)]
        return f"The columns {listing(many)} may all hold the values. Keep one of them, and the time."
    return _named(names, times[0], values[0], rooms[0] if rooms else None, date)


def _named(names: Sequence[str], time: int, value: int, room: int | None, date: int | None) -> Columns:
    return Columns(
        time=time,
        value=value,
        ambient=room,
        unit=_unit_in(names[value]),
        ambient_unit="" if room is None else _unit_in(names[room]),
        time_unit=_time_unit_in(names[time]),
        date=date,
    )


def _bare(width: int, body: Sequence[tuple[int, list[str]]]) -> Columns | str:
    """Without headings: time and value; or a numbering 1, 2, 3 …, time and value."""
    if width == 2:
        return Columns(0, 1)
    numbers = [cells[0] for _, cells in body]
    rising = (
        numbers == [str(n) for n in range(int(numbers[0]), int(numbers[0]) + len(numbers))]
        if numbers[0].isdecimal()
        else False
    )
    if width == 3 and rising and len(body) > 2:
        return Columns(1, 2)
    return f"The lines have {width} columns without headings. Keep the time and the value, or add headings."


def _date_in(names: Sequence[str]) -> int | None:
    """The column of dates where the time of day stands in another, so that both are read together."""
    clock = any(re.match(r"^\W*time", name, re.IGNORECASE) for name in names)
    return next((place for place, name in enumerate(names) if _DATE.match(name)), None) if clock else None


def _unit_in(name: str) -> str:
    found = _UNIT.search(name)
    if found is None:
        return ""
    return "°F" if found[1].casefold().lstrip("°deg ")[:1] in ("f", "℉") or found[1] == "℉" else "°C"


def _time_unit_in(name: str) -> str:
    if shape := _SHAPE.search(name):
        return {"mm:ss": "mm:ss", "m:ss": "mm:ss", "hh:mm": "h:mm", "h:mm": "h:mm"}.get(
            shape[1].casefold(), ""
        )
    found = _TIME_UNIT.search(name)
    return "" if found is None else {"h": "h", "m": "min", "s": "s"}[found[1][0].casefold()]
