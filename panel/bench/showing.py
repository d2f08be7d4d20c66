"""Figures as they are written: as many digits as the uncertainty warrants, "±", the unit, and from how many runs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.quantities import QUANTITIES
from stats.measurement_uncertainty import coverage_factor, rounded_to_uncertainty
from stats.phrasing import count, significant

if TYPE_CHECKING:
    from panel.bench.figures import Figure
    from panel.study.measuring import Measurand

ABSENT = "–"
_SCALE_ENDS = {"rating": "of 5", "usability": "of 100"}


@dataclass(frozen=True, slots=True)
class Written:
    """A figure in pieces, for cells, and in one piece.

    number : the value, a dash where there is none; spread : "± 1.2", or "24 to 27" where the interval is lopsided, ""
        where nothing is known; unit : "" where there is none; of : "3 runs", "12 testers"
    bound : "at least", or ""
    """

    number: str
    spread: str
    unit: str
    of: str
    bound: str = ""

    @property
    def value(self) -> str:
        """ "(25.5 ± 1.2) min", as GUM 7.2.4 writes a value, its expanded uncertainty and the unit."""
        if self.number == ABSENT:
            return ABSENT
        body = self.number
        if self.spread.startswith("±"):
            body = f"({body} {self.spread})" if self.unit else f"{body} {self.spread}"
        unit = f"\u202f{self.unit}" if self.unit else ""
        interval = f" (95\u202f% interval {self.spread})" if self.spread and self.spread[0] != "±" else ""
        return f"{self.bound} {body}{unit}{interval}".lstrip()

    @property
    def text(self) -> str:
        """The value with what it rests on: "(25.5 ± 1.2) min, 3 runs"."""
        return f"{self.value}, {self.of}" if self.of and self.number != ABSENT else self.value


def written(figure: Figure, measurand: Measurand) -> Written:
    """A figure of this measurand in writing, with a real minus sign."""
    entry = QUANTITIES[measurand.quantity].entry
    of = count(figure.n, "tester" if entry in _SCALE_ENDS else "run")
    unit = _SCALE_ENDS.get(entry, figure.unit)
    if figure.figure == "per serving":
        unit = f"{unit} per serving"
    if figure.value is None:
        return Written(ABSENT, "", unit, of)
    if entry == "check":
        passed = sum(run >= 0.5 for run in figure.runs)
        return Written(f"{passed} of {figure.n} passed", "", "", of)
    least = "at least" if figure.bound else ""
    if not figure.u or figure.low is None or figure.high is None:
        number = f"{figure.value:.2f}" if entry == "price" else _bare(figure.value)
        return Written(_signed(number), "", unit, of, least)
    number, spread = _with_spread(
        figure.value, coverage_factor(figure.df) * figure.u, figure.low, figure.high
    )
    return Written(number, spread, unit, of, least)


def in_words(figure: Figure, measurand: Measurand, product: str) -> str:
    """One sentence: what was measured, its value and uncertainty, and what it rests on. product : its name."""
    kind = QUANTITIES[measurand.quantity]
    what, entry = kind.figures[figure.figure], kind.entry
    shown = written(figure, measurand)
    if shown.number == ABSENT:
        why = figure.flags[0] if figure.flags else "There is no valid run."
        return f"{product}, {measurand.name}, {what}: not known. {why}"
    known = ""
    if shown.spread.startswith("±"):
        alone = "instrument alone" if figure.n == 1 else "repeats and instrument together"
        k = f"{coverage_factor(figure.df):.1f}"
        known = f" Behind ± stands the expanded uncertainty of {alone} (95\u202f% coverage, k = {k})."
    elif not shown.spread and entry not in ("check", "price", "rating", "usability"):
        known = " How sure that is, is not known."
    return f"{product}, {measurand.name}, {what}: {shown.text}.{known}"


def _with_spread(value: float, half: float, low: float, high: float) -> tuple[str, str]:
    """The value and "± half"; or the value and both limits where they were cut at an end of the scale."""
    if math.isclose(high - value, half, rel_tol=1e-6) and math.isclose(value - low, half, rel_tol=1e-6):
        number, spread = rounded_to_uncertainty(value, half)
        return _signed(number), f"± {spread}"
    half = (high - low) / 2
    number, first, last = (_signed(rounded_to_uncertainty(one, half)[0]) for one in (value, low, high))
    return number, f"{first} to {last}"


def _bare(value: float) -> str:
    """A value of which no uncertainty is known: as it is where it is short, else three significant digits."""
    short = f"{value:.10g}"
    return short if len(short.lstrip("-").replace(".", "")) <= 4 and "e" not in short else significant(value)


def _signed(text: str) -> str:
    return text.replace("-", "−")
