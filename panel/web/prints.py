"""Printed things for kitchen and trays: fill sheet, pour sheet, tray maps. Every print is an event of the study."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel import printing
from panel.store import studies
from panel.store.ledger import append, events_of
from panel.store.rows import Cup, current_cups_of
from panel.store.sealing import BrokenSealError, open_key, samples_of
from panel.study.life import Move
from panel.study.plan import product_from_dict
from panel.study.problems import Problem
from panel.study.seal import WrongPassphraseError
from panel.web import label_prints, room_prints
from panel.web.access import AsKitchen, AsOrganiser, KitchensStudy, OrganisersStudy
from panel.web.label_prints import frozen_address
from panel.web.pages import InHouse, Sent
from panel.web.passphrases import WAIT, phrase_in, too_many_phrases
from panel.web.study import study_page

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.web.house import House

router = APIRouter()
router.include_router(label_prints.router)
router.include_router(room_prints.router)


@router.post("/studies/{study_id}/print/fill-sheet.pdf")
def print_fill_sheet(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    """Names to pour letters: needs the passphrase, and the look is recorded."""
    studies.require(study, Move.PRINT)
    if too_many_phrases(request):
        return study_page(request, house, study, (WAIT,), 429)
    try:
        with house.database.write() as session:
            key = open_key(session, study, phrase_in(sent))["key"]
            letters = {sample.id: sample.pour_letter for sample in samples_of(session, study.id)}
            append(session, study.id, who.actor, "names seen", {"on": "fill sheet"})
    except (WrongPassphraseError, BrokenSealError) as error:
        return study_page(request, house, study, (Problem("passphrase", "does_not_open", str(error)),), 422)
    products = sorted((letters[sample], product_from_dict(stored)) for sample, stored in key.items())
    entries = [printing.FillEntry(p.name, p.maker, p.lot, p.note, letter) for letter, p in products]
    printed = printing.fill_sheet(studies.plan_of(study).title, entries, study.commitment)
    return _pdf(printed.pdf, "fill-sheet")


@router.get("/studies/{study_id}/print/pour-sheet.pdf")
def print_pour_sheet(house: InHouse, who: AsKitchen, study: KitchensStudy) -> Response:
    studies.require(study, Move.PRINT)
    frozen_address(house, study, who.actor, "pour sheet", {})
    return _pdf(printing.pour_sheet(pour_sheet_of(house, study)).pdf, "pour-sheet")


@router.get("/studies/{study_id}/print/tray-maps.pdf")
def print_tray_maps(house: InHouse, who: AsKitchen, study: KitchensStudy, place: str = "") -> Response:
    """The tray map of every place, or of the one of that number."""
    studies.require(study, Move.PRINT)
    frozen_address(house, study, who.actor, "tray maps", {"place": place})
    plan = studies.plan_of(study)
    maps = tray_maps_for(plan, [cup for cup in _cups(house, study) if place in ("", str(cup.place))])
    if not maps:
        raise HTTPException(404)
    return _pdf(printing.tray_maps(maps, cup_diameter_mm=plan.kitchen.cup_diameter).pdf, "tray-maps")


@router.get("/studies/{study_id}/print/serving-sheet.pdf")
def print_serving_sheet(house: InHouse, who: AsKitchen, study: KitchensStudy) -> Response:
    """For the second person: codes by place, without pour letters."""
    studies.require(study, Move.PRINT)
    frozen_address(house, study, who.actor, "serving sheet", {})
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


def tray_maps_for(plan: Plan, served: list[Cup]) -> list[printing.TrayMap]:
    """One map for each place, by code and position."""
    trays: dict[int, list[printing.TrayCup]] = {}
    for cup in served:
        if not cup.same_cup:
            condition = plan.conditions[cup.condition] if len(plan.conditions) > 1 else ""
            trays.setdefault(cup.place, []).append(printing.TrayCup(cup.code, cup.position, condition))
    return [printing.TrayMap(place, tuple(cups)) for place, cups in sorted(trays.items())]


def pour_sheet_of(house: House, study: Study) -> printing.PourSheet:
    """What the kitchen needs, by pour letter and by place; no names."""
    return pour_sheet_for(studies.plan_of(study), _cups(house, study), study.commitment)


def pour_sheet_for(plan: Plan, served: list[Cup], commitment: str) -> printing.PourSheet:
    """The pour sheet of these cups; commitment: "" where nothing is sealed."""
    if plan.alone:
        raise studies.ForbiddenMoveError(
            "This study is done by one person alone: cups are filled by the dots under them, not by their codes. "
            "Open “Working alone” on the study's page."
        )
    several = len(plan.conditions) > 1
    cups = tuple(
        printing.PourCup(
            code=cup.code,
            place=cup.place,
            position=cup.position,
            pour_letter=cup.pour_letter,
            condition=plan.conditions[cup.condition] if several else "",
        )
        for cup in served
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
        commitment=commitment,
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
        return current_cups_of(session, study.id)


def _pdf(content: bytes, name: str) -> Response:
    """A file whose name says what kind of thing it is and nothing else."""
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/pdf", headers=headers)
