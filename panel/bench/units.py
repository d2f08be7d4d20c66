"""Units: what people type becomes a number in the quantity's first unit, and goes back into the unit shown.

pint knows the units; it loads when the first unit is converted. What a cup holds is the study's to say.
"""

from __future__ import annotations

import math
import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from typing import Any

    from panel.study.quantities import Quantity

CUP_ML = 180.0
LONGEST = 60
GREATEST = 1e9

# As the pages write a unit -> as pint names it. Ounce and pound are avoirdupois, the fluid ounce is that of the US.
_PINT = {
    "s": "second",
    "min": "minute",
    "h": "hour",
    "°C": "degree_Celsius",
    "°F": "degree_Fahrenheit",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
    "ml": "milliliter",
    "l": "liter",
    "cup": "milliliter",
    "fl oz": "US_fluid_ounce",
    "Wh": "watt_hour",
    "kWh": "kilowatt_hour",
    "kJ": "kilojoule",
    "mm": "millimeter",
    "cm": "centimeter",
    "in": "inch",
}
# As people write units, in small letters -> as the pages write them, or as pint does.
_WRITTEN = {
    **{name.casefold(): name for name in _PINT},
    **dict.fromkeys(("sec", "secs", "second", "seconds", "″"), "s"),
    **dict.fromkeys(("m", "mins", "minute", "minutes", "′"), "min"),
    **dict.fromkeys(("hr", "hrs", "hour", "hours"), "h"),
    **dict.fromkeys(("c", "°c", "℃", "deg c", "degc", "celsius", "degrees celsius"), "°C"),
    **dict.fromkeys(("f", "°f", "℉", "deg f", "degf", "fahrenheit", "degrees fahrenheit"), "°F"),
    **dict.fromkeys(("lbs",), "lb"),
    **dict.fromkeys(("cups",), "cup"),
    **dict.fromkeys(("floz", "fluid oz", "fluid ounce", "fluid ounces"), "fl oz"),
    **dict.fromkeys(("db(a)", "dba", "db a"), "dB(A)"),
}
# The same sign means a minute with a duration, but an inch or a metre with a length.
_DEGREES = ("°", "deg", "degree", "degrees")
_LENGTHS = {"m": "meter", '"': "in", "″": "in", "inch": "in", "inches": "in"}
_SIGNED = ("temperature", "temperature-series", "noise")
_COMPOUND = ("duration", "mass", "yield", "length")
_SIGNS = {"EUR": "€", "USD": "$", "GBP": "£", "JPY": "¥", "CNY": "¥"}
_PASSED = {
    **dict.fromkeys(("passed", "pass", "yes", "1"), "1"),
    **dict.fromkeys(("failed", "fail", "no", "0"), "0"),
}
_ABSOLUTE_ZERO = -273.15

_NUMBER = (
    r"[-−+]?(?:\d+ )?\d+ ?/ ?\d+|[-−+]?\d{1,3}(?:[\u00a0\u2009\u202f'’]\d{3})+(?:[.,]\d+)?|[-−+]?\d*[.,]?\d+"
)
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\d\s.,+−-][^\d.,+−]*?)?\s*(?=[\d.,+−-]|$)")
_CLOCK = re.compile(r"(\d+):(\d\d)(?::(\d\d))?([.,]\d+)?")
_WORD = re.compile(r"[^\W\d_]{1,24}")


