"""What a draft wants measured of every product, one row to a measurand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from panel.study.draft_reader import LONGEST_NAME, Reader, name_key, rows_of
from panel.study.measuring import Load, Measurand
from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from panel.study.quantities import Quantity

MOST_MEASURANDS = 40
MOST_RUNS = 100
FAR = 1_000_000.0
START = 5.0  # minutes, as a measurand has it by default


def read_measurands(reader: Reader) -> tuple[Measurand, ...]:
    """The measurands in the order typed, keyed "m1", "m2", …"""
    found: list[Measurand] = []
    for row in rows_of(reader.typed, "measurand"):
        measurand = _read_measurand(reader, f"measurand-{row}-", row + 1)
        names = [name_key(other.name) for other in found]
        if measurand.name and name_key(measurand.name) in names:
            first = names.index(name_key(measurand.name)) + 1
            text = f"Measurements {first} and {row + 1} have the same name, “{measurand.name}”. Reword one."
            reader.wrong(f"measurand-{row}-name", "same_name", text)
        found.append(measurand)
    if len(found) > MOST_MEASURANDS:
        text = f"Measure at most {MOST_MEASURANDS} things; there are {len(found)}."
        reader.wrong("measurand-0-name", "too_many", text)
    return tuple(found)


def _read_measurand(reader: Reader, at: str, number: int) -> Measurand:
    name = reader.text(f"{at}name", f"a name for measurement {number}", required=True, longest=LONGEST_NAME)
    quantity = QUANTITIES[_read_quantity(reader, at, number)]
    load: Any = reader.choice(f"{at}load", "a load", get_args(Load), "")
    low, high, threshold, start, ambient = _read_series(reader, at, quantity, name)
    return Measurand(
        key=f"m{number}",
        name=name,
        quantity=quantity.id,
        unit=_read_unit(reader, at, quantity),
        load=load,
        servings=_positive(reader, f"{at}servings", "how many servings are made"),
        condition=reader.text(f"{at}condition", "how it is measured", longest=300),
        runs=reader.whole(f"{at}runs", "the number of runs", 1, MOST_RUNS, default=3),
        low=low,
        high=high,
        threshold=threshold,
        start_minutes=start,
        ambient=ambient,
    )


def _read_quantity(reader: Reader, at: str, number: int) -> str:
    if not reader.typed.get(f"{at}quantity"):
        text = f"Choose what kind of quantity measurement {number} is."
        reader.wrong(f"{at}quantity", "missing", text)
    return reader.choice(f"{at}quantity", "a kind of quantity", QUANTITIES, next(iter(QUANTITIES)))


def _read_unit(reader: Reader, at: str, quantity: Quantity) -> str:
    typed = reader.typed.get(f"{at}unit", "")
    if not quantity.units:
        return ""
    if typed and typed not in quantity.units:
        listed = ", ".join(quantity.units)
        text = f"“{quantity.name}” is not measured in “{typed}”. Choose one of {listed}."
        reader.wrong(f"{at}unit", "unknown_choice", text)
    return typed if typed in quantity.units else quantity.units[0]


def _read_series(
    reader: Reader, at: str, quantity: Quantity, name: str
) -> tuple[float | None, float | None, float | None, float, float | None]:
    """Window, threshold, start and common surroundings of a series; empty for everything else."""
    if quantity.entry != "series":
        return None, None, None, START, None
    low = reader.number(f"{at}low", "the lower end of the window", -FAR, FAR)
    high = reader.number(f"{at}high", "the upper end of the window", -FAR, FAR)
    if (low is None) != (high is None):
        missing = "low" if low is None else "high"
        reader.wrong(f"{at}{missing}", "missing", f"Write both ends of the window of “{name}”, or neither.")
    elif low is not None and high is not None and low >= high:
        text = f"The window of “{name}” starts at {low:g} and ends at {high:g}. Its lower end must lie below."
        reader.wrong(f"{at}high", "not_in_range", text)
    threshold = reader.number(f"{at}threshold", "the threshold", -FAR, FAR)
    start = reader.number(f"{at}start_minutes", "when the series begins, in minutes,", 0, 1440)
    ambient = reader.number(f"{at}ambient", "the common temperature of the room", -100, 200)
    return low, high, threshold, START if start is None else start, ambient


def _positive(reader: Reader, field: str, what: str) -> float | None:
    value = reader.number(field, what, 0, 10_000)
    if value == 0:
        reader.wrong(field, "not_in_range", f"Write {what} as a number above 0.")
        return None
    return value
