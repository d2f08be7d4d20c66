"""The organiser tries the ballot as a taster, before sealing. A preview leaves no data."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from panel.store import studies
from panel.study.drafting import check_draft
from panel.study.life import State
from panel.study.notices import TasterNotice, notice_of
from panel.study.servings import cups_at_a_sitting
from panel.web import own_words
from panel.web.access import OrganisersStudy
from panel.web.pages import Sent, page, see_other
from panel.web.taster_seat import address_taster
from panel.web.trying import Trial, screens_to_try

router = APIRouter()
router.include_router(own_words.router)


@dataclass(frozen=True, slots=True)
class TryingNoticePage:
    """What tasters read before they agree, as they will read it. onward, back : where it goes on, and back."""

    heading: str
    notice: TasterNotice
    onward: str
    back: str


@router.get("/studies/{study_id}/preview/notice")
def show_notice(request: Request, study: OrganisersStudy) -> Response:
    trial = _trial(study)
    if isinstance(trial, Response):
        return trial
    address_taster(request, trial.plan)
    notice = notice_of(trial.plan, cups_at_a_sitting(trial.plan))
    context = TryingNoticePage(trial.plan.heading, notice, trial.base, trial.back)
    return page(request, "taster/trying_notice.html", context)


@router.get("/studies/{study_id}/preview")
def show_preview(request: Request, study: OrganisersStudy) -> Response:
    trial = _trial(study)
    return trial if isinstance(trial, Response) else trial.show(request, 1)


@router.post("/studies/{study_id}/preview/{number:int}")
def try_screen(request: Request, study: OrganisersStudy, number: int, sent: Sent) -> Response:
    trial = _trial(study)
    return trial if isinstance(trial, Response) else trial.take(request, number, sent)


def _trial(study: OrganisersStudy) -> Trial | Response:
    draft = study.state == State.DRAFT
    plan = check_draft(studies.draft_of(study)).plan if draft else studies.plan_of(study)
    back = f"/studies/{study.id}/plan" if draft else f"/studies/{study.id}"
    if plan is None:
        return see_other(back)  # which says what is still missing
    try:
        screens = screens_to_try(plan)
    except ValueError:
        return see_other(back)
    return Trial(plan, screens, f"/studies/{study.id}/preview", back, "Back to the study")
