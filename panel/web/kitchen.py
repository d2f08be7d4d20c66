"""The kitchen's page: what to pour into which cup, by pour letter, and how long ago each batch was poured."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.printing import KITCHEN_CAUTIONS
from panel.store import studies
from panel.store.batches import Poured, batches_of, note_poured
from panel.store.rows import Cup, current_cups_of
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.web.access import AsKitchen, KitchensStudy
from panel.web.pages import InHouse, Sent, page, see_other, wants_fragment
from panel.web.prints import pour_sheet_of
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.printing import PourSheet
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch in words. over : whether it is past the time within which it must be served."""

    letter: str
    number: int
    words: str
    over: bool


@dataclass(frozen=True, slots=True)
class KitchenPage:
    """Pour letters to cups; no names. letters: each with its cups; again: cups that are to be poured afresh."""

    head: StudyHead
    sheet: PourSheet
    letters: tuple[tuple[str, tuple[str, ...]], ...]
    again: tuple[Cup, ...]
    batches: tuple[BatchLine, ...]
    may_pour: bool
    cautions: tuple[str, ...]
    problems: tuple[Problem, ...]
    typed: dict[str, str]


@router.get("/studies/{study_id}/kitchen")
def show_kitchen(request: Request, house: InHouse, study: KitchensStudy) -> Response:
    studies.require(study, Move.EXPORT)
    return _page(request, house, study)


@router.post("/studies/{study_id}/kitchen/poured")
def poured(request: Request, house: InHouse, who: AsKitchen, study: KitchensStudy, sent: Sent) -> Response:
    """One pour letter is poured now; a further batch serves from the place on that was typed."""
    studies.require(study, Move.EXPORT)
    typed, letter = sent.get("from_place", "").strip() or "1", sent.get("letter", "")
    problem = None
    if not re.fullmatch(r"[1-9]\d{0,3}", typed):
        problem = Problem("from_place", "no_place", "Write the number of a place, from 1 on.")
    with house.database.write() as session:
        known = {batch.letter for batch in batches_of(session, study.id)}
        if problem is None and letter in known:
            note_poured(session, study.id, who.actor, letter, int(typed))
            return see_other(f"/studies/{study.id}/kitchen#batches")
    problem = problem or Problem("", "no_letter", "Use the button of the pour letter that was poured.")
    return _page(request, house, study, (problem,), sent, status=422)


def _page(
    request: Request,
    house: House,
    study: Study,
    problems: tuple[Problem, ...] = (),
    typed: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    sheet = pour_sheet_of(house, study)
    holding = studies.plan_of(study).kitchen.holding
    cups: dict[str, list[str]] = {}
    for cup in sheet.cups:
        cups.setdefault(cup.pour_letter, []).append(cup.code)
    with house.database.read() as session:
        batches = batches_of(session, study.id)
        again = [cup for cup in current_cups_of(session, study.id) if cup.fresh]
    own = {(cup.place, cup.code): cup for cup in reversed(again)}
    context = KitchenPage(
        head=head_of_page(study),
        sheet=sheet,
        letters=tuple((letter, tuple(codes)) for letter, codes in sorted(cups.items())),
        again=tuple(reversed(own.values())),
        batches=tuple(_line(batch, holding) for batch in batches),
        may_pour=study.state in (State.SEALED, State.SERVING),
        cautions=tuple(KITCHEN_CAUTIONS[key] for key in sheet.cautions if key in KITCHEN_CAUTIONS),
        problems=problems,
        typed=typed or {},
    )
    block = "batches" if wants_fragment(request) else None
    return page(request, "kitchen/kitchen.html", context, block=block, status=status)


def _line(batch: Poured, holding: float | None) -> BatchLine:
    if batch.poured_at is None:
        limit = f"; to be served within {holding:g} min" if holding is not None else ""
        return BatchLine(batch.letter, batch.number, f"not poured yet{limit}", False)
    minutes = int((datetime.now(UTC) - batch.poured_at).total_seconds() // 60)
    words = f"poured {minutes} min ago"
    if batch.number > 1:
        words += f", for places from {batch.first_place} on" if batch.first_place else ", for no cup"
    if holding is None:
        return BatchLine(batch.letter, batch.number, words, False)
    left = holding - minutes
    if left < 0:
        words += f": {-left:g} min over its {holding:g} min. Pour a fresh batch."
    else:
        words += f": {left:g} min left of {holding:g}"
    return BatchLine(batch.letter, batch.number, words, left < 0)
