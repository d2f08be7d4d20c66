"""The places of a room in words: who has come how far, who is silent or late, who needs somebody."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.store.incidents import OpenCall
    from panel.store.rows import SeatProgress
    from panel.store.served import Evenness, Meter
    from panel.store.tables import Sitting

SILENT_MINUTES = 5
SCREENS_BEHIND = 3
ON_ONE_PHONE = 3  # two people sharing a phone is usual
MANY = 40  # places from which on each is shown small


@dataclass(frozen=True, slots=True)
class Seat:
    """One place in the room, in words.

    status : "free", "tasting", "done" (for this sitting), "finished" or "left"; words : the same for reading
    silent : minutes since the last answer while tasting, else None; behind : screens behind the middle of the room
    """

    place: int
    status: str
    words: str
    answered: int
    due: int
    name: str
    silent: int | None
    behind: int


@dataclass(frozen=True, slots=True)
class Alert:
    """Places that need somebody. call : id of the call to answer, "" where there is none."""

    places: tuple[int, ...]
    text: str
    call: str = ""


def seats_of(rows: Sequence[SeatProgress], sitting: Sitting) -> tuple[Seat, ...]:
    """Every place in words, as of now."""
    running = sitting.opened_at is not None and sitting.closed_at is None
    middle = median([row.answered for row in rows if row.status == "tasting"] or [0])
    return tuple(_seat(row, sitting, running, middle) for row in rows)


def alerts_of(
    seats: Sequence[Seat], calls: Sequence[OpenCall], phones: Sequence[tuple[int, ...]] = ()
) -> tuple[Alert, ...]:
    """What somebody should look at, calls first. phones: the places taken on each phone that holds several."""
    found = [Alert((call.place,), _call_words(call), call.id) for call in calls]
    found += [
        Alert((seat.place,), "was left before the end. Give it again, so that the next comer takes it.")
        for seat in seats
        if seat.status == "left"
    ]
    quiet = [seat for seat in seats if seat.silent is not None and seat.silent >= SILENT_MINUTES]
    if quiet:
        longest = max(seat.silent or 0 for seat in quiet)
        said = "has been silent for" if len(quiet) == 1 else "have been silent, the longest for"
        found.append(Alert(tuple(seat.place for seat in quiet), f"{said} {longest} minutes."))
    late = [seat for seat in seats if seat.behind >= SCREENS_BEHIND and seat not in quiet]
    if late:
        text = f"{'is' if len(late) == 1 else 'are'} {SCREENS_BEHIND} screens or more behind the middle of the room."
        found.append(Alert(tuple(seat.place for seat in late), text))
    found += [
        Alert(
            places,
            "were taken on one phone. Ask whether so many people share it; if not, note them as gone and give the "
            "places again.",
        )
        for places in phones
        if len(places) >= ON_ONE_PHONE
    ]
    return tuple(found)


def ago(moment: datetime) -> str:
    """How long ago, in words."""
    minutes = int((datetime.now(UTC) - moment).total_seconds() // 60)
    if minutes < 1:
        return "just now"
    return f"{minutes} min ago" if minutes < 120 else f"{minutes // 60} hours ago"


def _call_words(call: OpenCall) -> str:
    if call.kind == "help":
        return f"asks for help ({ago(call.made_at)})."
    return f"has cup {call.code}, which is not theirs ({ago(call.made_at)})."


def _seat(row: SeatProgress, sitting: Sitting, running: bool, middle: float) -> Seat:
    status = _status(row)
    silent, behind = None, 0
    if status == "tasting" and running and sitting.paused_at is None:
        silent = _minutes_since(datetime.fromisoformat(row.last_heard or row.dealt), sitting)
        if _minutes_since(datetime.fromisoformat(row.dealt), sitting) >= SILENT_MINUTES:  # not who just came
            behind = max(0, int(middle) - row.answered)
    words = {
        "free": "free" if row.attempt_number == 1 and not row.attempt_id else "free again",
        "tasting": f"{row.answered} of {row.due}",
        "done": f"{row.answered} of {row.due}, done for now",
        "finished": "finished",
        "left": f"left after {row.answered} of {row.due}",
    }[status]
    return Seat(row.place, status, words, row.answered, row.due, row.name, silent, behind)


def _status(row: SeatProgress) -> str:
    if row.waits:
        return "free"
    if row.status == "stepped out":
        return "left"
    if row.status == "tasting" and row.answered >= row.due:
        return "done"
    return row.status


def _minutes_since(moment: datetime, sitting: Sitting) -> int:
    """Whole minutes of this sitting since that moment."""
    from_then = max(moment, sitting.opened_at or datetime.now(UTC))
    return int((datetime.now(UTC) - from_then).total_seconds() // 60)


@dataclass(frozen=True, slots=True)
class MeterRow:
    """One count of the meter: as planned, as answered so far, and if the free places stay empty."""

    what: str
    planned: int
    answered: int
    without: int


@dataclass(frozen=True, slots=True)
class PositionTable:
    """How often each sample, by number, was answered at each position."""

    title: str
    positions: tuple[int, ...]
    counts: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class MeterWords:
    """The meter in sentences and one small table; position tables for whoever wants to see the counts."""

    sentences: tuple[str, ...]
    rows: tuple[MeterRow, ...]
    tables: tuple[PositionTable, ...]


def meter_words(meter: Meter, conditions: Sequence[str], *, alone: bool = False) -> MeterWords:
    """What the balance of the servings says. alone: one person's shuffles decide the orders, the plan does not."""
    planned, answered, without = meter.planned, meter.answered, meter.without_the_free
    rows: tuple[MeterRow, ...] = (
        MeterRow("Places with answers", planned.places, answered.places, without.places),
        MeterRow("Most uneven position", planned.position, answered.position, without.position),
        MeterRow("Most uneven succession", planned.carry_over, answered.carry_over, without.carry_over),
    )
    sentences: tuple[str, ...] = (
        _plan_sentence(planned),
        _answered_sentence(answered),
        _empty_sentence(meter),
    )
    if alone:
        rows, sentences = (), (_shuffled_sentence(answered),)
    tables = tuple(
        PositionTable(
            conditions[index] if len(conditions) > 1 else "",
            tuple(range(1, len(balance.position[0]) + 1)),
            balance.position,
        )
        for index, balance in enumerate(answered.balances)
        if balance.position and balance.position[0]
    )
    return MeterWords(sentences, rows, tables)


