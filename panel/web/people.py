"""The register of a study: who took part, doses, one person's data, erasure."""

from __future__ import annotations

import json
from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request, Response

from panel.store import studies
from panel.store.people import Registered, erase_person, person_data, register_of
from panel.study.cautions import ALWAYS, CAUTIONS, CONSENT, notice
from panel.study.life import Move, State, allowed
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, page, see_other
from panel.web.study_page import StudyHead, head_of_page

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """Everybody who took a place; wording: what they read before they agreed."""

    head: StudyHead
    people: tuple[Registered, ...]
    wording: tuple[str, ...]
    counts_doses: bool
    may_export: bool
    days: int


@router.get("/studies/{study_id}/people")
def show_people(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
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
