"""What looks wrong in the entries of the bench. It is flagged for a person to settle, and never guessed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise
from statistics import median
from typing import TYPE_CHECKING

from panel.bench.readings import HOT_ROOM
from panel.bench.units import convert, shown
from panel.bench.usability import STATEMENTS
from panel.study.quantities import QUANTITIES
from stats.phrasing import count, listing, significant

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from panel.bench.figures import Run
    from panel.study.measuring import Bench, Measurand

# Common practice, no source: what is far off, how near a factor of units must be, and temperatures of kitchens in °C.
TIMES_OFF = 10.0
NEAR = 0.10
HOT, COLD_ROOM = 130.0, -5.0
NEAR_DEGREES = 10.0
_RATIOS = ("number", "stopwatch", "price")
_NO_RATIOS = ("temperature", "noise", "count")


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to look at: which product and measurand, the ids of the runs meant, and what, in a sentence."""

    product: str
    measurand: str
    runs: tuple[str, ...]
    text: str


def check_runs(
    bench: Bench, runs: Sequence[Run], names: Mapping[str, str] | None = None
) -> tuple[Remark, ...]:
    """Every missing or contradictory entry among the valid runs, by measurand, product's name and run.

    names : product -> its name for the sentences; invalid runs are not looked at, since they do not count
    """
    called = names or {}
    products = sorted({run.product for run in runs}, key=lambda product: (called.get(product, ""), product))
    found: list[Remark] = []
    for measurand in bench.measurands:
        mine = [run for run in runs if run.measurand == measurand.key and not run.invalid]
        mine.sort(key=lambda run: (run.product, run.run, run.id))
        shared = any(run.servings for run in mine) or any(
            (one.source, one.figure) == (measurand.key, "per serving") for one in bench.criteria
        )
        about = _Checks(measurand, tuple(mine), bench.cup_ml, bench.currency, shared)
        for product in products:
            one = [run for run in mine if run.product == product]
            name = called.get(product, product)
            if mine and not one:
                found.append(
                    Remark(product, measurand.key, (), f"{name}: no valid entry of {measurand.name}.")
                )
            for ids, text in about.of_product(one):
                found.append(Remark(product, measurand.key, ids, f"{name}, {measurand.name}: {text}."))
    return tuple(found)


Found = tuple[tuple[str, ...], str]


