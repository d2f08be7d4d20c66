"""Printed things: labels, fill sheet, pour sheet, tray maps. Every print is an event of the study."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel import printing
from panel.store import studies
from panel.store.ledger import append, events_of
from panel.store.rows import Cup, cups_of
from panel.store.sealing import open_key, samples_of
from panel.study.life import Move
from panel.study.plan import product_from_dict
from panel.study.problems import Problem
from panel.web.access import AsKitchen, AsOrganiser, KitchensStudy, OrganisersStudy
from panel.web.pages import InHouse, Sent
from panel.web.passphrases import phrase_in
from panel.web.slow_down import too_many_tries
from panel.web.study import study_page

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.web.house import House

router = APIRouter()


@router.get("/studies/{study_id}/print/labels.pdf")
def print_labels(
    request: Request,
    house: InHouse,
    who: AsOrganiser,
    study: OrganisersStudy,
    sheet: str = "a4-3x7",
    start: str = "1",
    right: str = "0",
    down: str = "0",
) -> Response:
    studies.require(study, Move.PRINT)
    chosen = printing.SHEETS.get(sheet)
    if chosen is None:
        return study_page(
            request, house, study, (Problem("sheet", "unknown", "Choose a sheet from the list."),), 422
        )
    first = _number(start, 1, chosen.per_page)
    shift = (_number(right, -10, 10), _number(down, -10, 10))
    if first is None or first != int(first):
        text = f"Begin at a whole number from 1 to {chosen.per_page}: that many labels are on this sheet."
        return study_page(request, house, study, (Problem("start", "not_in_range", text),), 422)
    if shift[0] is None or shift[1] is None:
        text = (
            "Shift by a number from -10 to 10 mm; for more, check the ruler page and the printer's settings."
        )
        return study_page(request, house, study, (Problem("right", "not_in_range", text),), 422)
    address = _frozen_address(house, study, who.actor, "cup labels")
    labels = [
        printing.CupLabel(cup.code, f"{address}/C/{cup.token}".upper(), cup.place, cup.position)
        for cup in _cups(house, study)
        if not cup.same_cup
    ]
    printed = printing.cup_labels(
        labels,
        chosen,
        start_at=int(first),
        shift=(shift[0], shift[1]),
        footer_commitment=study.commitment,
        cup_diameter_mm=studies.plan_of(study).kitchen.cup_diameter,
    )
    return _pdf(printed.pdf, "cup-labels")


@router.get("/studies/{study_id}/print/ruler.pdf")
def print_ruler(study: OrganisersStudy, sheet: str = "a4-3x7") -> Response:
    chosen = printing.SHEETS.get(sheet, printing.SHEETS["a4-3x7"])
    return _pdf(printing.ruler_page(chosen).pdf, "ruler")


@router.get("/studies/{study_id}/print/labels.csv")
def print_label_rows(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    """The labels for another printer, in tray order."""
    studies.require(study, Move.PRINT)
    address = _frozen_address(house, study, who.actor, "cup labels as CSV")
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["code", "place", "position", "address"])
    for cup in _cups(house, study):
        if not cup.same_cup:
            writer.writerow([cup.code, cup.place, cup.position, f"{address}/C/{cup.token}".upper()])
    return Response(text.getvalue(), media_type="text/csv", headers=_named("cup-labels.csv", attach=True))


@router.post("/studies/{study_id}/print/fill-sheet.pdf")
def print_fill_sheet(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    """Names to pour letters: needs the passphrase, and the look is recorded."""
    studies.require(study, Move.PRINT)
    if too_many_tries(request, "passphrase"):
        wait = Problem(
            "passphrase", "wait", "Too many tries from this device. Wait five minutes, then try again."
        )
        return study_page(request, house, study, (wait,), 429)
    try:
        with house.database.write() as session:
            key = open_key(session, study, phrase_in(sent))["key"]
            letters = {sample.id: sample.pour_letter for sample in samples_of(session, study.id)}
            append(session, study.id, who.actor, "names seen", {"on": "fill sheet"})
    except ValueError as error:
        return study_page(request, house, study, (Problem("passphrase", "does_not_open", str(error)),), 422)
    products = sorted((letters[sample], product_from_dict(stored)) for sample, stored in key.items())
    entries = [printing.FillEntry(p.name, p.maker, p.lot, p.note, letter) for letter, p in products]
    printed = printing.fill_sheet(studies.plan_of(study).title, entries, study.commitment)
    return _pdf(printed.pdf, "fill-sheet")


@router.get("/studies/{study_id}/print/pour-sheet.pdf")
def print_pour_sheet(house: InHouse, who: AsKitchen, study: KitchensStudy) -> Response:
    studies.require(study, Move.PRINT)
    _frozen_address(house, study, who.actor, "pour sheet")
    return _pdf(printing.pour_sheet(pour_sheet_of(house, study)).pdf, "pour-sheet")


@router.get("/studies/{study_id}/print/tray-maps.pdf")
def print_tray_maps(house: InHouse, who: AsKitchen, study: KitchensStudy) -> Response:
    studies.require(study, Move.PRINT)
    _frozen_address(house, study, who.actor, "tray maps")
    plan = studies.plan_of(study)
    trays: dict[int, list[printing.TrayCup]] = {}
    for cup in _cups(house, study):
        if not cup.same_cup:
            condition = plan.conditions[cup.condition] if len(plan.conditions) > 1 else ""
            trays.setdefault(cup.place, []).append(printing.TrayCup(cup.code, cup.position, condition))
    maps = [printing.TrayMap(place, tuple(cups)) for place, cups in sorted(trays.items())]
    return _pdf(printing.tray_maps(maps, cup_diameter_mm=plan.kitchen.cup_diameter).pdf, "tray-maps")


@router.get("/studies/{study_id}/print/serving-sheet.pdf")
def print_serving_sheet(house: InHouse, who: AsKitchen, study: KitchensStudy) -> Response:
    """For the second person: codes by place, without pour letters."""
    studies.require(study, Move.PRINT)
    _frozen_address(house, study, who.actor, "serving sheet")
    return _pdf(printing.serving_sheet(pour_sheet_of(house, study)).pdf, "serving-sheet")


@router.get("/studies/{study_id}/print/closing-sheet.pdf")
def print_closing_sheet(house: InHouse, study: OrganisersStudy) -> Response:
    """The head of the event chain on paper, so that a cut-off tail shows."""
    studies.require(study, Move.READ_REPORT)
    with house.database.read() as session:
        events = events_of(session, study.id)
    title = studies.plan_of(study).title
    printed = printing.closing_sheet(title, events[-1].hash, study.commitment, events=len(events))
    return _pdf(printed.pdf, "closing-sheet")


def pour_sheet_of(house: House, study: Study) -> printing.PourSheet:
    """What the kitchen needs, by pour letter and by place; no names."""
    plan = studies.plan_of(study)
    several = len(plan.conditions) > 1
    cups = tuple(
        printing.PourCup(
            code=cup.code,
            place=cup.place,
            position=cup.position,
            pour_letter=cup.pour_letter,
            condition=plan.conditions[cup.condition] if several else "",
        )
        for cup in _cups(house, study)
        if not cup.same_cup
    )
    kitchen = plan.kitchen
    preparation = printing.Preparation(
        per_cup=kitchen.per_cup,
        unit=kitchen.unit,
        spare_cups=kitchen.spare_cups,
        loss=kitchen.loss,
        per_batch=kitchen.per_batch,
    )
    controls = tuple(printing.Control(what) for what in kitchen.controls) or printing.CONTROLS
    return printing.PourSheet(
        heading=plan.title,
        commitment=study.commitment,
        cups=cups,
        conditions=plan.conditions if several else (),
        preparation=preparation,
        controls=controls,
        cautions=plan.cautions,
        serving_note=_serving_note(plan),
        schedule=_schedule(plan, cups),
        two_person=kitchen.two_person,
    )


def _serving_note(plan: Plan) -> str:
    if plan.kitchen.temperature is None:
        return plan.serving_note
    return f"{plan.serving_note} Serve at {plan.kitchen.temperature:g} °C.".strip()


def _schedule(plan: Plan, cups: tuple[printing.PourCup, ...]) -> printing.BatchSchedule | None:
    """What to start when, where the plan says how long things take; tasters come in groups of `at_once`."""
    kitchen = plan.kitchen
    if (
        kitchen.minutes is None
        or kitchen.holding is None
        or kitchen.per_batch is None
        or kitchen.per_cup is None
    ):
        return None
    at_once = kitchen.at_once or plan.tasters
    last = max(cup.position for cup in cups)
    dues: dict[tuple[str, float], int] = {}
    for cup in cups:
        group = (cup.place - 1) // at_once
        minute = (group * last + cup.position - 1) * kitchen.minutes_per_cup
        dues[cup.pour_letter, minute] = dues.get((cup.pour_letter, minute), 0) + 1
    cups_per_batch = max(1, int(kitchen.per_batch * (1 - kitchen.loss) / kitchen.per_cup))
    return printing.batch_schedule(
        [printing.Due(letter, minute, number) for (letter, minute), number in sorted(dues.items())],
        printing.Kitchen(kitchen.minutes, kitchen.holding, cups_per_batch, rest=kitchen.rest),
    )


def _cups(house: House, study: Study) -> list[Cup]:
    with house.database.read() as session:
        return cups_of(session, study.id)


def _frozen_address(house: House, study: Study, actor: str, what: str) -> str:
    """The address that this study's codes carry: the one in force at its first print, from then on the same."""
    with house.database.write() as session:
        append(session, study.id, actor, "printed", {"what": what})
        return studies.freeze_address(session, study.id, house.base_url)


def _number(text: str, low: float, high: float) -> float | None:
    try:
        value = float(text.replace(",", ".").strip() or "0")
    except ValueError:
        return None
    return value if low <= value <= high else None


def _pdf(content: bytes, name: str) -> Response:
    return Response(content, media_type="application/pdf", headers=_named(f"{name}.pdf"))


def _named(name: str, *, attach: bool = False) -> dict[str, str]:
    """Headers for a file whose name says what kind of thing it is and nothing else."""
    how = "attachment" if attach else "inline"
    return {"Content-Disposition": f'{how}; filename="{name}"', "Cache-Control": "no-store"}
