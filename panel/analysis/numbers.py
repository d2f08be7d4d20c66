"""Figures as a table prints them: as many decimals as the uncertainty warrants, a real minus sign."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from stats.phrasing import p_text, percent

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from stats.results import Estimate

ABSENT = "–"


def decimals_for(half_widths: Iterable[float]) -> int:
    """Decimals that show the narrowest interval with two significant digits, 0 to 4; 2 without any."""
    widths = [width for width in half_widths if math.isfinite(width) and width > 0]
    if not widths:
        return 2
    return max(0, min(4, 1 - math.floor(math.log10(min(widths)))))


def fixed(value: float | None, decimals: int) -> str:
    """A number with so many decimals; a dash where there is none, never "-0.00"."""
    if value is None or not math.isfinite(value):
        return ABSENT
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def signed(value: float | None, decimals: int) -> str:
    """A difference: with its sign, a plus for what is above zero."""
    text = fixed(value, decimals)
    return f"+{text}" if value is not None and value > 0 and float(text) > 0 else text


def interval(low: float | None, high: float | None, decimals: int) -> str:
    """ "4.9 to 6.3"; a dash where there are no limits."""
    if low is None or high is None:
        return ABSENT
    return f"{fixed(low, decimals)} to {fixed(high, decimals)}"


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts "2" before "10" and "t2" before "t10"."""
    parts = re.split(r"(\d+)", name.casefold())
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part)


def in_order(names: Iterable[str]) -> list[str]:
    """Each name once, in natural order; blind letters as they are given out, Z before AA."""
    found = set(names)
    if all(re.fullmatch("[A-Z]{1,2}", name) for name in found):
        return sorted(found, key=lambda name: (len(name), name))
    return sorted(found, key=natural)


def as_sentence(note: str) -> str:
    """A note with a capital letter, unless it starts with a symbol, and a full stop; typeset."""
    symbol = note.startswith(("d'", "d′", "p ", "pd ", "dz ", "n ="))
    text = typeset(note if symbol else note[:1].upper() + note[1:])
    return text if text.endswith((".", "!", "?")) else f"{text}."


def typeset(text: str) -> str:
    """Text of the calculator as a page prints it: d′, real minus signs, curly quotation marks."""
    text = text.replace("d'", "d′")
    text = re.sub(r"(?<![\w.,)])-(?=\d)", "−", text)
    return re.sub(r'"([^"]*)"', r"“\1”", text)


def points(number: str) -> str:
    """ "0.75 points", "1 point"."""
    return f"{number} point" if number in ("1", "1.0") else f"{number} points"


def chance_text(chance: float, decimals: int = 0) -> str:
    """A chance 0..1 in per cent, never rounded to certainty: "< 1 %", "37 %", "> 99 %"."""
    least: float = 0.01 / 10**decimals
    if 0 < chance < least:
        return f"< {percent(least, decimals)}"
    most = 1 - least
    return f"> {percent(most, decimals)}" if most < chance < 1 else percent(chance, decimals)


def often(p: float) -> str:
    """How often chance alone gives as much: "7 in 100", "3 in 1,000", "fewer than 1 in 10,000"."""
    if p < 0.0001:
        return "fewer than 1 in 10,000"
    of = next((of for of in (100, 1_000) if p * of >= 1.5), 10_000)
    return f"about {round(p * of):,} in {of:,}"


def p_equals(p: float | None) -> str:
    """ "p = 0.032", "p < 0.0001", "p –"."""
    cell = p_cell(p)
    return f"p {cell}" if cell[0] in f"<>{ABSENT}" else f"p = {cell}"


def p_cell(p: float | None) -> str:
    """A p-value without the letter: "0.032", "< 0.0001", "–"."""
    return ABSENT if p is None or math.isnan(p) else p_text(p).removeprefix("p ").removeprefix("= ")


def df_text(df: float | None) -> str:
    """Degrees of freedom: whole ones as they are, Satterthwaite's with a decimal."""
    if df is None or not math.isfinite(df):
        return ABSENT
    return str(round(df)) if abs(df - round(df)) < 1e-6 else f"{df:.1f}"


def share_with_limits(share: Estimate) -> str:
    """ "25 % (0 % to 56 %)", or with the one limit that there is."""
    point = ABSENT if share.estimate is None else percent(share.estimate)
    return f"{point} ({_limits(share, percent)})"


def number_with_limits(value: Estimate, decimals: int = 2) -> str:
    """ "1.47 (0.00 to 2.55)"; "all correct: no estimate" where it does not exist."""
    point = "no finite estimate" if value.estimate is None else fixed(value.estimate, decimals)
    return f"{point} ({_limits(value, lambda one: fixed(one, decimals))})"


def limit_alone(value: Estimate, write: Callable[[float], str]) -> str:
    """ "at most 52 %": the limit without the estimate, where only the limit answers the question."""
    return _limits(value, write)


def _limits(value: Estimate, write: Callable[[float], str]) -> str:
    if value.low is not None and value.high is not None:
        return f"{write(value.low)} to {write(value.high)}"
    if value.high is not None:
        return f"at most {write(value.high)}"
    return f"at least {write(value.low)}" if value.low is not None else "no limits"
