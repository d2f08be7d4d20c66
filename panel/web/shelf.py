"""A study's further life: the next round, the archive, the bin, and back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from fastapi import APIRouter, Request, Response

from panel.store.shelf import (
    DAYS_OF_GRACE,
    bring_back,
    copy_study,
    delete_study,
    put_away,
    remove_for_good,
    studies_on_the_shelf,
)
from panel.study.life import Move, State, allowed
from panel.web.access import AsOrganiser, OrganisersStudy, StudyOnTheShelf
from panel.web.pages import InHouse, page, see_other
from panel.web.study_page import StudyHead, head_of_page

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ShelvedStudy:
    """One study that is put away. gone_on: when a deleted one is removed for good, else None."""

    id: str
    title: str
    state: str
    gone_on: datetime | None


@dataclass(frozen=True, slots=True)
class ShelfPage:
    """Archived and deleted studies."""

    archived: tuple[ShelvedStudy, ...]
    deleted: tuple[ShelvedStudy, ...]


@dataclass(frozen=True, slots=True)
class KeepingPage:
    """What can be done with a study as a whole. names_come: whether a copy brings the products along.

    archived_on : since when it is put away, None where it is not
    """

    head: StudyHead
    names_come: bool
    may_go: bool
    archived_on: datetime | None
    days: int = DAYS_OF_GRACE


@router.get("/shelf")
def show_shelf(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    with house.database.write() as session:
        removed = remove_for_good(session)
        found = [
            ShelvedStudy(
                study.id,
                study.title,
                study.state,
                study.deleted_at + timedelta(days=DAYS_OF_GRACE) if study.deleted_at else None,
            )
            for study in studies_on_the_shelf(session)
        ]
    if removed:
        house.database.forget_deleted()
    archived = tuple(study for study in found if not study.gone_on)
    deleted = tuple(study for study in found if study.gone_on)
    return page(request, "organiser/shelf.html", ShelfPage(archived, deleted))


@router.get("/studies/{study_id}/keeping")
def show_keeping(request: Request, study: OrganisersStudy) -> Response:
    state = State(study.state)
    names_come = state in (State.DRAFT, State.REVEALED)
    context = KeepingPage(head_of_page(study), names_come, allowed(state, Move.DELETE), study.archived_at)
    return page(request, "organiser/keeping.html", context)


@router.post("/studies/{study_id}/copy")
def copy(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        copied = copy_study(session, study.id, who.actor)
    return see_other(f"/studies/{copied.id}/draft")


@router.post("/studies/{study_id}/archive")
def archive(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        put_away(session, study.id, who.actor)
    return see_other("/shelf")


@router.post("/studies/{study_id}/delete")
def delete(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    with house.database.write() as session:
        delete_study(session, study.id, who.actor)
    return see_other("/shelf")


@router.post("/studies/{study_id}/bring-back")
def back(house: InHouse, who: AsOrganiser, study: StudyOnTheShelf) -> Response:
    with house.database.write() as session:
        bring_back(session, study.id, who.actor)
    return see_other(f"/studies/{study.id}")