def _plan_sentence(planned: Evenness) -> str:
    return (
        f"The sealed plan: at each position every sample comes equally often{_but(planned.position)}, and each "
        f"comes equally often right after each other one{_but(planned.carry_over)}."
    )


def _but(spread: int) -> str:
    return "" if spread == 0 else f" to within {spread}"


def _answered_sentence(answered: Evenness) -> str:
    if not answered.places:
        return "Nothing has been answered yet."
    return (
        f"Answered so far: positions differ by up to {answered.position}, successions by up to "
        f"{answered.carry_over}. While tasters are under way these run ahead of the plan, and fall back as "
        "they finish."
    )


def _shuffled_sentence(answered: Evenness) -> str:
    drawn = "The orders are those of your shuffles: randomised, not balanced."
    if not answered.places:
        return f"{drawn} What stood at which position is known once a round’s dots are written down."
    rounds = "the 1 round" if answered.places == 1 else f"the {answered.places} rounds"
    return (
        f"{drawn} In {rounds} whose dots are written down, positions differ by up to {answered.position} and "
        f"successions by up to {answered.carry_over}."
    )


def _empty_sentence(meter: Meter) -> str:
    if not meter.free:
        return "No place is empty."
    places = "1 place is" if meter.free == 1 else f"{meter.free} places are"
    planned, without = meter.planned, meter.without_the_free
    if not without.places:
        return f"{places} empty."
    worse = [
        f"{what} would differ by up to {then} instead of {now}"
        for what, now, then in (
            ("positions", planned.position, without.position),
            ("successions", planned.carry_over, without.carry_over),
        )
        if then > now
    ]
    if not worse:
        return f"{places} empty. If that stays so, the rest is as balanced as the plan."
    return f"{places} empty. If that stays so, {' and '.join(worse)}."