@dataclass(frozen=True, slots=True)
class _Checks:
    """One measurand with its valid runs of all products. shared: whether it is compared by the serving."""

    measurand: Measurand
    runs: tuple[Run, ...]
    cup_ml: float
    currency: str
    shared: bool

    def of_product(self, runs: Sequence[Run]) -> Iterator[Found]:
        yield from self._entered_twice(runs)
        for run in runs:
            yield from ((((run.id,)), f"run {run.run} {text}") for text in self._of_run(run))
        yield from self._lengths(runs)

    def _of_run(self, run: Run) -> Iterator[str]:
        entry = QUANTITIES[self.measurand.quantity].entry
        if entry == "series":
            yield from self._series(run)
        elif entry == "usability":
            yield from _questionnaire(run)
        elif run.value is None:
            yield "has no value"
        else:
            yield from self._value(run, run.value)

    def _entered_twice(self, runs: Sequence[Run]) -> Iterator[Found]:
        entry = QUANTITIES[self.measurand.quantity].entry
        by_tester = entry in ("rating", "usability")
        for first, second in combinations(runs, 2):
            ids = (first.id, second.id)
            if by_tester and first.by and first.by == second.by:
                yield ids, f"{first.by} has rated it twice; keep one and mark the other as invalid"
            elif not by_tester and first.run == second.run:
                same = (first.value, first.series) == (second.value, second.series)
                how = "with the same value" if same else "with different values"
                yield (
                    ids,
                    f"run {first.run} is entered twice {how}; keep one or give the other its own number",
                )
            elif first.series and first.series == second.series:
                yield ids, f"runs {first.run} and {second.run} hold the same series; one may be a copy"

    def _value(self, run: Run, value: float) -> Iterator[str]:
        kind = QUANTITIES[self.measurand.quantity]
        if kind.entry == "check" and value not in (0, 1):
            yield "is neither passed nor failed"
        if kind.entry == "rating" and value not in (1, 2, 3, 4, 5):
            yield f"is rated {value:g}, which is not on the scale from 1 to 5"
        if kind.entry in _RATIOS and kind.id not in ("temperature", "noise") and value < 0:
            yield f"is {self._shown(value)}, which cannot be below 0"
        if kind.entry == "price":
            yield from self._price(run, value)
        yield from self._laps(run, value)
        yield from self._far_off(run, value)

    def _price(self, run: Run, value: float) -> Iterator[str]:
        if value == 0:
            yield "costs nothing; leave the price out where it is not known"
        if self.shared and not (run.servings or self.measurand.servings):
            yield "gives a price without saying how many servings the package holds"
        if not run.at:
            yield "gives a price without its date"

    def _laps(self, run: Run, value: float) -> Iterator[str]:
        if any(b <= a for a, b in pairwise((0.0, *run.laps))):
            yield f"has laps that do not rise: {', '.join(f'{lap:g}' for lap in run.laps)} s"
        elif run.laps and run.laps[-1] > value:
            yield f"has a last lap of {run.laps[-1]:g} s, later than its end at {value:g} s"

    def _others(self, run: Run) -> tuple[list[float], bool]:
        """The other runs of the product; those of all products, and True, where it has none."""
        rest = [(one.product, one.value) for one in self.runs if one.id != run.id and one.value is not None]
        own = [value for product, value in rest if product == run.product]
        return (own, False) if own else ([value for _, value in rest], True)

    def _far_off(self, run: Run, value: float) -> Iterator[str]:
        kind, (others, strangers) = QUANTITIES[self.measurand.quantity], self._others(run)
        middle = median(others) if others else None
        if kind.id == "temperature":
            yield from self._fahrenheit(value, middle)
        if kind.entry not in _RATIOS or kind.id in _NO_RATIOS or middle is None or middle <= 0 or value < 0:
            return
        if value == 0:  # another product may leave or weigh nothing; no product is done at once
            if kind.entry == "stopwatch" or (kind.entry == "number" and not strangers):
                yield f"is {self._shown(value)}, where the others are about {self._shown(middle)}; check it"
            return
        factor = value / middle
        # Products may differ by as much as pounds and kilograms do; runs of one product do not.
        slip = self._slip(factor, TIMES_OFF if strangers else 2.0)
        if slip:
            times = f"{significant(max(factor, 1 / factor), 2)} times {'more' if factor > 1 else 'less'}"
            yield f"is {self._shown(value)}, about {times} than the others, as if a number in {slip}"
        elif not 1 / TIMES_OFF < factor < TIMES_OFF:
            rest = f"where the others are about {self._shown(middle)}"
            yield f"is {self._shown(value)}, {rest}; check the decimal point"

    def _slip(self, factor: float, least: float) -> str:
        """Which two units lie as far apart as the value from the others, if they are at least `least` apart."""
        for a, b in combinations(QUANTITIES[self.measurand.quantity].units, 2):
            ratio = convert(1, b, a, cup_ml=self.cup_ml)
            if max(ratio, 1 / ratio) < least:
                continue
            for one, other, size in ((a, b, ratio), (b, a, 1 / ratio)):
                if abs(factor / size - 1) <= NEAR:
                    return f"{one} was taken for {other}"
        return ""

    def _fahrenheit(self, value: float, middle: float | None) -> Iterator[str]:
        """A number typed in °F where °C is meant, or the other way round; values in °C."""
        meant, back = convert(value, "°F", "°C"), convert(value, "°C", "°F")
        if middle is None:
            if value > HOT:
                yield f"is {value:g} °C; {value:g} °F would be {meant:.0f} °C. Check the unit"
            return
        rest = f"the others are about {middle:.0f} °C"
        if abs(value - middle) > 2 * NEAR_DEGREES:
            if abs(meant - middle) <= NEAR_DEGREES:
                yield f"is {value:g} °C, as if {value:g} °F ({meant:.0f} °C) was meant; {rest}"
            elif abs(back - middle) <= NEAR_DEGREES:
                yield f"is {value:.0f} °C, as if {back:.0f} °C was typed as °F; {rest}"

    def _series(self, run: Run) -> Iterator[str]:
        if len(run.series) < 3:
            yield f"has {count(len(run.series), 'reading')}; a series needs at least three"
            return
        times = [minutes for minutes, _ in run.series]
        for a, b in pairwise(run.series):
            if b[0] == a[0]:
                yield f"has two readings at {a[0]:g} minutes"
            elif b[0] < a[0]:
                yield f"goes back in time from {a[0]:g} to {b[0]:g} minutes"
        begin = self.measurand.start_minutes
        if min(times) > begin:
            yield f"has its first reading at {min(times):g} minutes, after the start at {begin:g}"
        top = max(value for _, value in run.series)
        if top > HOT:
            yield f"reaches {top:.0f} °C; {top:.0f} °F would be {convert(top, '°F', '°C'):.0f} °C. Check the unit"
        yield from self._surroundings(run)

    def _surroundings(self, run: Run) -> Iterator[str]:
        first = min(run.series)[1]
        if run.ambient is None:
            if self.measurand.ambient is not None:
                yield "has no temperature of the room, so that it cannot be moved to the common one"
            return
        if not COLD_ROOM <= run.ambient <= HOT_ROOM:
            meant = convert(run.ambient, "°F", "°C")
            hint = f"; {run.ambient:g} °F would be {meant:.0f} °C" if COLD_ROOM <= meant <= HOT_ROOM else ""
            yield f"has a room of {run.ambient:g} °C{hint}. Check it"
        elif run.ambient >= first:
            yield f"starts at {first:.1f} °C, not above its room of {run.ambient:.1f} °C"

    def _lengths(self, runs: Sequence[Run]) -> Iterator[Found]:
        """Series of one product that were not watched equally long (by a tenth)."""
        ends = {run.id: max(minutes for minutes, _ in run.series) for run in runs if run.series}
        if len(ends) > 1 and min(ends.values()) < 0.9 * max(ends.values()):
            said = listing([f"{end:g}" for end in ends.values()])
            yield tuple(ends), f"its runs end after {said} minutes; times inside a window do not compare then"

    def _shown(self, value: float) -> str:
        unit = self.measurand.unit or (self.currency if self.measurand.quantity == "price" else "")
        found = shown(value, self.measurand.quantity, self.measurand.unit, cup_ml=self.cup_ml)
        return f"{significant(found)} {unit}".rstrip()


def _questionnaire(run: Run) -> Iterator[str]:
    given = [answer for answer in run.answers if answer in (1, 2, 3, 4, 5)]
    if len(given) != len(STATEMENTS) or len(run.answers) != len(STATEMENTS):
        yield f"answers {len(given)} of the {len(STATEMENTS)} statements and is not scored"
    elif len(set(given)) == 1 and given[0] != 3:
        yield f"gives {given[0]} to every statement, also to those that say the opposite of each other"
