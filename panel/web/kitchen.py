"""The kitchen's page: what to pour into which cup, by pour letter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.printing import KITCHEN_CAUTIONS
from panel.store import studies
from panel.study.life import Move
from panel.web.access import KitchensStudy
from panel.web.pages import InHouse, page
from panel.web.prints import pour_sheet_of
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.printing import PourSheet

router = APIRouter()


@dataclass(frozen=True, slots=True)
class KitchenPage:
    """Pour letters to cups; no names. letters: each with its cups."""

    head: StudyHead
    sheet: PourSheet
    letters: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]


@router.get("/studies/{study_id}/kitchen")
def show_kitchen(request: Request, house: InHouse, study: KitchensStudy) -> Response:
    studies.require(study, Move.EXPORT)
    sheet = pour_sheet_of(house, study)
    cups: dict[str, list[str]] = {}
    for cup in sheet.cups:
        cups.setdefault(cup.pour_letter, []).append(cup.code)
    letters = tuple((letter, tuple(codes)) for letter, codes in sorted(cups.items()))
    cautions = tuple(KITCHEN_CAUTIONS[key] for key in sheet.cautions if key in KITCHEN_CAUTIONS)
    return page(request, "kitchen/kitchen.html", KitchenPage(head_of_page(study), sheet, letters, cautions))