def read(text: str, quantity: str, unit: str, *, cup_ml: float = CUP_ML) -> float:
    """What somebody typed as a number in the quantity's first unit.

    text : "23 min", "1 h 05 min", "1:05:30", "203 °F", "1,5 cups", "1 1/2 cups"; a number alone is in `unit`
    quantity : id in QUANTITIES; unit : one of its units, "" where it has none, the currency of a price
    cup_ml : what a cup holds

    ValueError with a sentence for the page where it is empty, no number, of another kind of unit, out of reach, or
    can be read in two ways ("1,234": a decimal comma or a thousand).
    """
    kind = QUANTITIES[quantity]
    typed = unicodedata.normalize("NFC", text).strip()
    if not typed:
        raise ValueError(f"Write a value{_in(unit)}.")
    if len(typed) > LONGEST:
        raise ValueError(f"“{typed[:20]}…” is too long for one value; write a number{_in(unit)}.")
    if kind.entry in ("price", "check"):
        typed = (_price if kind.entry == "price" else _check)(typed, unit)
    value = (
        _clock(typed, unit) if quantity == "duration" and ":" in typed else _sum(typed, kind, unit, cup_ml)
    )
    return _within_reach(value, typed, kind)


def number(text: str) -> float:
    """One number as people write it: decimal comma or point, thin spaces between thousands, fractions.

    ValueError with a sentence for anything else, and for a comma that may part thousands ("1,234").
    """
    typed = _without_vulgar_fractions(unicodedata.normalize("NFC", text).strip())
    if not re.fullmatch(_NUMBER, typed):
        raise ValueError(f"“{text.strip()[:40]}” is no number. Write it in digits, such as 12.5.")
    if re.fullmatch(r"[-−+]?[1-9]\d{0,2},\d{3}", typed):
        whole, part = typed.split(",")
        raise ValueError(
            f"“{typed}” may mean {whole}{part} or {whole}.{part}. Write it in one of these ways."
        )
    typed = re.sub(r"[\u00a0\u2009\u202f'’]", "", typed.replace("−", "-")).replace(",", ".")
    if "/" not in typed:
        return float(typed)
    sign = -1.0 if typed.startswith("-") else 1.0
    whole, _, part = (
        typed.lstrip("+-").rpartition(" ") if re.search(r"\d \d", typed) else ("0", "", typed.lstrip("+-"))
    )
    above, below = (int(piece) for piece in part.split("/"))
    if below == 0:
        raise ValueError(f"“{text.strip()[:40]}” divides by zero.")
    return sign * (int(whole) + above / below)


def convert(
    value: float, source: str, target: str, *, cup_ml: float = CUP_ML, difference: bool = False
) -> float:
    """A value in another unit, both as the pages write them.

    difference : whether it is a difference (or an uncertainty): 1 °C of difference is 1.8 °F of difference.
    An area under a series ("°C·min") is a difference of its first part. ValueError for units that do not convert.
    """
    if source == target:
        return value
    if source.endswith("·min") and target.endswith("·min"):
        source, target, difference = source.removesuffix("·min"), target.removesuffix("·min"), True
    if source not in _PINT or target not in _PINT:
        raise ValueError(f"There is no conversion from “{source}” to “{target}”.")
    scaled = value * (cup_ml if source == "cup" else 1.0)
    found = _converted(scaled, _named(source, difference), _named(target, difference))
    return found / (cup_ml if target == "cup" else 1.0)


def shown(
    value: float, quantity: str, unit: str, *, cup_ml: float = CUP_ML, difference: bool = False
) -> float:
    """A stored value (in the quantity's first unit) in the unit that is shown; as it is where there is none."""
    units = QUANTITIES[quantity].units
    return convert(value, units[0], unit, cup_ml=cup_ml, difference=difference) if units and unit else value


def stored(
    value: float, quantity: str, unit: str, *, cup_ml: float = CUP_ML, difference: bool = False
) -> float:
    """The other way round: a value in the unit shown as it is stored, in the quantity's first unit."""
    units = QUANTITIES[quantity].units
    return convert(value, unit, units[0], cup_ml=cup_ml, difference=difference) if units and unit else value


