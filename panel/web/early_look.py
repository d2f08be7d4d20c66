"""The one legal look at results before closing: the room asks the sealed sequential plan, and hears go on or stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Response

from panel.store.early_looks import answers_in_time, look_early, looks_of
from panel.store.studies import may, plan_of
from panel.study.life import Move
from panel.study.sequential import GO_ON, SAYS
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, see_other

if TYPE_CHECKING:
    from sqlmodel import Session

    from panel.store.tables import Study

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Looking:
    """What the room shows of a sequential plan, and no more.

    plan : the sealed plan in a sentence; answers : how many have come in; new : since the last look
    looks : how many there were; looked_after : with how many answers the last one was taken
    said, stop : what it said, "" before the first, and whether that was to stop
    """

    plan: str
    answers: int
    new: int
    looks: int
    looked_after: int
    said: str
    stop: bool
    may_look: bool


def looking_at(session: Session, study: Study) -> Looking | None:
    """The sequential plan of a study as far as it may be seen; None where none was sealed."""
    plan = plan_of(study)
    if not plan.sequential:
        return None
    limit = round(100 * (plan.similarity_limit or 0.0), 1)
    looks, answers = looks_of(session, study.id), answers_in_time(session, study.id)
    last = looks[-1] if looks else None
    after = last.answers if last else 0
    return Looking(
        plan=(
            f"Sealed: stop as soon as a difference (risk {plan.alpha:g}) or similarity (risk {plan.beta:g} of missing "
            f"{limit:g} % who tell the samples apart) is decided, at the latest after {plan.tasters} tasters."
        ),
        answers=answers,
        new=answers - after,
        looks=len(looks),
        looked_after=after,
        said=SAYS[last.decision] if last else "",
        stop=last is not None and last.decision != GO_ON,
        may_look=may(study, Move.LOOK_EARLY),
    )


@router.post("/studies/{study_id}/look")
def look(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    from panel.analysis.sequential_report import decision

    with house.database.write() as session:
        look_early(session, study.id, who.actor, decision)
    return see_other(f"/studies/{study.id}/room#look")
