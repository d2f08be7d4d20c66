"""The kitchen's page: what to pour into which cup, by pour letter, and how long ago each batch was poured."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.printing import KITCHEN_CAUTIONS
from panel.store import studies
from panel.store.batches import Poured, batches_of, note_poured
from panel.store.rows import Cup, current_cups_of
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.study.seal import digest
from panel.web.access import AsKitchen, KitchensStudy
from panel.web.pages import InHouse, Sent, page, see_other, wants_fragment
from panel.web.prints import pour_sheet_of
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.printing import PourCup, PourSheet
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
AT_A_TIME = 10  # places that unfold together


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch in words. over : whether it is past the time within which it must be served

    last : whether it is the newest of its letter, which may be poured now
    """

    letter: str
    number: int
    words: str
    over: bool
    last: bool


@dataclass(frozen=True, slots=True)
class Trays:
    """The cups of a few places, one row a place."""

    first: int
    last: int
    places: tuple[tuple[int, tuple[PourCup, ...]], ...]


@dataclass(frozen=True, slots=True)
class KitchenPage:
    """Pour letters to cups; no names.

    holding : minutes within which a batch is to be served, "" where that was left open
    letters : each with its cups; trays : all cups by place, in parts that fold; again : to be poured afresh
    listed : what the lists of cups depend on; outdated : whether those on the reader's screen are older
    seen : what the part that is fetched again depends on
    """

    head: StudyHead
    sheet: PourSheet
    letters: tuple[tuple[str, tuple[str, ...]], ...]
    trays: tuple[Trays, ...]
    again: tuple[Cup, ...]
    batches: tuple[BatchLine, ...]
    holding: str
    may_pour: bool
    cautions: tuple[str, ...]
    listed: str
    outdated: bool
    seen: str
    problems: tuple[Problem, ...]
    typed: dict[str, str]


@router.get("/studies/{study_id}/kitchen")
def show_kitchen(
    request: Request, house: InHouse, study: KitchensStudy, listed: str = "", seen: str = ""
) -> Response:
    """The kitchen, or what changes in it: nothing at all where nothing has changed, so that nothing flickers."""
    studies.require(study, Move.EXPORT)
    kitchen = _kitchen(house, study, listed)
    if not wants_fragment(request):
        return page(request, "kitchen/kitchen.html", kitchen)
    if seen == kitchen.seen:
        return Response(status_code=204)
    return page(request, "kitchen/kitchen.html", kitchen, block="live")


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
    context = replace(_kitchen(house, study), problems=(problem,), typed=sent)
    return page(request, "kitchen/kitchen.html", context, status=422)


def _kitchen(house: House, study: Study, listed: str = "") -> KitchenPage:
    """listed : of the lists on the reader's screen, "" where they are about to be shown."""
    sheet = pour_sheet_of(house, study)
    holding = studies.plan_of(study).kitchen.holding
    with house.database.read() as session:
        poured = batches_of(session, study.id)
        again = [cup for cup in current_cups_of(session, study.id) if cup.fresh]
    newest = {batch.letter: batch.number for batch in poured}
    batches = tuple(_line(batch, holding, batch.number == newest[batch.letter]) for batch in poured)
    own = {(cup.place, cup.code): cup for cup in reversed(again)}
    mark = digest([repr(sheet.cups)])[:16]
    outdated = listed not in ("", mark)
    return KitchenPage(
        head=head_of_page(study),
        sheet=sheet,
        letters=_by_letter(sheet.cups),
        trays=_by_place(sheet.cups),
        again=tuple(reversed(own.values())),
        batches=batches,
        holding=f"{holding:g}" if holding is not None else "",
        may_pour=study.state in (State.SEALED, State.SERVING),
        cautions=tuple(KITCHEN_CAUTIONS[key] for key in sheet.cautions if key in KITCHEN_CAUTIONS),
        listed=listed or mark,
        outdated=outdated,
        seen=digest([repr(batches), repr(again), outdated])[:16],
        problems=(),
        typed={},
    )


def _by_letter(cups: Sequence[PourCup]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    codes: dict[str, list[str]] = {}
    for cup in cups:
        codes.setdefault(cup.pour_letter, []).append(cup.code)
    return tuple((letter, tuple(found)) for letter, found in sorted(codes.items()))


def _by_place(cups: Sequence[PourCup]) -> tuple[Trays, ...]:
    places: dict[int, list[PourCup]] = {}
    for cup in cups:
        places.setdefault(cup.place, []).append(cup)
    rows = [(place, tuple(row)) for place, row in sorted(places.items())]
    parts = [rows[at : at + AT_A_TIME] for at in range(0, len(rows), AT_A_TIME)]
    return tuple(Trays(part[0][0], part[-1][0], tuple(part)) for part in parts)


def _line(batch: Poured, holding: float | None, last: bool) -> BatchLine:
    if batch.poured_at is None:
        return BatchLine(batch.letter, batch.number, "not poured yet", False, last)
    minutes = int((datetime.now(UTC) - batch.poured_at).total_seconds() // 60)
    words = f"poured {minutes} min ago"
    if batch.number > 1:
        words += f", for places from {batch.first_place} on" if batch.first_place else ", for no cup"
    if holding is None:
        return BatchLine(batch.letter, batch.number, words, False, last)
    left = holding - minutes
    if left < 0:
        words += f": {-left:g} min over its {holding:g} min. Pour a fresh batch."
    else:
        words += f": {left:g} min left of {holding:g}"
    return BatchLine(batch.letter, batch.number, words, left < 0, last)
