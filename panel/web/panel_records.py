"""The panel's pages: who agreed to a record, one taster's record over signed studies, the panel as a whole."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel.analysis.record_view import attendance_table, choices_table, level_chart, panel_table, scores_table
from panel.analysis.taster_record import LIMITS, RULE, Seat, SignedStudy, record_of
from panel.store.members import add_member, member_called, members, sat_in, signed_studies, take_off
from panel.store.studies import plan_of
from panel.study.panel_consent import PANEL_CONSENT, wording_mark
from panel.study.problems import Problem
from panel.study.pseudonyms import taster_name
from panel.study.test_methods import method_of
from panel.web.access import AsOrganiser
from panel.web.pages import InHouse, Sent, page, see_other

if TYPE_CHECKING:
    from datetime import datetime

    from sqlmodel import Session

    from panel.analysis.drawing import Figure
    from panel.analysis.taster_record import TasterRecord
    from panel.analysis.view_parts import Table
    from panel.store.tables import PanelMember, Study
    from panel.web.house import House

    SignedSeats = tuple[SignedStudy, list[tuple[str, Seat]]]

router = APIRouter()


@dataclass(frozen=True, slots=True)
class MemberLine:
    """One member in the overview. last : when the last of their studies was signed, None without any."""

    id: str
    name: str
    agreed_at: datetime
    studies: int
    finished: int
    last: str | None
    hint: str


@dataclass(frozen=True, slots=True)
class PanelPage:
    """The register with what it amounts to, and the panel in each signed study."""

    members: tuple[MemberLine, ...]
    studies: int
    table: Table | None
    consent: tuple[str, ...]
    rule: str
    typed: dict[str, str]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class RecordPage:
    """One taster's record. right : right answers and sets over all forced-choice studies."""

    id: str
    name: str
    agreed_at: datetime
    studies: int
    finished: int
    right: tuple[int, int]
    hint: str
    rule: str
    limits: str
    chart: Figure | None
    tables: tuple[Table, ...]


@router.get("/panel")
def show_panel(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    return _panel_page(request, house)


@router.post("/panel")
def add_to_register(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    problem = None
    if not sent.get("agreed"):
        text = "Tick that they have read the text and agreed: without it no record is kept."
        problem = Problem("agreed", "missing", text)
    else:
        try:
            with house.database.write() as session:
                add_member(session, who.name, sent.get("name", ""), wording_mark())
        except ValueError as error:
            problem = Problem("name", "unfit", str(error))
    if problem is not None:
        return _panel_page(request, house, sent, (problem,), 422)
    return see_other("/panel")


@router.get("/panel/{member_id}")
def show_record(request: Request, house: InHouse, _who: AsOrganiser, member_id: str) -> Response:
    with house.database.read() as session:
        member = member_called(session, member_id)
        if member is None:
            raise HTTPException(404)
        record = _records([member], _all_signed(session))[member.id]
    tables = (attendance_table(record, house.local.day), scores_table(record), choices_table(record))
    context = RecordPage(
        id=member.id,
        name=member.name,
        agreed_at=member.agreed_at,
        studies=len(record.lines),
        finished=record.finished,
        right=record.right,
        hint=record.hint,
        rule=RULE,
        limits=LIMITS,
        chart=house.local.part(level_chart(record)),
        tables=tuple(house.local.part(table) for table in tables if table is not None and table.rows),
    )
    return page(request, "panel/record.html", context)


@router.post("/panel/{member_id}/take-off")
def take_off_register(house: InHouse, _who: AsOrganiser, member_id: str) -> Response:
    with house.database.write() as session:
        take_off(session, member_id)
    house.database.forget_deleted()
    return see_other("/panel")


def _panel_page(
    request: Request,
    house: House,
    typed: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    with house.database.read() as session:
        listed, signed = members(session), _all_signed(session)
    records = _records(listed, signed)
    lines = tuple(
        MemberLine(
            id=member.id,
            name=member.name,
            agreed_at=member.agreed_at,
            studies=len(records[member.id].lines),
            finished=records[member.id].finished,
            last=records[member.id].lines[-1].study.at if records[member.id].lines else None,
            hint=records[member.id].hint,
        )
        for member in listed
    )
    context = PanelPage(
        members=lines,
        studies=len(signed),
        table=house.local.part(panel_table([study for study, _ in signed], house.local.day)),
        consent=PANEL_CONSENT,
        rule=RULE,
        typed=typed or {},
        problems=problems,
    )
    return page(request, "panel/overview.html", context, status=status)


def _all_signed(session: Session) -> list[SignedSeats]:
    return [_signed(session, study) for study in signed_studies(session)]


def _records(listed: list[PanelMember], studies: list[SignedSeats]) -> dict[str, TasterRecord]:
    """Entry id -> record over these studies."""
    attended: dict[str, list[tuple[SignedStudy, Seat]]] = {member.id: [] for member in listed}
    ids = {member.name_key: member.id for member in listed}
    for signed, seats in studies:
        for key, seat in seats:
            if key in ids:
                attended[ids[key]].append((signed, seat))
    return {member: record_of(found) for member, found in attended.items()}


def _signed(session: Session, study: Study) -> SignedSeats:
    """The study for a record, and its seats, each with the name it was given under."""
    plan = plan_of(study)
    seats = [
        (
            sat.key,
            Seat(
                taster=taster_name(sat.seat.place, sat.seat.attempt_number),
                answered=sat.seat.answered,
                screens=sat.seat.screens,
                finished=sat.seat.status == "finished",
                late=sat.late,
                left_out=sat.left_out,
                right=sat.right,
                sets=sat.sets,
            ),
        )
        for sat in sat_in(session, study)
    ]
    method = method_of(plan.method)
    signed = SignedStudy(
        id=study.id,
        title=study.title,
        at=(study.signed_at or study.created_at).isoformat(),
        test=method.name,
        results=json.loads(study.report)["report"] if study.report else {},
        seats=tuple(seat for _, seat in seats),
        chance=method.chance,
    )
    return signed, seats
