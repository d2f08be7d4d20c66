"""The organiser's pages: the list of studies, the draft, the plan, the seal, the reveal, the log."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.store.ledger import events_of
from panel.store.sealing import drawn
from panel.study.asking import QUESTIONS, PlainQuestion
from panel.study.cautions import ALLERGENS, CAUTIONS
from panel.study.draft_reader import renumbered, rows_of
from panel.study.drafting import check_draft
from panel.study.languages import LANGUAGES, THEMES
from panel.study.life import Move, State
from panel.study.problems import Problem
from panel.study.ready_criteria import READY_SETS, with_ready_set
from panel.study.scales import SCALES, Scale
from panel.study.taster_words import PREFIX
from panel.study.test_methods import TEST_METHODS, TestMethod, method_of
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.bench_rules import BenchRules, bench_rules
from panel.web.draft_bench import BenchForm, bench_form
from panel.web.house import house_of
from panel.web.pages import InHouse, Sent, page, see_other, wants_fragment
from panel.web.planning import (
    DraftAdvice,
    PlanAdvice,
    draft_advice,
    draft_problems,
    plan_advice,
    planned_products,
)
from panel.web.study_page import StudyHead, head_of_page
from panel.web.tested_before import tested_before

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.randomiser import ServingPlan
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.study.seal import Event
    from panel.web.house import House

router = APIRouter()

FIRST_ROWS = {"product": 2, "question": 1, "condition": 1, "measurand": 0, "criterion": 0, "group": 0}
STARTERS: dict[str, dict[str, str]] = {
    "rating": {
        "method": "rating",
        "tasters": "24",
        "question-0-text": "How much do you like it?",
        "question-0-scale": "hedonic-9",
    },
}


@dataclass(frozen=True, slots=True)
class StudyLine:
    """One study in the list."""

    id: str
    title: str
    state: str
    test: str
    created: datetime


@dataclass(frozen=True, slots=True)
class StudiesPage:
    """All studies, newest first."""

    studies: tuple[StudyLine, ...]
    questions: tuple[PlainQuestion, ...]
    methods: tuple[TestMethod, ...]


@dataclass(frozen=True, slots=True)
class DraftPage:
    """The form of a draft with everything as typed, and what is wrong with it. as_of: mark of the stored draft."""

    head: StudyHead
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    rows: dict[str, tuple[int, ...]]
    methods: tuple[TestMethod, ...]
    scales: tuple[Scale, ...]
    allergens: dict[str, str]
    cautions: dict[str, str]
    languages: tuple[tuple[str, str], ...]
    themes: tuple[tuple[str, str], ...]
    saved: bool
    as_of: str
    advice: DraftAdvice
    bench: BenchForm
    tested: dict[int, str]


@dataclass(frozen=True, slots=True)
class BalanceTable:
    """How often each sample (by number) stands at each place and follows on each other one."""

    title: str
    places: tuple[int, ...]
    position: tuple[tuple[int, ...], ...]
    carry_over: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The drawn plan with its balance, before it is accepted; samples by number only."""

    head: StudyHead
    mark: str
    plan: Plan
    test: TestMethod
    notes: tuple[str, ...]
    tables: tuple[BalanceTable, ...]
    orders: tuple[tuple[int, tuple[int, ...]], ...]
    cups: int
    problems: tuple[Problem, ...]
    typed: dict[str, str]
    bench: BenchRules | None
    advice: PlanAdvice


@dataclass(frozen=True, slots=True)
class LogPage:
    """The event chain of a study."""

    head: StudyHead
    events: tuple[Event, ...]


