"""Bringing a study back from the ZIP it was taken away in: checked first, held against the files afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from starlette.datastructures import UploadFile

from panel.analysis.verification import each_check
from panel.store.bringing_back import CannotComeBackError, bring_back_from
from panel.study import bundle
from panel.study.problems import Problem
from panel.web.access import AsOrganiser
from panel.web.exports import data_files
from panel.web.pages import InHouse, page, see_other, sent_form
from panel.web.verdict_bundle import verdict_check

if TYPE_CHECKING:
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class BringingBackPage:
    """The form that takes a bundle. limit_mb : the largest that is read."""

    problems: tuple[Problem, ...]
    limit_mb: int


@router.get("/bring-back")
def show_form(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    return _form(request, house)


@router.post("/bring-back")
def take_back(
    request: Request, house: InHouse, who: AsOrganiser, form: Annotated[Any, Depends(sent_form)]
) -> Response:
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        return _form(request, house, "Choose a file first: the ZIP that a study was taken away in.")
    try:
        study = brought_back(house, file.file.read(), who.actor)
    except (bundle.NotABundleError, CannotComeBackError) as error:
        return _form(request, house, str(error))
    return see_other(f"/studies/{study.id}")


def brought_back(house: House, data: bytes, actor: str) -> Study:
    """The study of this bundle, archived and read-only.

    NotABundleError, or CannotComeBackError with the first thing that does not hold; then nothing was changed.
    """
    files = bundle.unpacked(data).texts
    for check in (*each_check(data), verdict_check(data)):
        if check is not None and check.holds is False:
            raise CannotComeBackError(
                f"This bundle does not hold, at “{check.what}”: {check.text} Nothing was changed."
            )
    with house.database.write() as session:
        study = bring_back_from(session, house.tokens, files, actor)
        session.flush()
        for name, text in data_files(session, study).items():
            if files.get(name) != text and name != bundle.README:
                raise CannotComeBackError(
                    f"The study could not be made again whole: {name} would come out differently. It may come from "
                    "another version of this program. Nothing was changed."
                )
    return study


def _form(request: Request, house: House, wrong: str = "") -> Response:
    problems = (Problem("file", "cannot_come_back", wrong),) if wrong else ()
    context = BringingBackPage(problems, house.settings.upload_limit_mb)
    return page(request, "organiser/bring_back.html", context, status=422 if wrong else 200)
