"""A rehearsal of a draft: made-up tasters, the report they would give, and test prints. Nothing is stored.

Codes, labels and letters are drawn from a seed of the rehearsal's own, never from the plan's, and every page and
print says that it is a rehearsal.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, get_args

from fastapi import APIRouter, HTTPException, Request, Response

from panel import printing, randomiser
from panel.analysis.rehearsing import TRUTHS, Truth, rehearse
from panel.store import studies
from panel.store.rows import Cup
from panel.store.sealing import REFERENCE_INDEX, STRONGER_INDEX, drawn
from panel.study.draft_reader import Reader
from panel.study.drafting import check_draft
from panel.study.life import State
from panel.study.servings import cups_at_a_sitting
from panel.study.test_methods import method_of
from panel.web.access import OrganisersStudy
from panel.web.label_prints import labels_of
from panel.web.pages import InHouse, page, see_other
from panel.web.prints import pour_sheet_for, tray_maps_for
from panel.web.room_prints import ballots_for
from panel.web.study_page import StudyHead, head_of_page
from panel.web.words import words_for

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.analysis.rehearsing import Rehearsed
    from panel.analysis.view_parts import ReportView
    from panel.randomiser import ServingPlan
    from panel.store.tables import Study
    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan
    from panel.web.house import House

router = APIRouter()

MOST_RUNS = 1000
STANDING = "A rehearsal: the answers are made up, and nothing is sealed. Samples go by labels of the rehearsal’s own."
TOKEN = "REHEARSALXXX"  # the shape of a cup's token; no cup has it


@dataclass(frozen=True, slots=True)
class Stage:
    """A draft on stage: its plan dealt with the rehearsal's seed."""

    plan: Plan
    known: Circumstances
    dealt: ServingPlan
    labels: tuple[str, ...]
    letters: tuple[str, ...]
    roles: tuple[str, ...]

    @property
    def cups(self) -> list[Cup]:
        """Every cup of the rehearsal in tray order."""
        return [
            Cup(
                place=place.number,
                task=serving.task,
                position=serving.position,
                code=serving.code,
                token=TOKEN,
                condition=serving.condition,
                pour_letter=self.letters[serving.sample],
                same_cup=serving.same_cup_as is not None,
                attempt_number=1,
                sitting=serving.sitting,
                fresh=False,
            )
            for place in self.dealt.places
            for serving in place.servings
        ]


@dataclass(frozen=True, slots=True)
class RehearsalPage:
    """The report that made-up tasters give. told : what was made to be true; why_not : "" where there is a report

    sheets : name in the address and title of every test print
    """

    head: StudyHead
    typed: dict[str, str]
    truths: tuple[tuple[str, str], ...]
    told: str
    run: int
    view: ReportView | None
    why_not: str
    sheets: tuple[tuple[str, str], ...]