@router.get("/")
def list_studies(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    with house.database.read() as session:
        lines = tuple(map(_line, studies.all_studies(session)))
    context = StudiesPage(lines, tuple(QUESTIONS.values()), tuple(TEST_METHODS.values()))
    return page(request, "organiser/studies.html", context)


@router.post("/studies")
def create(house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    method = sent.get("method", "rating")
    begun = STARTERS.get(method, {"method": method, "tasters": "24"})
    with house.database.write() as session:
        study = studies.create_study(session, who.actor, begun)
    return see_other(f"/studies/{study.id}/draft")


@router.get("/studies/{study_id}/draft")
def show_draft(request: Request, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EDIT)
    return _draft_page(request, study, studies.draft_of(study))


@router.post("/studies/{study_id}/draft")
def save_draft(request: Request, house: InHouse, study: OrganisersStudy, sent: Sent) -> Response:
    """Keep what was typed, always; then go on to the plan, or say what is still missing."""
    typed = {name: value for name, value in sent.items() if name not in ("go", "as_of", "ready_set")}
    if (wanted := sent.get("go", "save")) == "ready" and sent.get("ready_set") in READY_SETS:
        typed = with_ready_set(typed, sent["ready_set"])
    try:
        with house.database.write() as session:
            study = studies.save_draft(session, study.id, typed, sent.get("as_of", ""))
    except studies.DraftChangedError as error:
        changed = Problem("", "changed", str(error))
        return _draft_page(request, house.anew(study), renumbered(typed), problems=(changed,), status=422)
    if wanted == "ready" and not sent.get("ready_set"):
        missing = Problem("ready_set", "missing", "Choose the kind of product first.")
        return _draft_page(request, study, renumbered(typed), problems=(missing,), status=422)
    if wanted.startswith("row-") or wanted == "ready":
        shown = {kind: len(rows_of(typed, kind)) + (wanted == f"row-{kind}") for kind in FIRST_ROWS}
        return _draft_page(request, study, renumbered(typed), at_least=shown, pressed=wanted)
    problems = draft_problems(renumbered(typed))
    if wanted == "plan" and not problems:
        return see_other(f"/studies/{study.id}/plan")
    if wanted == "plan":
        return _draft_page(request, study, renumbered(typed), problems=problems, status=422)
    if wanted == "words":
        return see_other(f"/studies/{study.id}/words")
    return _draft_page(request, study, renumbered(typed), saved=True)


@router.get("/studies/{study_id}/plan")
def show_plan(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    if study.state != State.DRAFT:
        return see_other(f"/studies/{study.id}")
    return plan_page(request, _with_orders(house, study))


def plan_as_it_stands(
    request: Request, house: House, study: Study, problem: Problem, typed: Mapping[str, str]
) -> Response:
    """The plan as it is now, drawn where it was not, and why it is shown instead of sealed. typed : as `plan_page`."""
    return plan_page(request, _with_orders(house, house.anew(study)), (problem,), typed, status=409)


def _with_orders(house: House, study: Study) -> Study:
    """The study with its orders drawn, now where they were not."""
    if study.seed:
        return study
    with house.database.write() as session:
        return studies.draw_plan(session, study.id)


@router.post("/studies/{study_id}/plan")
def draw_again(house: InHouse, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        studies.draw_plan(session, study.id)
    return see_other(f"/studies/{study.id}/plan")


@router.get("/studies/{study_id}/log")
def show_log(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    with house.database.read() as session:
        events = tuple(events_of(session, study.id))
    return page(request, "organiser/log.html", LogPage(head_of_page(study), events))


def plan_page(
    request: Request,
    study: Study,
    problems: tuple[Problem, ...] = (),
    typed: Mapping[str, str] = MappingProxyType({}),
    status: int = 200,
) -> Response:
    """The drawn plan; goes back to the draft where that is not complete. typed : in the form that seals."""
    drafted = check_draft(studies.draft_of(study))
    if drafted.plan is None:
        return _draft_page(request, study, studies.draft_of(study), problems=drafted.problems, status=422)
    try:
        dealt = drawn(drafted.plan, study.seed)
    except ValueError as error:
        problem = Problem("tasters", "no_such_plan", f"This plan cannot be drawn: {error}.")
        return _draft_page(request, study, studies.draft_of(study), problems=(problem,), status=422)
    orders = tuple((place.number, tuple(cup.sample + 1 for cup in place.servings)) for place in dealt.places)
    context = PlanPage(
        head=head_of_page(study),
        mark=studies.plan_mark(study),
        plan=drafted.plan,
        test=method_of(drafted.plan.method),
        notes=dealt.notes,
        tables=_balance_tables(drafted.plan, dealt),
        orders=orders,
        cups=sum(serving.same_cup_as is None for place in dealt.places for serving in place.servings),
        problems=problems,
        typed=dict(typed),
        bench=bench_rules(drafted.plan),
        advice=house_of(request).local.part(plan_advice(drafted.plan, drafted.known, dealt)),
    )
    return page(request, "organiser/plan.html", context, status=status)


def _balance_tables(plan: Plan, dealt: ServingPlan) -> tuple[BalanceTable, ...]:
    named = len(dealt.balance) == len(plan.conditions) > 1
    return tuple(
        BalanceTable(
            title=plan.conditions[number].capitalize() if named else "Serving plan",
            places=tuple(range(1, len(balance.position[0]) + 1)),
            position=balance.position,
            carry_over=balance.carry_over,
        )
        for number, balance in enumerate(dealt.balance)
    )


def _draft_page(
    request: Request,
    study: Study,
    typed: dict[str, str],
    *,
    problems: tuple[Problem, ...] = (),
    at_least: dict[str, int] = FIRST_ROWS,
    saved: bool = False,
    pressed: str = "",
    status: int = 200,
) -> Response:
    rows = {
        kind: tuple(range(max(len(rows_of(typed, kind)), at_least[kind], first)))
        for kind, first in (FIRST_ROWS | {"product": planned_products(typed)}).items()
    }
    context = DraftPage(
        head=head_of_page(study),
        typed=typed,
        problems=tuple(
            replace(one, field="words") if one.field.startswith(PREFIX) else one for one in problems
        ),
        rows=rows,
        methods=tuple(TEST_METHODS.values()),
        scales=tuple(SCALES.values()),
        allergens=ALLERGENS,
        cautions=CAUTIONS,
        languages=tuple((code, language.title) for code, language in LANGUAGES.items()),
        themes=tuple(THEMES.items()),
        saved=saved,
        as_of=studies.draft_mark(study),
        advice=house_of(request).local.part(draft_advice(typed, problems)),
        bench=bench_form(typed, problems, rows["measurand"], pressed),
        tested=tested_before(house_of(request), typed),
    )
    block = "form" if wants_fragment(request) else None
    return page(request, "organiser/draft.html", context, block=block, status=status)


def _line(study: Study) -> StudyLine:
    draft = study.state == State.DRAFT
    method = studies.draft_of(study).get("method", "rating") if draft else json.loads(study.plan)["method"]
    name = TEST_METHODS[method].name if method in TEST_METHODS else ""
    return StudyLine(study.id, study.title, study.state, name, study.created_at)
