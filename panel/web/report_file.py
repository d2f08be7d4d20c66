"""The report of a study as one file that opens from the disk, for the bundle, for paper and for whoever asks."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from panel.analysis.view_parts import unfolded
from panel.store import studies
from panel.store.database import now
from panel.store.shelf import studies_on_the_shelf
from panel.web.pages import make_environment
from panel.web.study_page import StudyHead, head_of_page
from panel.web.study_report import build_report

if TYPE_CHECKING:
    from panel.analysis.view_parts import ReportView
    from panel.settings import Settings
    from panel.store.tables import Study
    from panel.web.house import House


@dataclass(frozen=True, slots=True)
class ReportFile:
    """What the file shows. running : style that repeats the title on every printed page; made : when, in words.

    view : None where nothing can be analysed, with `why_not`
    """

    head: StudyHead
    view: ReportView | None
    why_not: str
    stylesheet: str
    running: str
    made: str


def report_file(house: House, study: Study, paper: str = "A4") -> str:
    """The report as it stands, everything unfolded, by blind label or once revealed by name.

    paper : "A4" or "letter", for whoever prints it. ForbiddenMoveError while nobody may see a result.
    """
    studies.require_results(study)
    built = build_report(house, study)
    context = ReportFile(
        head=head_of_page(study),
        view=unfolded(built.view) if built.view else None,
        why_not=built.why_not,
        stylesheet=stylesheet(),
        running=running_title(study, paper),
        made=house.local.moment(now()),
    )
    template = make_environment(house.local).get_template("report/taken.html")
    return template.render(
        {field.name: getattr(context, field.name) for field in dataclasses.fields(context)}
    )


def report_of_study_called(settings: Settings, called: str, paper: str) -> str:
    """The report of the one study of that id, title, or part of a title. LookupError, in words, where there is none."""
    from panel.app import create_app

    if not settings.database and not (settings.data / "panel.sqlite3").exists():
        raise LookupError(f"There is no database in {settings.data}. Check --data.")
    house = create_app(settings).state.house
    try:
        with house.database.read() as session:
            known = [*studies.all_studies(session), *studies_on_the_shelf(session)]
        return report_file(house, _one_called(known, called), paper)
    finally:
        house.database.close()


def _one_called(known: list[Study], called: str) -> Study:
    wanted = called.casefold().strip()
    by_id = [study for study in known if study.id == called]
    whole = [study for study in known if study.title.casefold() == wanted]
    part = [study for study in known if wanted in study.title.casefold()]
    found = by_id or whole or part
    if len(found) == 1:
        return found[0]
    listed = "; ".join(f"“{study.title}” ({study.id}, {study.state})" for study in (found or known)[:20])
    if not found:
        raise LookupError(f"No study is called “{called}”. There are: {listed or 'none yet'}.")
    raise LookupError(f"Several studies are called so; say which by its id: {listed}.")


@lru_cache(maxsize=1)
def stylesheet() -> str:
    """The style sheet of the pages, as text."""
    return (files("panel") / "static" / "panel.css").read_text(encoding="utf-8")


def running_title(study: Study, paper: str = "") -> str:
    """Style that puts title and standing on top of every printed page, and its number below."""
    size = f"size: {paper}; " if paper else ""
    standing = {
        "closed": "not signed",
        "signed": "signed, by blind letter",
        "revealed": "signed, names revealed",
    }
    told = _quoted(standing.get(study.state, study.state))
    font = "font: 8pt system-ui, sans-serif; color: #444;"
    return (
        f"@page {{ {size}margin: 20mm 16mm 18mm; "
        f"@top-left {{ content: {_quoted(study.title)}; {font} }} "
        f"@top-right {{ content: {told}; {font} }} "
        f"@bottom-left {{ content: {_quoted('Commitment ' + study.commitment[:16])}; {font} }} "
        f'@bottom-right {{ content: "page " counter(page) " of " counter(pages); {font} }} }}'
    )


def _quoted(text: str) -> str:
    """A text as a string of a style sheet; what could end the string or the element is written by its number."""
    short = text if len(text) <= 90 else text[:89] + "…"
    return '"' + re.sub(r"[^\w .,;:()–…/-]", lambda found: f"\\{ord(found[0]):x} ", short) + '"'