@router.get("/studies/{study_id}/rehearsal")
def show_rehearsal(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    """The whole study with made-up tasters; `truth` and `run` say what is true and which crowd comes."""
    stage = _stage(study)
    if isinstance(stage, Response):
        return stage
    truth: Truth = "none" if request.query_params.get("truth") == "none" else "planned"
    run = Reader(request.query_params).whole("run", "which rehearsal", 1, MOST_RUNS, default=1)
    made = rehearse(
        stage.plan,
        stage.known,
        stage.dealt,
        stage.labels,
        stage.roles,
        truth=truth,
        seed=f"{_seed(study)} {truth} {run}",
    )
    view, why_not = _report(house, stage.plan, made)
    context = RehearsalPage(
        head=head_of_page(study),
        typed={"truth": truth},
        truths=tuple((name, TRUTHS[name]) for name in get_args(Truth)),
        told=made.truth,
        run=run,
        view=view,
        why_not=why_not,
        sheets=tuple((name, title) for name, (title, _) in SHEETS.items() if _fits(name, stage.plan)),
    )
    return page(request, "organiser/rehearsal.html", context)


@router.get("/studies/{study_id}/rehearsal/{sheet}.pdf")
def print_rehearsal(house: InHouse, study: OrganisersStudy, sheet: str) -> Response:
    """A test print, marked as a rehearsal, with codes of its own."""
    stage = _stage(study)
    if isinstance(stage, Response):
        return stage
    if sheet not in SHEETS or not _fits(sheet, stage.plan):
        raise HTTPException(404)
    pdf = SHEETS[sheet][1](stage, house.base_url)
    headers = {
        "Content-Disposition": f'inline; filename="rehearsal-{sheet}.pdf"',
        "Cache-Control": "no-store",
    }
    return Response(pdf, media_type="application/pdf", headers=headers)


def _stage(study: Study) -> Stage | Response:
    """The draft on stage, or the page to go to where there is nothing to rehearse."""
    if study.state != State.DRAFT:
        return see_other(f"/studies/{study.id}")
    drafted = check_draft(studies.draft_of(study))
    if drafted.plan is None:
        return see_other(f"/studies/{study.id}/plan")  # which says what is still missing
    seed = _seed(study)
    try:
        dealt = drawn(drafted.plan, seed)
    except ValueError:
        return see_other(f"/studies/{study.id}/plan")
    samples, number = drafted.plan.samples, int(seed, 16)
    return Stage(
        plan=drafted.plan,
        known=drafted.known,
        dealt=dealt,
        labels=randomiser.blind_labels(samples, seed=number),
        letters=randomiser.pour_letters(samples, seed=number),
        roles=_roles(drafted.plan),
    )


def _seed(study: Study) -> str:
    """The rehearsal's own seed: it has nothing in common with the plan's."""
    return hashlib.sha256(f"rehearsal of {study.id}".encode()).hexdigest()[:32]


def _roles(plan: Plan) -> tuple[str, ...]:
    roles = [""] * plan.samples
    if plan.with_reference:
        roles[REFERENCE_INDEX] = "reference"
    if method_of(plan.method).directed:
        roles[STRONGER_INDEX] = "stronger"
    return tuple(roles)


def _report(house: House, plan: Plan, made: Rehearsed) -> tuple[ReportView | None, str]:
    """The report that the real analysis gives of the made-up answers, or why there is none."""
    from panel.analysis.study_analysis import analyse_study, too_little
    from panel.analysis.view import report_view

    try:
        report = analyse_study(plan, made.scores, made.choices)
    except ValueError as error:
        return None, f"Even with everybody’s answers there would be no report: {too_little(error)}."
    title = f"REHEARSAL – made-up answers: {plan.title}"
    view = report_view(report, title=title, question=plan.question)
    return house.local.view(replace(view, status=STANDING)), ""


def _fits(sheet: str, plan: Plan) -> bool:
    """Whoever works alone fills cups by the dots under them, not by letters."""
    return sheet != "pour-sheet" or not plan.alone


def _labels(stage: Stage, address: str) -> bytes:
    cups = [cup for cup in stage.cups if not cup.same_cup]
    sheet = printing.SHEETS["a4-3x7"]
    return printing.cup_labels(
        labels_of(cups, address), sheet, cup_diameter_mm=stage.plan.kitchen.cup_diameter, rehearsal=True
    ).pdf


def _pour_sheet(stage: Stage, _address: str) -> bytes:
    return printing.pour_sheet(pour_sheet_for(stage.plan, stage.cups, ""), rehearsal=True).pdf


def _tray_maps(stage: Stage, _address: str) -> bytes:
    maps = tray_maps_for(stage.plan, stage.cups)
    return printing.tray_maps(maps, cup_diameter_mm=stage.plan.kitchen.cup_diameter, rehearsal=True).pdf


def _ballots(stage: Stage, _address: str) -> bytes:
    plan = stage.plan
    return printing.paper_ballots(
        plan,
        ballots_for(plan, stage.cups),
        cups=cups_at_a_sitting(plan),
        say=words_for(plan),
        rehearsal=True,
    ).pdf


SHEETS: dict[str, tuple[str, Callable[[Stage, str], bytes]]] = {
    "labels": ("Labels for the cups", _labels),
    "pour-sheet": ("Pour sheet", _pour_sheet),
    "tray-maps": ("Tray maps", _tray_maps),
    "ballots": ("Paper ballots", _ballots),
}
