"""The register of a study: who took part, doses, one person's data, erasure."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel.store import studies
from panel.store.people import Registered, erase_person, person_data, register_of
from panel.store.retention import remove_outdated
from panel.study.cautions import ALWAYS, CAUTIONS, CONSENT, notice
from panel.study.life import Move, State, allowed
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, page, see_other
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """Everybody who took a place; wording: what they read before they agreed.

    days, due : after how many days, and on which day, names go; due is "" while the report is not signed
    said : what erasing on demand has just done, in words
    """

    head: StudyHead
    people: tuple[Registered, ...]
    wording: tuple[str, ...]
    counts_doses: bool
    may_export: bool
    days: int
    due: str
    said: str


@router.get("/studies/{study_id}/people")
def show_people(request: Request, house: InHouse, study: OrganisersStudy, went: str = "") -> Response:
    studies.require(study, Move.EXPORT)
    plan = studies.plan_of(study)
    with house.database.read() as session:
        people = tuple(register_of(session, study))
    cautions = (text for key, text in CAUTIONS.items() if key in plan.cautions)
    context = PeoplePage(
        head=head_of_page(study),
        people=people,
        wording=(*notice(plan.allergens, plan.other_allergens), *cautions, ALWAYS, CONSENT),
        counts_doses=plan.caffeine_mg is not None or plan.alcohol_g is not None,
        may_export=allowed(State(study.state), Move.READ_REPORT),
        days=house.settings.register_days,
        due=_due(house, study),
        said=_said(went),
    )
    return page(request, "organiser/people.html", context)


@router.get("/studies/{study_id}/people/{attempt_id}.json")
def export_person(house: InHouse, study: OrganisersStudy, attempt_id: str) -> Response:
    """All that is kept of one person, to be handed to them. Not while tasting is open: it holds answers."""
    with house.database.read() as session:
        try:
            data = person_data(session, study, attempt_id)
        except LookupError:
            raise HTTPException(404) from None
    headers = {
        "Content-Disposition": f'attachment; filename="person-{data["taster"]}.json"',
        "Cache-Control": "no-store",
    }
    text = json.dumps(data, ensure_ascii=False, indent=1) + "\n"
    return Response(text, media_type="application/json", headers=headers)


@router.post("/studies/{study_id}/people/{attempt_id}/erase")
def erase(house: InHouse, who: AsOrganiser, study: OrganisersStudy, attempt_id: str) -> Response:
    with house.database.write() as session:
        try:
            erase_person(session, study.id, who.actor, attempt_id)
        except LookupError:
            raise HTTPException(404) from None
    house.database.forget_deleted()
    return see_other(f"/studies/{study.id}/people")


@router.post("/studies/{study_id}/people/outdated")
def erase_outdated(house: InHouse, _who: AsOrganiser, study: OrganisersStudy) -> Response:
    """Erase now, in every study, what the retention period has run out for, as the server does every day."""
    removed = remove_outdated(house.database, house.settings.register_days)
    return see_other(f"/studies/{study.id}/people?went={removed.people}")


def _due(house: House, study: Study) -> str:
    if study.signed_at is None:
        return ""
    return house.local.day(study.signed_at + timedelta(days=house.settings.register_days))


def _said(went: str) -> str:
    if went == "0":
        return "Nothing has outlived its time: no name was erased."
    if not (went.isascii() and went.isdigit()):
        return ""
    people = "1 person" if went == "1" else f"{went} people"
    return f"The names and written remarks of {people} had outlived their time and were erased."
