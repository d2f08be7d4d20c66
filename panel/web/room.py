"""The room: opening the sitting, the join code on screen, who has answered how much, closing."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import qrcode
import qrcode.image.svg
from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.store.rows import SeatProgress, progress_of
from panel.study.life import Move, State
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, page, see_other, wants_fragment
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Seat:
    """One place in the room, in words. silent: minutes since the last answer while tasting, else None."""

    place: int
    status: str
    answered: int
    screens: int
    name: str
    silent: int | None


@dataclass(frozen=True, slots=True)
class RoomPage:
    """Progress of the sitting, without a single answer."""

    head: StudyHead
    seats: tuple[Seat, ...]
    tasting: int
    finished: int
    free: int
    join_address: str
    moved_from: str


@dataclass(frozen=True, slots=True)
class PosterPage:
    """The join code, large."""

    head: StudyHead
    heading: str
    join_address: str


@router.get("/studies/{study_id}/room")
def show_room(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    if study.state == State.DRAFT:
        studies.require(study, Move.OPEN)
    block = "seats" if wants_fragment(request) else None
    return page(request, "room/room.html", _room(house, study), block=block)


@router.post("/studies/{study_id}/open")
def open_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        studies.open_sitting(session, study.id, who.actor)
        studies.freeze_address(session, study.id, house.base_url)
    return see_other(f"/studies/{study.id}/room")


@router.post("/studies/{study_id}/close")
def close_sitting(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        studies.close_sitting(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}/room")


@router.get("/studies/{study_id}/poster")
def show_poster(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EXPORT)
    plan = studies.plan_of(study)
    context = PosterPage(head_of_page(study), plan.heading, join_address(house, study))
    return page(request, "room/poster.html", context)


@router.get("/studies/{study_id}/join.svg")
def join_code(house: InHouse, study: OrganisersStudy) -> Response:
    """The join address as a QR code: level Q, four modules of quiet zone."""
    studies.require(study, Move.EXPORT)
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=4)
    code.add_data(join_address(house, study))
    drawn = io.BytesIO()
    code.make_image(image_factory=qrcode.image.svg.SvgPathFillImage).save(drawn)
    return Response(drawn.getvalue(), media_type="image/svg+xml", headers={"Cache-Control": "no-store"})


def join_address(house: House, study: Study) -> str:
    """What tasters scan: in capitals, so that the code stays small."""
    with house.database.read() as session:
        sitting = studies.sitting_of(session, study.id)
    return f"{house.base_url}/J/{house.tokens.sitting(sitting.id, sitting.token_revision)}".upper()


def _room(house: House, study: Study) -> RoomPage:
    with house.database.read() as session:
        seats = tuple(_seat(row) for row in progress_of(session, study.id))
    return RoomPage(
        head=head_of_page(study),
        seats=seats,
        tasting=sum(seat.status == "tasting" for seat in seats),
        finished=sum(seat.status == "finished" for seat in seats),
        free=sum(seat.status == "free" for seat in seats),
        join_address=join_address(house, study),
        moved_from=study.base_url if study.base_url not in ("", house.base_url) else "",
    )


def _seat(row: SeatProgress) -> Seat:
    silent = None
    if row.status == "tasting" and row.last_heard:
        silent = int((datetime.now(UTC) - datetime.fromisoformat(row.last_heard)).total_seconds() // 60)
    return Seat(row.place, row.status, row.answered, row.screens, row.name, silent)
