"""What one run gives for one figure: its value, the instrument's part of its uncertainty, and what is to be said."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from panel.bench.units import stored
from panel.bench.usability import usability_score
from panel.study.quantities import QUANTITIES
from stats.cooling import cooling, time_in_window
from stats.cooling_readings import on_one_ambient, time_until_below, value_at
from stats.phrasing import significant

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.bench.figures import Run
    from panel.study.measuring import Measurand
    from stats.cooling import Cooling

# °C; a series that settles above cools towards no room. Common practice, no source.
HOT_ROOM = 45.0
AT_MINUTES = {"at 30": 30.0, "at 60": 60.0, "at 120": 120.0}


@dataclass(frozen=True, slots=True)
class Reading:
    """One run's value of one figure, in the quantity's first unit (times in minutes, rates per hour).

    value : None where it cannot be had, `said` then holds why; instrument : standard uncertainty of it by resolution
        and stated limits, None where neither is known; own, own_df : by the fit behind it, None where there is none
    at_least : whether the series stopped before the end was reached; heats : whether something seems to heat
    """

    run: Run
    value: float | None
    instrument: float | None = None
    own: float | None = None
    own_df: float = math.inf
    said: str = ""
    at_least: bool = False
    heats: bool = False


def reading_of(run: Run, measurand: Measurand, figure: str, cup_ml: float) -> Reading:
    """One run's value of one of its quantity's figures."""
    kind = QUANTITIES[measurand.quantity]
    if kind.entry == "series":
        return _series(run, measurand, cup_ml).reading(figure)
    if kind.entry == "usability":
        return _usability(run)
    if run.value is None:
        return Reading(run, None, said=f"{numbered(run)} has no value")
    instrument = instrument_uncertainty(run)
    if figure != "per serving":
        return Reading(run, run.value, instrument)
    servings = run.servings or measurand.servings
    if not servings:
        return Reading(run, None, said=f"{numbered(run)} does not say how many servings it is for")
    return Reading(run, run.value / servings, None if instrument is None else instrument / servings)


def instrument_uncertainty(run: Run) -> float | None:
    """Standard uncertainty by the instrument: resolution / √12 and limits / √3, added as squares (GUM 4.3.7)."""
    if run.resolution is None and run.accuracy is None:
        return None
    return math.hypot((run.resolution or 0.0) / math.sqrt(12), (run.accuracy or 0.0) / math.sqrt(3))


def numbered(run: Run) -> str:
    """ "run 2": how flags name it."""
    return f"run {run.run}"


def _usability(run: Run) -> Reading:
    try:
        return Reading(run, usability_score(run.answers))
    except ValueError as problem:
        return Reading(run, None, said=f"{numbered(run)}: {problem}")


def law_of(run: Run, measurand: Measurand, cup_ml: float) -> tuple[Cooling | None, str]:
    """Newton's law fitted to a run's series from its start on, in the quantity's first unit; or why not."""
    series = _series(run, measurand, cup_ml)
    fit, why, _ = series.law
    return fit, why