def read_step(text: str, quantity: str, unit: str, *, cup_ml: float = CUP_ML) -> float:
    """An instrument's resolution or half-width of its limits, in the quantity's first unit: a difference above 0."""
    kind = QUANTITIES[quantity]
    (amount, word), *more = _parts(text, kind)
    named = _unit(word, kind, unit) if word else unit
    if more or amount <= 0:
        raise ValueError(
            f"Write one number above 0{_in(unit)}, such as 0.1; you wrote “{text.strip()[:40]}”."
        )
    if not kind.units or named not in _PINT:
        return amount
    return convert(amount, named, kind.units[0], cup_ml=cup_ml, difference=True)


def _price(typed: str, currency: str) -> str:
    """A price without its currency, which is the study's or stands in another."""
    for sign in (currency, _SIGNS.get(currency, currency)):
        if sign and typed.upper().startswith(sign.upper()):
            return typed[len(sign) :].strip()
        if sign and typed.upper().endswith(sign.upper()):
            return typed[: -len(sign)].strip()
    if re.search(r"[^\W\d]|[$€£¥]", typed):
        raise ValueError(
            f"“{typed}” names another currency than {currency or 'the study'}. Convert it first."
        )
    return typed


def _check(typed: str, _: str) -> str:
    """ "passed" and "failed" as 1 and 0."""
    found = _PASSED.get(typed.casefold())
    if found is None:
        raise ValueError(f"“{typed}” is neither passed nor failed. Write passed or failed.")
    return found


def _sum(typed: str, kind: Quantity, unit: str, cup_ml: float) -> float:
    parts = _parts(typed, kind)
    if len(parts) > 1 and kind.id not in _COMPOUND:
        raise ValueError(f"“{typed}” holds {len(parts)} numbers. Write one{_in(unit)}.")
    if not kind.units:
        if parts[0][1]:
            raise ValueError(f"“{typed}”: {kind.name.lower()} has no unit. Write the number alone.")
        return parts[0][0]
    total, last = 0.0, math.inf
    for place, (amount, word) in enumerate(parts):
        if place and not word and _unit(parts[place - 1][1], kind, unit) == "h":
            word = "min"  # "1h05"
        if len(parts) > 1 and not word:
            raise ValueError(f"“{typed}” holds a number without a unit. Write a unit behind each number.")
        named = _unit(word, kind, unit) if word else unit
        size = _in_first(1.0, named, kind, cup_ml) if len(parts) > 1 else 0.0
        part = _in_first(amount, named, kind, cup_ml)
        if size >= last or (place and amount < 0):
            raise ValueError(
                f"“{typed}”: write the larger unit first, and each unit once, such as 1 h 05 min."
            )
        if place and part >= last:
            raise ValueError(
                f"“{typed}”: {amount:g} {named} is not less than one of the unit before it. Check both."
            )
        total, last = total + part, size
    return total


def _parts(text: str, kind: Quantity) -> list[tuple[float, str]]:
    """The numbers with the words behind them, in order."""
    typed, found, at = _without_vulgar_fractions(unicodedata.normalize("NFC", text).strip()), [], 0
    while at < len(typed):
        part = _PART.match(typed, at)
        if part is None or part.end() == at:
            example = f"12.5 {kind.units[0]}" if kind.units else "12.5"
            raise ValueError(
                f"“{text.strip()[:40]}” is not understood. Write a number and its unit, such as {example}."
            )
        found.append((number(part[1]), (part[2] or "").strip().rstrip(".")))
        at = part.end()
    if not found:
        raise ValueError("Write a number.")
    return found


def _unit(word: str, kind: Quantity, unit: str) -> str:
    """The unit that somebody wrote: one of the pages' own, or pint's name of another of the same kind.

    unit : the one shown, which a bare "°" means
    """
    small = " ".join(word.casefold().split())
    if kind.id == "length" and small in _LENGTHS:
        return _LENGTHS[small]
    if (known := _WRITTEN.get(small)) is not None and known in kind.units:
        return known
    if small in _DEGREES and "°C" in kind.units:
        return unit
    if kind.units == ("dB(A)",):
        raise ValueError(
            f"“{word}” is not dB(A). Levels do not convert; measure with the meter set to A and write dB(A)."
        )
    if kind.units and known is None and _WORD.fullmatch(word):
        for candidate in (word, small):
            if _fits(candidate, _PINT[kind.units[0]]):
                return candidate
    allowed = ", ".join(kind.units) or "no unit"
    raise ValueError(f"“{word}” is no unit of {kind.name.lower()}. Use one of: {allowed}.")


