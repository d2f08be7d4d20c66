"""A new study begins here: a question in plain words, the advice on it, and the draft that it makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.analysis.advising import Advice, advise
from panel.store import studies
from panel.study.asking import QUESTIONS, PlainQuestion, read_situation
from panel.study.circumstances import LIKING_LENGTH, LINGERING, PANEL_KINDS, SIZES
from panel.study.problems import Problem
from panel.web.access import AsOrganiser
from panel.web.house import house_of
from panel.web.pages import InHouse, Sent, page, see_other, wants_fragment

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.circumstances import Size

router = APIRouter()
KEPT = 2000  # characters of a field that are taken back into the page


@dataclass(frozen=True, slots=True)
class SizeChoice:
    """One answer to how large a difference matters, and what it means."""

    key: str
    name: str
    meaning: str


@dataclass(frozen=True, slots=True)
class NewStudyPage:
    """The question with everything as typed, and the advice on it; None until there is a question."""

    questions: tuple[PlainQuestion, ...]
    sizes: tuple[SizeChoice, ...]
    lingering: tuple[tuple[str, str], ...]
    panel_kinds: tuple[tuple[str, str], ...]
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    advice: Advice | None


@router.get("/studies/new")
def show_new(request: Request, _who: AsOrganiser) -> Response:
    """The first page of a study, and the advice as soon as a question is chosen. Nothing is stored."""
    typed = {name: value[:KEPT] for name, value in request.query_params.items()}
    return _page(request, typed)


@router.post("/studies/new")
def use_plan(request: Request, house: InHouse, who: AsOrganiser, sent: Sent) -> Response:
    """A draft from the advice, unless the plan cannot work."""
    situation, problems = read_situation(sent)
    if problems:
        return _page(request, sent)
    advice = advise(situation)
    if advice.refused:
        return _page(request, sent, refused=True)
    with house.database.write() as session:
        study = studies.create_study(session, who.actor, advice.typed)
    return see_other(f"/studies/{study.id}/draft")


def _page(request: Request, typed: Mapping[str, str], *, refused: bool = False) -> Response:
    shown = {name: value for name, value in typed.items() if value}
    situation, problems = read_situation(shown)
    local = house_of(request).local
    advice = local.part(advise(situation)) if shown.get("asks") and not problems else None
    sizes = tuple(SizeChoice(size.key, size.name, _meaning(size)) for size in SIZES.values())
    context = NewStudyPage(
        questions=tuple(QUESTIONS.values()),
        sizes=local.part(sizes),
        lingering=tuple(LINGERING.items()),
        panel_kinds=tuple(PANEL_KINDS.items()),
        typed=shown,
        problems=problems,
        advice=advice,
    )
    block = "advice" if wants_fragment(request) else None
    return page(
        request, "organiser/new.html", context, block=block, status=422 if problems or refused else 200
    )


def _meaning(size: Size) -> str:
    """What a size amounts to, in the terms of each kind of test."""
    notice = {0.5: "Half of the people", 0.3: "About one in three", 0.2: "One in five"}[size.notice]
    points = f"{size.of_scale * LIKING_LENGTH:g}"
    return (
        f"{notice} would notice it between three cups; {100 * size.prefer:.0f} of 100 would prefer the same one; "
        f"{points} {'point' if points == '1' else 'points'} of nine in liking."
    )
