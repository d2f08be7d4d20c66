"""Reading what was typed on the bench: one run of one product, or what is wrong with it in the typist's words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from panel.bench.series import SeriesRead, read_series
from panel.bench.units import number, read
from panel.bench.usability import STATEMENTS
from panel.store.bench import Entered
from panel.study.draft_reader import LONGEST_NAME, LONGEST_TEXT, tidy
from panel.study.problems import Problem
from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import tzinfo

    from panel.study.measuring import Bench, Measurand

RATINGS = (
    ("1", "1: very hard"),
    ("2", "2: hard"),
    ("3", "3: neither"),
    ("4", "4: easy"),
    ("5", "5: very easy"),
)
BY_PEOPLE = ("rating", "usability")
MOST_LAPS = 200


@dataclass(slots=True)
class BenchReader:
    """Reads one form for one measurand, and gathers what is wrong. measurand: with its limits in the unit typed."""

    typed: Mapping[str, str]
    measurand: Measurand
    bench: Bench
    zone: tzinfo | None = None
    problems: list[Problem] = field(default_factory=list)

    @property
    def entry(self) -> str:
        return QUANTITIES[self.measurand.quantity].entry

    def wrong(self, name: str, text: str) -> None:
        """Say it once: what all products share is read for each of them."""
        problem = Problem(name, "unfit", text)
        if problem not in self.problems:
            self.problems.append(problem)

    def run_of(self, product_id: str, at: str) -> Entered | None:
        """The run of a product from the fields that end in `at`; None where nothing was typed for it."""
        value_field = f"value{at}"
        raw = tidy(self.typed.get(value_field, ""))
        series = self._series(at) if self.entry == "series" else SeriesRead()
        answers = self._answers(at) if self.entry == "usability" else ()
        if not raw and not series.readings and not answers:
            return None
        value = None if self.entry in ("series", "usability") else self._value(value_field, raw)
        laps = self._laps(f"laps{at}", value) if self.entry == "stopwatch" else ()
        return Entered(
            measurand=self.measurand.key,
            product_id=product_id,
            value=value,
            typed=raw,
            unit=self.bench.currency if self.entry == "price" else self.measurand.unit,
            series=series.readings,
            laps=laps,
            answers=answers,
            ambient=self._ambient(series.ambient),
            servings=self._servings(f"servings{at}"),
            instrument_id=self.typed.get("instrument") or None,
            measured_by=self._by(),
            measured_at=self._measured_at(),
            currency=self.bench.currency if self.entry == "price" else "",
            priced_on=self._priced_on() if self.entry == "price" else "",
            package=self._text(f"package{at}", "the package"),
            note=" ".join((self._text(f"note{at}", "the note", LONGEST_TEXT), *series.notes)).strip(),
        )

    def require_person(self) -> None:
        """Somebody must have measured it; a rating is nothing without its tester."""
        if not tidy(self.typed.get("by", "")):
            who = "who is rating: each tester counts once" if self.entry in BY_PEOPLE else "who has measured"
            self.wrong("by", f"Write {who}. A first name or initials will do.")

    def _value(self, name: str, raw: str) -> float | None:
        unit = self.bench.currency if self.entry == "price" else self.measurand.unit
        try:
            return read(raw, self.measurand.quantity, unit, cup_ml=self.bench.cup_ml)
        except ValueError as error:
            self.wrong(name, str(error))
            return None

    def _series(self, at: str) -> SeriesRead:
        text = self.typed.get(f"series{at}", "")
        if not text.strip():
            return SeriesRead()
        found = read_series(text, quantity=self.measurand.quantity, unit=self.measurand.unit)
        for problem in found.problems:
            where = f"Line {problem.line}: " if problem.line else ""
            self.wrong(f"series{at}", f"{where}{problem.text}")
        return found

    def _answers(self, at: str) -> tuple[int, ...]:
        given = [self.typed.get(f"statement{at}-{n}", "") for n in range(1, len(STATEMENTS) + 1)]
        if not any(given):
            return ()
        for place, answer in enumerate(given, start=1):
            if answer not in ("1", "2", "3", "4", "5"):
                text = f"Answer statement {place}; where you cannot say, choose the middle."
                self.wrong(f"statement{at}-{place}", text)
        return tuple(int(answer) for answer in given if answer in ("1", "2", "3", "4", "5"))

    def _laps(self, name: str, whole: float | None) -> tuple[float, ...]:
        parts = [part for part in re.split(r"[;\n]+", self.typed.get(name, "")) if part.strip()]
        if len(parts) > MOST_LAPS:
            self.wrong(name, f"Write at most {MOST_LAPS} laps; there are {len(parts)}.")
            return ()
        try:
            laps = tuple(read(part.strip(), "duration", self.measurand.unit) for part in parts)
        except ValueError as error:
            self.wrong(name, f"{error} Part laps by semicolons.")
            return ()
        if list(laps) != sorted(set(laps)) or (laps and whole is not None and laps[-1] > whole):
            self.wrong(name, "Write each lap as the time since the start, rising, and none after the end.")
        return laps

    def _ambient(self, logged: float | None) -> float | None:
        """What was typed of the room, else what the logger's own column says."""
        raw = tidy(self.typed.get("ambient", ""))
        if not raw or self.entry != "series":
            return logged
        try:
            return read(raw, self.measurand.quantity, self.measurand.unit)
        except ValueError as error:
            self.wrong("ambient", str(error))
            return None

    def _servings(self, name: str) -> float | None:
        raw = tidy(self.typed.get(name, ""))
        if not raw:
            return None
        try:
            found = number(raw)
        except ValueError as error:
            self.wrong(name, str(error))
            return None
        if not 0 < found <= 10_000:
            self.wrong(name, "Write the servings as a number above 0, or leave it empty.")
            return None
        return found

    def _by(self) -> str:
        return self._text("by", "the name")

    def _measured_at(self) -> datetime | None:
        raw = self.typed.get("measured_at", "")
        if not raw:
            return None
        try:
            found = datetime.fromisoformat(raw)
        except ValueError:
            self.wrong("measured_at", "Write day and time as 2026-03-08 14:30, or leave it empty for now.")
            return None
        there = found.replace(tzinfo=self.zone) if found.tzinfo is None and self.zone else found
        return there.astimezone(UTC)

    def _priced_on(self) -> str:
        raw = tidy(self.typed.get("priced_on", ""))
        try:
            found = date.fromisoformat(raw)
        except ValueError:
            self.wrong("priced_on", "Write the day of the price as 2026-03-08: prices change.")
            return ""
        if found > datetime.now(UTC).date() + timedelta(days=1):
            self.wrong("priced_on", f"{found} is still to come. Write the day on which the price was seen.")
        return found.isoformat()

    def _text(self, name: str, what: str, longest: int = LONGEST_NAME) -> str:
        value = tidy(self.typed.get(name, ""))
        if len(value) > longest:
            self.wrong(name, f"Shorten {what} to {longest} characters; it has {len(value)}.")
        return value
