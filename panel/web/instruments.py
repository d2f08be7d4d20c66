"""The instruments of the house: what there is, how fine it reads, when it was last checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel.bench.units import read_step, shown
from panel.store import studies
from panel.store.instruments import Described, add_instrument, instruments_in_use, put_away
from panel.study.draft_reader import LONGEST_NAME, Reader
from panel.study.life import Move
from panel.study.problems import Problem
from panel.study.quantities import QUANTITIES, Quantity
from panel.web.access import AsBench, BenchsStudy
from panel.web.draft_bench import Options, units_of
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page
from stats.phrasing import significant

if TYPE_CHECKING:
    from panel.store.bench_tables import Instrument
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()

MEASURED = tuple(
    one for one in QUANTITIES.values() if one.units and one.id not in ("temperature-series", "yield")
)  # a thermometer reads series too, a balance yields too


@dataclass(frozen=True, slots=True)
class InstrumentLine:
    """One instrument in words, and as the form would have taken it."""

    id: str
    name: str
    measures: str
    reads: str
    checked: str
    typed: dict[str, str]


@dataclass(frozen=True, slots=True)
class InstrumentsPage:
    """All instruments in use, and the form for a further or changed one. replaces: the one that is being changed."""

    head: StudyHead
    instruments: tuple[InstrumentLine, ...]
    quantities: tuple[Quantity, ...]
    units: Options
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    replaces: str


@router.get("/studies/{study_id}/bench/instruments")
def show_instruments(
    request: Request, house: InHouse, study: BenchsStudy, quantity: str = "", change: str = ""
) -> Response:
    studies.require(study, Move.MEASURE)
    same = {"temperature-series": "temperature", "yield": "mass"}
    typed = {"quantity": same.get(quantity, quantity)}
    return _instruments_page(request, house, study, typed, change=change)


@router.post("/studies/{study_id}/bench/instruments")
def save_instrument(
    request: Request, house: InHouse, who: AsBench, study: BenchsStudy, sent: Sent
) -> Response:
    """A further instrument, or a changed one: then a new one in its place, so that earlier runs keep what they had."""
    studies.require(study, Move.MEASURE)
    reader = Reader(sent)
    described = _read(reader, sent)
    if reader.problems:
        return _instruments_page(
            request, house, study, sent, tuple(reader.problems), sent.get("replaces", "")
        )
    with house.database.write() as session:
        same = {one.name.casefold() for one in instruments_in_use(session) if one.id != sent.get("replaces")}
        if described.name.casefold() not in same:
            try:
                add_instrument(session, study.id, who.actor, described, sent.get("replaces", ""))
            except LookupError:
                raise HTTPException(404) from None
            return see_other(f"/studies/{study.id}/bench/instruments")
    text = f"There is an instrument called “{described.name}” already. Name this one otherwise, such as by its number."
    problems = (Problem("name", "same_name", text),)
    return _instruments_page(request, house, study, sent, problems, sent.get("replaces", ""))


@router.post("/studies/{study_id}/bench/instruments/{instrument_id}/put-away")
def put_instrument_away(house: InHouse, who: AsBench, study: BenchsStudy, instrument_id: str) -> Response:
    studies.require(study, Move.MEASURE)
    with house.database.write() as session:
        try:
            put_away(session, study.id, who.actor, instrument_id)
        except LookupError:
            raise HTTPException(404) from None
    return see_other(f"/studies/{study.id}/bench/instruments")


def _read(reader: Reader, sent: dict[str, str]) -> Described:
    known = {one.id for one in MEASURED}
    quantity = reader.choice("quantity", "what it measures", known, "")
    if not quantity:
        reader.wrong("quantity", "missing", "Choose what it measures.")
        quantity = "temperature"
    units = QUANTITIES[quantity].units
    unit = sent.get("unit", "") or units[0]
    if unit not in units:
        listed = ", ".join(units)
        reader.wrong(
            "unit", "unknown_choice", f"{QUANTITIES[quantity].name} is not in {unit}. Choose one of {listed}."
        )
        unit = units[0]
    return Described(
        name=reader.text(
            "name", "its name, numbered where several are alike", required=True, longest=LONGEST_NAME
        ),
        quantity=quantity,
        unit=unit,
        resolution=_step(reader, sent, "resolution", quantity, unit),
        accuracy=_step(reader, sent, "accuracy", quantity, unit),
        checked_on=_day(reader, sent),
        found=reader.text("found", "what the check gave", longest=500),
    )


def _step(reader: Reader, sent: dict[str, str], name: str, quantity: str, unit: str) -> float | None:
    raw = sent.get(name, "").strip().lstrip("±").strip()
    if not raw:
        return None
    try:
        return read_step(raw, quantity, unit)
    except ValueError as error:
        reader.wrong(name, "unfit", str(error))
        return None


def _day(reader: Reader, sent: dict[str, str]) -> str:
    raw = sent.get("checked_on", "").strip()
    if not raw:
        return ""
    try:
        return date.fromisoformat(raw).isoformat()
    except ValueError:
        reader.wrong("checked_on", "no_date", "Write the day as 2026-03-08, or leave it empty.")
        return ""


def _instruments_page(
    request: Request,
    house: House,
    study: Study,
    typed: dict[str, str],
    problems: tuple[Problem, ...] = (),
    change: str = "",
) -> Response:
    with house.database.read() as session:
        lines = tuple(map(_line, instruments_in_use(session)))
    changed = next((line for line in lines if line.id == change), None)
    context = InstrumentsPage(
        head=head_of_page(study),
        instruments=lines,
        quantities=MEASURED,
        units=units_of(typed.get("quantity", "")),
        typed=typed if problems or changed is None else changed.typed,
        problems=problems,
        replaces=changed.id if changed else "",
    )
    return page(request, "bench/instruments.html", context, status=422 if problems else 200)


def _line(one: Instrument) -> InstrumentLine:
    steps = {
        name: significant(shown(value, one.quantity, one.unit, difference=True), 3).rstrip("0").rstrip(".")
        for name, value in (("resolution", one.resolution), ("accuracy", one.accuracy))
        if value is not None
    }
    words = {"resolution": "steps of {} {}", "accuracy": "within ±{} {}"}
    return InstrumentLine(
        id=one.id,
        name=one.name,
        measures=QUANTITIES[one.quantity].name,
        reads=", ".join(words[name].format(text, one.unit) for name, text in steps.items()) or "not known",
        checked=": ".join(word for word in (one.checked_on, one.found) if word) or "never noted",
        typed={
            "name": one.name,
            "quantity": one.quantity,
            "unit": one.unit,
            "checked_on": one.checked_on,
            "found": one.found,
            **steps,
        },
    )
