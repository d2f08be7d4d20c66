"""One taster over the studies they took part in, and a panel's studies side by side: from signed results only.

Nothing here is computed from answers of a study that is not signed; whoever calls hands over signed ones alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.mandel import Mandel, mandel
from stats.phrasing import count

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

LAST, OFTEN = 3, 2
BLANK = "\N{NO-BREAK SPACE}"
RULE = (
    f"Hint at retraining: flagged, or beyond a 5{BLANK}% limit of h or k, in {OFTEN} of the last {LAST} studies with "
    "scores, in the attribute that the verdict rests on (common practice, no source)."
)
LIMITS = (
    "Limits of h and k: ISO 5725-2:2019, 7.3.1, with tasters in place of laboratories. Inner lines "
    f"5{BLANK}%, outer lines 1{BLANK}%; they depend on how many tasters took part."
)


@dataclass(frozen=True, slots=True)
class Seat:
    """How one taster took part in one study.

    left_out : the reason, "" where they count; right, sets : of forced choice
    """

    taster: str
    answered: int
    screens: int
    finished: bool
    late: int
    left_out: str
    right: int = 0
    sets: int = 0


@dataclass(frozen=True, slots=True)
class SignedStudy:
    """One signed study. at : signed, in ISO 8601; results : as signed; chance : of a right answer, or None."""

    id: str
    title: str
    at: str
    test: str
    results: Mapping[str, Any]
    seats: tuple[Seat, ...]
    chance: float | None


@dataclass(frozen=True, slots=True)
class AttributeLine:
    """One taster on one attribute of one study; what was not estimable is None.

    discrimination_p : of samples within the taster; repeatability : SD of repeats; agreement : with the others
    outside : which of "level" and "spread" lie beyond the 5 % limits; flags : what was flagged at the time
    """

    title: str
    primary: bool
    scores: int
    discrimination_p: float | None
    repeatability: float | None
    agreement: float | None
    h: float | None
    k: float | None
    limits: Mandel | None
    outside: tuple[str, ...]
    flags: tuple[str, ...]

    @property
    def stands_out(self) -> bool:
        """Whether a limit or a rule marks it."""
        return bool(self.outside or self.flags)


@dataclass(frozen=True, slots=True)
class StudyLine:
    """One study of one taster. p_value : exact, one-sided, of so many right answers by guessing; None without any."""

    study: SignedStudy
    seat: Seat
    attributes: tuple[AttributeLine, ...]
    p_value: float | None

    @property
    def leading(self) -> AttributeLine | None:
        """The attribute that the verdict rested on, else the first."""
        marked = [line for line in self.attributes if line.primary]
        return next(iter(marked or self.attributes), None)


@dataclass(frozen=True, slots=True)
class TasterRecord:
    """All signed studies of one taster, oldest first. hint : in words, "" where no rule gives one."""

    lines: tuple[StudyLine, ...]
    hint: str

    @property
    def finished(self) -> int:
        """Studies in which everything was answered."""
        return sum(line.seat.finished for line in self.lines)

    @property
    def right(self) -> tuple[int, int]:
        """Right answers and sets over all forced-choice studies."""
        return sum(line.seat.right for line in self.lines), sum(line.seat.sets for line in self.lines)


def record_of(attended: Sequence[tuple[SignedStudy, Seat]]) -> TasterRecord:
    """The record of one taster. attended : each study with the seat they had in it."""
    lines = tuple(
        _line(study, seat) for study, seat in sorted(attended, key=lambda pair: (pair[0].at, pair[0].id))
    )
    return TasterRecord(lines, _hint(lines))


def panel_lines(results: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    """Title and consistency of every attribute of signed results that has one, the primary one first."""
    found = [one for one in results.get("attributes", ()) if one.get("consistency")]
    found.sort(key=lambda one: one["standing"] != "primary")
    return [(one["title"], one["consistency"]) for one in found]


def _line(study: SignedStudy, seat: Seat) -> StudyLine:
    attributes = [
        line
        for one in study.results.get("attributes", ())
        if one.get("consistency") and (line := _attribute(one, seat.taster))
    ]
    p_value = None
    if seat.sets and study.chance is not None:
        from scipy.stats import binom

        p_value = float(binom.sf(seat.right - 1, seat.sets, study.chance))
    return StudyLine(study, seat, tuple(attributes), p_value)


def _attribute(one: Mapping[str, Any], taster: str) -> AttributeLine | None:
    figures = {row["taster"]: row for row in one["consistency"]["tasters"]}
    if taster not in figures:
        return None
    mine, limits = figures[taster], limits_of(one["consistency"])
    place = limits.of(taster) if limits else None
    flags = tuple(flag["about"] for flag in one["consistency"]["flags"] if flag["taster"] == taster)
    return AttributeLine(
        title=one["title"],
        primary=one["standing"] == "primary",
        scores=mine["n"],
        discrimination_p=mine["discrimination_p"],
        repeatability=mine["repeatability_sd"],
        agreement=mine["agreement"],
        h=place.h if place else None,
        k=place.k if place else None,
        limits=limits,
        outside=limits.outside(taster) if limits else (),
        flags=flags,
    )


def limits_of(consistency: Mapping[str, Any]) -> Mandel | None:
    """h and k of a study's tasters from their signed levels and spreads; None where they cannot be told."""
    rows = consistency["tasters"]
    spreads = {
        row["taster"]: (row["repeatability_sd"], row["repeatability_df"])
        for row in rows
        if row["repeatability_sd"] is not None
    }
    try:
        return mandel({row["taster"]: row["bias"] for row in rows}, spreads)
    except ValueError:
        return None


def _hint(lines: tuple[StudyLine, ...]) -> str:
    scored = [line for line in lines if line.leading is not None][-LAST:]
    marked = [line for line in scored if line.leading and line.leading.stands_out]
    if len(marked) < OFTEN:
        return ""
    where = ", ".join(f"“{line.study.title}”" for line in marked)
    return f"Stands out in {len(marked)} of the last {count(len(scored), 'study', 'studies')} with scores: {where}."
