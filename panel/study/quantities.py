"""What can be measured beside taste: ONE table of the kinds of quantity, their units and what is derived from them.

Values are stored in a quantity's first unit; conversion between units is the bench's (`panel.bench.units`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Entry = Literal["number", "stopwatch", "series", "price", "check", "rating", "usability"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One kind of quantity.

    units : in which it may be shown and typed, the first being the one it is stored in; () where it has none
    entry : how it is entered: "stopwatch" also takes typed times, "series" is values over minutes
    figures : id -> words of what one run or all runs give; "mean" is over the valid runs
    after_tasting : whether it may only be entered once tasting is over, since handling a product unblinds
    """

    id: str
    name: str
    units: tuple[str, ...]
    entry: Entry
    figures: dict[str, str]
    after_tasting: bool = False


_MEAN = {"mean": "mean of the runs"}
_SERIES = {
    "at 30": "value at 30 minutes",
    "at 60": "value at 60 minutes",
    "at 120": "value at 120 minutes",
    "time until below": "time until below the threshold",
    "time inside": "time inside the window",
    "area outside": "area outside the window",
    "cooling rate": "rate of cooling where nothing heats",
}

QUANTITIES: dict[str, Quantity] = {
    found.id: found
    for found in (
        Quantity(
            "duration",
            "Duration",
            ("s", "min", "h"),
            "stopwatch",
            {**_MEAN, "per serving": "time divided by the servings of the load"},
        ),
        Quantity("temperature", "Temperature", ("°C", "°F"), "number", _MEAN),
        Quantity("temperature-series", "Temperature over time", ("°C", "°F"), "series", _SERIES),
        Quantity("yield", "Yield", ("g", "kg", "oz", "lb"), "number", _MEAN),
        Quantity("capacity", "Capacity", ("ml", "l", "cup", "fl oz"), "number", _MEAN),
        Quantity("energy", "Energy", ("Wh", "kWh", "kJ"), "number", _MEAN),
        Quantity("noise", "Noise", ("dB(A)",), "number", _MEAN),
        Quantity("length", "Dimension", ("mm", "cm", "in"), "number", _MEAN),
        Quantity("mass", "Weight", ("g", "kg", "oz", "lb"), "number", _MEAN),
        Quantity("price", "Price", (), "price", {"mean": "price", "per serving": "price per serving"}),
        Quantity("count", "Count", (), "number", _MEAN),
        Quantity("check", "Check: passed or failed", (), "check", {"mean": "share of runs passed"}),
        Quantity("rating", "Handling, rated 1 to 5", (), "rating", {"mean": "mean of the testers"}, True),
        Quantity(
            "usability",
            "System Usability Scale, ten statements",
            (),
            "usability",
            {"mean": "mean score of the testers, 0 to 100"},
            True,
        ),
    )
}


# Figures that have a unit of their own, whatever unit their measurand is shown in.
OWN_UNITS = {"time until below": "min", "time inside": "min", "cooling rate": "1/h"}


def figure_unit(quantity: str, figure: str, unit: str, currency: str) -> str:
    """The unit of one figure of a measurand that is shown in `unit`; "" for shares, points and counts."""
    if QUANTITIES[quantity].entry == "price":
        return currency
    if figure == "area outside":
        return f"{unit}·min"
    return OWN_UNITS.get(figure, unit)
