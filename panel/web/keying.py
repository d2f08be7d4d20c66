"""Keying in paper ballots: twice, the second time without the first in sight; differences settled by the paper."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from panel.store import studies
from panel.store.dealing import place_numbered
from panel.store.keyed import (
    begin_anew,
    differences,
    keep_pass,
    kept_passes,
    nobody_sits_there,
    record_paper,
    screens_to_key,
)
from panel.store.rows import most_cups_at_a_sitting, progress_of
from panel.store.tables import PaperBallot, Place, Study, Task
from panel.study.draft_reader import LONGEST_NAME, tidy
from panel.study.life import Move
from panel.study.notices import notice_of
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.ballot_page import LONGEST_FIELD, Screen, checked, screens_of
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page
from panel.web.words import words_for

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlmodel import Session

    from panel.store.rows import SeatProgress
    from panel.study.answers import Answer
    from panel.study.plan import Plan
    from panel.web.asked import Asked
    from panel.web.words import Words

router = APIRouter()
NAME, CONSENT_TICK = "name", "consent"


@dataclass(frozen=True, slots=True)
class KeyingList:
    """Which places have a ballot to key in."""

    head: StudyHead
    places: tuple[SeatProgress, ...]
    keyed: str


@dataclass(frozen=True, slots=True)
class KeyingPage:
    """One ballot. step : "first", "second" or "settle"; fields of screen 3 are named "3.q1".

    differing : fields in which two passes differ; settling : the screens they stand on
    """

    head: StudyHead
    place: int
    step: str
    screens: tuple[Screen, ...]
    ask_consent: bool
    ask_name: bool
    differing: tuple[str, ...]
    settling: frozenset[int]
    first: dict[str, str]
    second: dict[str, str]
    typed: dict[str, str]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Desk:
    """What lies before whoever keys: the place, its open screens, and what was keyed before."""

    place: Place
    plan: Plan
    tasks: tuple[Task, ...]
    screens: tuple[Screen, ...]
    free: bool
    ballot: PaperBallot

    @property
    def step(self) -> str:
        """Which pass comes next."""
        if not self.ballot.first:
            return "first"
        return "settle" if self.ballot.second else "second"


@router.get("/studies/{study_id}/keying")
def choose_ballot(request: Request, house: InHouse, study: OrganisersStudy, keyed: str = "") -> Response:
    studies.require(study, Move.JOIN)
    with house.database.read() as session:
        rows = tuple(row for row in progress_of(session, study.id) if row.waits or row.status == "tasting")
    return page(request, "room/keying.html", KeyingList(head_of_page(study), rows, keyed[:4]))


@router.get("/studies/{study_id}/keying/{number:int}")
def show_ballot(request: Request, house: InHouse, study: OrganisersStudy, number: int) -> Response:
    with house.database.read() as session:
        desk = _desk(session, study, number)
    return _page(request, study, desk)


@router.post("/studies/{study_id}/keying/{number:int}/anew")
def start_over(house: InHouse, study: OrganisersStudy, number: int) -> Response:
    with house.database.write() as session:
        begin_anew(session, _place(session, study, number))
    return see_other(f"/studies/{study.id}/keying/{number}")


@router.post("/studies/{study_id}/keying/{number:int}")
def key_in(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, number: int, sent: Sent
) -> Response:
    """One pass, or the settled fields; recorded as soon as two passes agree."""
    with house.database.write() as session:
        desk = _desk(session, study, number)
        if sent.get("step") != desk.step:
            return see_other(f"/studies/{study.id}/keying/{number}")  # sent twice, or by somebody else before
        typed = _typed(desk, sent)
        problems = _problems(desk, typed)
        if problems:
            return _page(request, study, desk, typed, problems, status=422)
        if desk.step != "settle":
            ballot = keep_pass(session, desk.place, who.actor, typed)
            if not ballot.second or differences(ballot):
                return see_other(f"/studies/{study.id}/keying/{number}")
        read = notice_of(desk.plan, most_cups_at_a_sitting(session, study.id))
        agreed = (read.fingerprint, typed.get(NAME, "") if desk.plan.ask_name else "")
        record_paper(session, desk.place, who.actor, agreed, _answered(desk, typed))
    return see_other(f"/studies/{study.id}/keying?keyed={number}")


def as_on_paper(plan: Plan) -> Plan:
    """The plan with none of its questions required: paper cannot insist."""
    return replace(plan, questions=tuple(replace(question, required=False) for question in plan.questions))


def _on_paper(screen: Screen, say: Words) -> Screen:
    """The screen in the words printed, and without the question which cup is in the hand."""

    def printed(item: Asked) -> Asked:
        picks = tuple(replace(pick, words=say(pick.words)) for pick in item.picks)
        rows = tuple(replace(row, words=say(row.words)) for row in item.rows)
        return replace(item, text=say(item.text), hint=say(item.hint), picks=picks, rows=rows)

    return replace(screen, asked=tuple(map(printed, screen.asked)), confirm=None)


def _place(session: Session, study: Study, number: int) -> Place:
    place = place_numbered(session, study.id, number)
    if place is None:
        raise HTTPException(404)
    return place


def _desk(session: Session, study: Study, number: int) -> Desk:
    place, plan = _place(session, study, number), as_on_paper(studies.plan_of(study))
    rows = screens_to_key(session, place)
    return Desk(
        place=place,
        plan=plan,
        tasks=tuple(task for task, _ in rows),
        screens=tuple(_on_paper(screen, words_for(plan)) for screen in screens_of(plan, rows, number)),
        free=nobody_sits_there(session, place),
        ballot=kept_passes(session, place),
    )


def _typed(desk: Desk, sent: Mapping[str, str]) -> dict[str, str]:
    """The fields of the ballot, tidied; in the last step those that agreed before are taken over."""
    names = [
        f"{screen.number}.{name}"
        for screen in desk.screens
        for item in screen.asked
        for name in item.all_names
    ]
    typed = {name: tidy(sent.get(name, ""))[:LONGEST_FIELD] for name in (*names, NAME, CONSENT_TICK)}
    kept = {name: value for name, value in typed.items() if value}
    if desk.step != "settle":
        return kept
    differing = differences(desk.ballot)
    agreed = {name: value for name, value in json.loads(desk.ballot.first).items() if name not in differing}
    return agreed | {name: value for name, value in kept.items() if name in differing}


def _problems(desk: Desk, typed: Mapping[str, str]) -> tuple[Problem, ...]:
    """What cannot stand on the paper. A question left empty there stays empty."""
    if not desk.screens:
        return (Problem("", "nothing", "This place has no screen left that a paper ballot could answer."),)
    found = [*_agreement_problems(desk, typed)]
    if len(typed.get(NAME, "")) > LONGEST_NAME:
        found.append(Problem(NAME, "too_long", f"Shorten the name to {LONGEST_NAME} characters."))
    sent = {screen.number: _fields_of(screen, typed) for screen in desk.screens}
    if not any(sent.values()):
        found.append(Problem("", "empty", "Key in at least one answer; an empty ballot is not recorded."))
    for screen in desk.screens:
        _, problems = checked(desk.plan, screen, sent[screen.number]) if sent[screen.number] else ([], [])
        found += [replace(problem, field=f"{screen.number}.{problem.field}") for problem in problems]
    if desk.step == "settle":
        found += _unsettled(desk, typed)
    return tuple(found)


def _agreement_problems(desk: Desk, typed: Mapping[str, str]) -> list[Problem]:
    """Whether the taster agreed: on this paper where nobody sits there, else by phone before."""
    if desk.free and not typed.get(CONSENT_TICK):
        text = "Tick that the taster agreed on paper. Without their tick nothing of this ballot may be kept."
        return [Problem(CONSENT_TICK, "missing", text)]
    if not desk.free and CONSENT_TICK in json.loads(desk.ballot.first or "{}"):
        text = (
            "Somebody took this place by phone after the ballot was keyed the first time. Find out who tasted its "
            "cups; then begin anew, or leave the paper aside."
        )
        return [Problem("", "taken", text)]
    return []


def _unsettled(desk: Desk, typed: Mapping[str, str]) -> list[Problem]:
    """Fields in which both passes have something, and now nothing is keyed."""
    first, second = json.loads(desk.ballot.first), json.loads(desk.ballot.second)
    text = "Key in what stands on the paper here: the two passes differ."
    return [
        Problem(name, "unsettled", text)
        for name in differences(desk.ballot)
        if first.get(name) and second.get(name) and not typed.get(name)
    ]


def _answered(desk: Desk, typed: Mapping[str, str]) -> list[tuple[Task, dict[str, str], list[Answer]]]:
    """The screens with something on them, and those shown by name, where nothing is asked."""
    rows = []
    for task, screen in zip(desk.tasks, desk.screens, strict=True):
        sent = _fields_of(screen, typed)
        if sent or not screen.asked:
            rows.append((task, sent, checked(desk.plan, screen, sent)[0]))
    return rows


def _fields_of(screen: Screen, typed: Mapping[str, str]) -> dict[str, str]:
    """What was keyed for one screen, named as its phone would name it."""
    before = f"{screen.number}."
    return {name.removeprefix(before): value for name, value in typed.items() if name.startswith(before)}


def _page(
    request: Request,
    study: Study,
    desk: Desk,
    typed: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    settling = desk.step == "settle"
    differing = differences(desk.ballot) if settling else ()
    open_screens = {screen.number for screen in desk.screens}
    context = KeyingPage(
        head=head_of_page(study),
        place=desk.place.number,
        step=desk.step,
        screens=desk.screens,
        ask_consent=desk.free,
        ask_name=desk.free and desk.plan.ask_name,
        differing=tuple(name for name in differing if "." not in name or _screen_of(name) in open_screens),
        settling=frozenset(_screen_of(name) for name in differing if "." in name),
        first=json.loads(desk.ballot.first) if settling else {},
        second=json.loads(desk.ballot.second) if settling else {},
        typed=typed or {},
        problems=problems,
    )
    return page(request, "room/keying_ballot.html", context, status=status)


def _screen_of(name: str) -> int:
    return int(name.partition(".")[0])