def _in_first(amount: float, unit: str, kind: Quantity, cup_ml: float) -> float:
    if unit in kind.units:
        return convert(amount, unit, kind.units[0], cup_ml=cup_ml)
    return _converted(amount, unit, _PINT[kind.units[0]])


def _clock(typed: str, unit: str) -> float:
    """ "1:05:30" and "23:10" (minutes and seconds, as a stopwatch writes) in seconds; either with tenths behind."""
    found = _CLOCK.fullmatch(typed)
    if found is None or int(found[2]) > 59 or int(found[3] or 0) > 59:
        raise ValueError(f"“{typed}” is no time. Write h:mm:ss such as 1:05:30, or mm:ss such as 23:10.")
    first, second = int(found[1]), int(found[2])
    fraction = float((found[4] or ".0").replace(",", "."))
    if found[3] is None:
        if unit == "h" and not found[4]:
            raise ValueError(
                f"“{typed}” may be hours and minutes or minutes and seconds. "
                f"Write {typed}:00 or {first} h {second} min."
            )
        return first * 60.0 + second + fraction
    return first * 3600.0 + second * 60.0 + int(found[3]) + fraction


def _within_reach(value: float, typed: str, kind: Quantity) -> float:
    if not math.isfinite(value) or abs(value) > GREATEST:
        raise ValueError(f"“{typed}” is out of reach. Check the number and its unit.")
    if kind.id in ("temperature", "temperature-series") and value < _ABSOLUTE_ZERO:
        raise ValueError(f"“{typed}” lies below absolute zero. Check the number and its unit.")
    if kind.id not in _SIGNED and value < 0:
        raise ValueError(f"“{typed}”: {kind.name.lower()} cannot be below 0.")
    if kind.entry == "rating" and value not in (1, 2, 3, 4, 5):
        raise ValueError(f"“{typed}” is no rating. Choose a whole number from 1 to 5.")
    if kind.id == "count" and value != int(value):
        raise ValueError(f"“{typed}” is no count. Write a whole number.")
    return float(f"{value:.12g}")  # no dust from conversion: 203 °F are 95 °C


def _in(unit: str) -> str:
    return f" in {unit}" if unit else ""


def _without_vulgar_fractions(text: str) -> str:
    """ "1½" as "1 1/2"."""
    found = re.sub(r"(\d?)([\u00bc-\u00be\u2150-\u215e])", lambda m: f"{m[1]} {_spelt(m[2])}".strip(), text)
    return found.replace("\u2044", "/")


def _spelt(sign: str) -> str:
    return unicodedata.normalize("NFKC", sign).replace("\u2044", "/")


@cache
def _registry() -> Any:
    from pint import UnitRegistry

    return UnitRegistry()


def _named(unit: str, difference: bool) -> str:
    name = _PINT[unit]
    return f"delta_{name}" if difference and name.startswith("degree_") else name


def _converted(value: float, source: str, target: str) -> float:
    try:
        return float(_registry().Quantity(value, source).to(target).magnitude)
    except Exception as error:
        if isinstance(error, ArithmeticError) or type(error).__module__.startswith("pint"):
            raise ValueError(f"There is no conversion from “{source}” to “{target}”.") from None
        raise


def _fits(word: str, target: str) -> bool:
    """Whether pint knows the word as a unit of the same kind as `target`."""
    try:
        return bool(_registry().Unit(word).dimensionality == _registry().Unit(target).dimensionality)
    except Exception:  # pint raises its own, the tokenizer's and Python's errors for words that are no unit
        return False
