"""The room: sittings, the join code on screen, who has come how far and needs somebody, the balance of servings."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import qrcode
import qrcode.image.svg
from fastapi import APIRouter, Request, Response

from panel.store import sittings, studies
from panel.store.dealing import places_by_phone
from panel.store.incidents import answer_call, open_calls
from panel.store.ledger import append
from panel.store.rows import progress_of
from panel.store.served import meter_of
from panel.study.life import Move, State
from panel.study.seal import digest
from panel.web import early_look, keying, room_place
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.early_look import Looking, looking_at
from panel.web.pages import InHouse, page, see_other, wants_fragment
from panel.web.room_seats import MANY, Alert, MeterWords, Seat, alerts_of, meter_words, seats_of
from panel.web.slow_down import Crowd, joining_of
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.store.tables import Sitting, Study
    from panel.web.house import House

router = APIRouter()
router.include_router(room_place.router)
router.include_router(keying.router)
router.include_router(early_look.router)


@dataclass(frozen=True, slots=True)
class Counts:
    """How many places are in which state."""

    tasting: int
    done: int
    finished: int
    left: int
    free: int


@dataclass(frozen=True, slots=True)
class RoomPage:
    """Progress of the sitting, without a single answer.

    sitting : its number; phase : "waiting", "open", "paused" or "ended"; sittings : how many the plan has
    stage : what the page as a whole depends on; seen : what the part that is fetched again depends on
    many : whether each place is shown small; meter : None where only the places are asked for
    looking : the sequential plan, None where none was sealed
    crowd : joining that is held up, None where nobody was turned away
    """

    head: StudyHead
    sitting: int
    phase: str
    sittings: int
    stage: str
    seen: str
    counts: Counts
    alerts: tuple[Alert, ...]
    seats: tuple[Seat, ...]
    many: bool
    meter: MeterWords | None
    looking: Looking | None
    crowd: Crowd | None
    join_address: str
    moved_from: str


@dataclass(frozen=True, slots=True)
class PosterPage:
    """The join code, large."""

    head: StudyHead
    heading: str
    sitting: int
    join_address: str


@router.get("/studies/{study_id}/room")
def show_room(
    request: Request, house: InHouse, study: OrganisersStudy, seen: str = "", stage: str = ""
) -> Response:
    """The room, or what changes in it: nothing at all where nothing has changed, so that nothing flickers."""
    if study.state == State.DRAFT:
        studies.require(study, Move.OPEN)
    fragment = wants_fragment(request)
    room = _room(request, house, study, metered=not fragment)
    if not fragment:
        return page(request, "room/room.html", room)
    if stage != room.stage:
        return Response(status_code=204, headers={"HX-Refresh": "true"})
    if seen == room.seen:
        return Response(status_code=204)
    return page(request, "room/room.html", room, block="live")


@router.get("/studies/{study_id}/room/balance")
def show_balance(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    """The meter alone, to be put in its place; the whole room where no script asks."""
    studies.require(study, Move.EXPORT)
    if not wants_fragment(request):
        return see_other(f"/studies/{study.id}/room#balance")
    return page(request, "room/room.html", _room(request, house, study), block="meter")


@router.post("/studies/{study_id}/open")
def open_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        studies.open_sitting(session, study.id, who.actor)
        studies.freeze_address(session, study.id, house.base_url)
    return see_other(_after(study))


@router.post("/studies/{study_id}/pause")
def pause_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        sittings.pause(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/resume")
def resume_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        sittings.resume(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/end-sitting")
def end_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        sittings.end_sitting(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/next-sitting")
def open_next_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        sittings.open_next_sitting(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/close")
def close_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    """Tasting is over for the whole study."""
    with house.database.write() as session:
        studies.close_sitting(session, study.id, who.actor)
    return see_other(_after(study))


@router.post("/studies/{study_id}/let-in")
def let_in(request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    """Whoever was turned away because very many joined from one address may join at once."""
    studies.require(study, Move.JOIN)
    joining_of(request).let_in(study.id)
    with house.database.write() as session:
        append(session, study.id, who.actor, "joining let on", {})
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/calls/{call_id}")
def answer(house: InHouse, who: AsOrganiser, study: OrganisersStudy, call_id: str) -> Response:
    """Somebody has gone there. A call that is not of this study is simply not there."""
    with house.database.write() as session:
        if any(call.id == call_id for call in open_calls(session, study.id)):
            answer_call(session, study.id, who.actor, call_id)
    return see_other(f"/studies/{study.id}/room")


@router.get("/studies/{study_id}/poster")
def show_poster(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EXPORT)
    sitting = _sitting(house, study)
    heading = studies.plan_of(study).heading
    context = PosterPage(head_of_page(study), heading, sitting.number, join_address(house, sitting))
    return page(request, "room/poster.html", context)


@router.get("/studies/{study_id}/join.svg")
def join_code(house: InHouse, study: OrganisersStudy) -> Response:
    """The join address as a QR code: level Q, four modules of quiet zone."""
    studies.require(study, Move.EXPORT)
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=4)
    code.add_data(join_address(house, _sitting(house, study)))
    drawn = io.BytesIO()
    code.make_image(image_factory=qrcode.image.svg.SvgPathFillImage).save(drawn)
    return Response(drawn.getvalue(), media_type="image/svg+xml", headers={"Cache-Control": "no-store"})


def join_address(house: House, sitting: Sitting) -> str:
    """What tasters scan: in capitals, so that the code stays small."""
    return f"{house.base_url}/J/{house.tokens.sitting(sitting.id, sitting.token_revision)}".upper()


def _after(study: Study) -> str:
    """Where to go once a study was opened or closed: the room, or the rounds of whoever works alone."""
    return f"/studies/{study.id}/{'alone' if studies.plan_of(study).alone else 'room'}"


def _sitting(house: House, study: Study) -> Sitting:
    with house.database.read() as session:
        return studies.sitting_of(session, study.id)


def _room(request: Request, house: House, study: Study, *, metered: bool = True) -> RoomPage:
    plan = studies.plan_of(study)
    with house.database.read() as session:
        sitting = studies.sitting_of(session, study.id)
        seats = seats_of(progress_of(session, study.id), sitting)
        calls, phones = open_calls(session, study.id), places_by_phone(session, study.id)
        alerts = alerts_of(seats, calls, () if plan.alone else phones) if study.state == State.SERVING else ()
        meter = meter_words(meter_of(session, study), plan.conditions, alone=plan.alone) if metered else None
        looking = house.local.part(looking_at(session, study))
    phase = _phase(sitting)
    crowd = joining_of(request).crowd(study.id) if phase == "open" else None
    number = {status: sum(seat.status == status for seat in seats) for status in Counts.__dataclass_fields__}
    return RoomPage(
        head=head_of_page(study),
        sitting=sitting.number,
        phase=phase,
        sittings=plan.layout.sittings,
        stage=f"{study.state}-{sitting.number}-{phase}-{looking.looks if looking else 0}",
        seen=digest([repr(seats), repr(alerts), repr(looking), repr(crowd)])[:16],
        counts=Counts(**number),
        alerts=alerts,
        seats=seats,
        many=len(seats) > MANY,
        meter=meter,
        looking=looking,
        crowd=crowd,
        join_address=join_address(house, sitting),
        moved_from=study.base_url if study.base_url not in ("", house.base_url) else "",
    )


def _phase(sitting: Sitting) -> str:
    if sitting.opened_at is None:
        return "waiting"
    if sitting.closed_at is not None:
        return "ended"
    return "open" if sitting.paused_at is None else "paused"