@dataclass(frozen=True)
class _Series:
    """One logged series: from its start on, in the quantity's first unit, on one ambient where the law allows it."""

    run: Run
    measurand: Measurand
    cup_ml: float
    shift: float = 0.0

    def limit(self, value: float | None) -> float | None:
        """A limit of the measurand in the quantity's first unit."""
        if value is None:
            return None
        return stored(value, self.measurand.quantity, self.measurand.unit, cup_ml=self.cup_ml)

    @cached_property
    def begun(self) -> tuple[list[float], list[float]]:
        """Times and values from the start on, the value at the start by the line between its neighbours."""
        begin = self.measurand.start_minutes
        pairs = sorted(self.run.series)
        times, values = [m for m, _ in pairs], [v + self.shift for _, v in pairs]
        at_start = value_at(times, values, begin)
        kept = [(m, v) for m, v in zip(times, values, strict=True) if m > begin]
        if at_start is not None:
            kept.insert(0, (begin, at_start))
        return [m for m, _ in kept], [v for _, v in kept]

    @cached_property
    def law(self) -> tuple[Cooling | None, str, bool]:
        """Newton's law fitted; or why it does not describe the series, and whether that is because something heats."""
        try:
            fit = cooling(*self.begun, self.run.ambient)
        except ValueError as problem:
            heats = any(sign in str(problem) for sign in ("something heats", "nothing cools"))
            return None, self._reason(str(problem)), heats
        if fit.heater:
            return None, self._reason(fit.heater), True
        if self.run.ambient is None and fit.start > fit.ambient > HOT_ROOM:
            why = f"it levels off near {significant(fit.ambient)} degrees, warmer than any room, as if something heats"
            return None, self._reason(why), True
        return fit, "", False

    def _reason(self, text: str) -> str:
        """What the fit says, with the unit that it was made in and without advice that does not fit here."""
        text = text.removeprefix("temperature: ").removeprefix("minutes: ")
        text = re.split(r"[;.] [Rr]eport the time", text)[0]
        return text.replace(" degrees", f" {QUANTITIES[self.measurand.quantity].units[0]}")

    @cached_property
    def compared(self) -> tuple[list[float], list[float], str]:
        """Times and values on the common ambient; as measured where that cannot be, with the reason."""
        times, values = self.begun
        reference = self.limit(self.measurand.ambient)
        if reference is None:
            return times, values, ""
        name = numbered(self.run)
        if self.run.ambient is None:
            return (
                times,
                values,
                f"{name}: the surroundings were not noted, so it is not moved to a common ambient",
            )
        fit, why, _ = self.law
        if fit is None:
            return times, values, f"{name} is shown as measured, not moved to a common ambient: {why}"
        try:
            begin = self.measurand.start_minutes
            moved = on_one_ambient(times, values, self.run.ambient, reference, start_minutes=begin)
        except ValueError as problem:
            return times, values, f"{name} is shown as measured: {problem}"
        return times, list(moved), ""

    def reading(self, figure: str) -> Reading:
        """The figure, with the instrument's part found by moving the whole series by its uncertainty."""
        times, _ = self.begun
        if len(times) < 2:
            begin = significant(self.measurand.start_minutes)
            return Reading(
                self.run, None, said=f"{numbered(self.run)} has fewer than two readings from {begin} minutes"
            )
        found = self._bare(figure)
        size = instrument_uncertainty(self.run)
        if found.value is None or size is None:
            return found
        moved = [_series(self.run, self.measurand, self.cup_ml, step)._bare(figure) for step in (size, -size)]
        ends = [one.value for one in moved if one.value is not None]
        part = abs(ends[0] - ends[1]) / 2 if len(ends) == 2 else None
        return Reading(self.run, found.value, part, found.own, found.own_df, found.said, found.at_least)

    def _bare(self, figure: str) -> Reading:
        ways: dict[str, Callable[[], Reading]] = {
            "time until below": self._until_below,
            "time inside": self._inside,
            "area outside": self._outside,
            "cooling rate": self._rate,
        }
        return ways[figure]() if figure in ways else self._at(AT_MINUTES[figure])

    def _at(self, minutes: float) -> Reading:
        times, values, said = self.compared
        found = value_at(times, values, minutes)
        if found is None:
            said = f"{numbered(self.run)} has no reading around {minutes:g} minutes; its last is at {times[-1]:g}"
        return Reading(self.run, found, said=said)

    def _until_below(self) -> Reading:
        threshold = self.limit(self.measurand.threshold)
        if threshold is None:
            return Reading(self.run, None, said="no threshold is set")
        times, values, said = self.compared
        moved = values != self.begun[1]
        ambient = self.limit(self.measurand.ambient) if moved else self.run.ambient
        found = time_until_below(times, values, threshold, ambient=ambient)
        if not found.reached:
            said = f"{numbered(self.run)} does not fall below the threshold within its {times[-1]:g} minutes"
        elif found.returns:
            said = f"{numbered(self.run)} is above the threshold again later; the first time below counts"
        df = float(found.n - 2) if ambient is not None else float(found.n - 3)
        return Reading(
            self.run,
            found.minutes,
            own=found.standard_error,
            own_df=df,
            said=said,
            at_least=not found.reached,
        )

    def _inside(self) -> Reading:
        low, high = self.limit(self.measurand.low), self.limit(self.measurand.high)
        if low is None or high is None:
            return Reading(self.run, None, said="no window is set")
        times, values, said = self.compared
        found = time_in_window(times, values, low, high)
        still = low <= values[-1] <= high
        if still:
            said = (
                f"{numbered(self.run)} is still inside the window at its last reading, {times[-1]:g} minutes"
            )
        return Reading(self.run, found.inside, said=said, at_least=still)

    def _outside(self) -> Reading:
        low, high = self.limit(self.measurand.low), self.limit(self.measurand.high)
        if low is None or high is None:
            return Reading(self.run, None, said="no window is set")
        times, values, said = self.compared
        found = time_in_window(times, values, low, high)
        return Reading(self.run, found.below_area + found.above_area, said=said)

    def _rate(self) -> Reading:
        fit, why, heats = self.law
        if fit is None:
            instead = "; the time inside the window is reported instead" if heats else ""
            said = f"{numbered(self.run)} has no rate of cooling: {why}{instead}"
            return Reading(self.run, None, said=said, heats=heats)
        return Reading(self.run, 60 * fit.rate, own=60 * fit.rate_se, own_df=float(fit.df))


@lru_cache(maxsize=1024)
def _series(run: Run, measurand: Measurand, cup_ml: float, shift: float = 0.0) -> _Series:
    """The series of a run, kept so that its seven figures share one fit."""
    return _Series(run, measurand, cup_ml, shift)
