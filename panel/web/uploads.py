"""Scores from elsewhere: a table uploaded, its columns named or guessed, the same report."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from starlette.datastructures import UploadFile

from panel.store.uploads import keep_table, name_columns, table_called, tables_kept, throw_away
from panel.study.draft_reader import tidy
from panel.study.problems import Problem
from panel.web.access import AsOrganiser
from panel.web.pages import InHouse, Sent, page, see_other, sent_form

if TYPE_CHECKING:
    from panel.analysis.command import Outcome
    from panel.analysis.mapping import Mapping
    from panel.analysis.view_parts import ReportView
    from panel.store.tables import UploadedTable
    from panel.web.house import House

router = APIRouter()

ROLES = {
    "taster": "Taster",
    "sample": "Sample",
    "replicate": "Repeat",
    "position": "Position in the serving order",
    "condition": "Way of serving, or session",
    "attribute": "Attribute (where one column names it)",
}


@dataclass(frozen=True, slots=True)
class TableLine:
    """One kept table in the list."""

    id: str
    name: str
    uploaded: datetime


@dataclass(frozen=True, slots=True)
class TablesPage:
    """The upload form and the tables kept."""

    tables: tuple[TableLine, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class TablePage:
    """One table: which column holds what, what is wrong with it, and its report."""

    id: str
    name: str
    headings: tuple[str, ...]
    roles: dict[str, str]
    typed: dict[str, str]
    assumptions: tuple[str, ...]
    problems: tuple[Problem, ...]
    view: ReportView | None


@router.get("/tables")
def show_tables(request: Request, house: InHouse, _who: AsOrganiser) -> Response:
    return _tables_page(request, house)


@router.post("/tables")
def upload(
    request: Request, house: InHouse, who: AsOrganiser, form: Annotated[Any, Depends(sent_form)]
) -> Response:
    """Keep a readable table; say what is wrong with anything else, and keep nothing of it."""
    from panel.analysis.reading import UnreadableTable, read_table

    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        return _tables_page(request, house, "Choose a file first: CSV, TSV or XLSX.")
    content = file.file.read()
    name = tidy(file.filename.replace("\\", "/").rpartition("/")[2])[:120] or "table"
    try:
        read_table(content, name)
    except UnreadableTable as error:
        return _tables_page(request, house, f"{name}: {error}")
    with house.database.write() as session:
        kept = keep_table(session, who.name, name, content)
    return see_other(f"/tables/{kept.id}")


@router.get("/tables/{table_id}")
def show_table(request: Request, house: InHouse, _who: AsOrganiser, table_id: str) -> Response:
    kept = _kept(house, table_id)
    return _table_page(request, house, kept, json.loads(kept.columns))


@router.post("/tables/{table_id}")
def name_table_columns(
    request: Request, house: InHouse, _who: AsOrganiser, table_id: str, sent: Sent
) -> Response:
    kept = _kept(house, table_id)
    outcome = _analysed(kept, sent)
    if not outcome.ok:
        return _table_page(request, house, kept, sent, status=422)
    with house.database.write() as session:
        name_columns(session, kept.id, sent)
    return see_other(f"/tables/{kept.id}")


@router.post("/tables/{table_id}/delete")
def delete_table(house: InHouse, _who: AsOrganiser, table_id: str) -> Response:
    with house.database.write() as session:
        throw_away(session, table_id)
    return see_other("/tables")


def _kept(house: InHouse, table_id: str) -> UploadedTable:
    with house.database.read() as session:
        kept = table_called(session, table_id)
    if kept is None:
        raise HTTPException(404)
    return kept


def _tables_page(request: Request, house: InHouse, wrong: str = "") -> Response:
    with house.database.read() as session:
        lines = tuple(TableLine(t.id, t.file_name, t.uploaded_at) for t in tables_kept(session))
    problems = (Problem("file", "unreadable", wrong),) if wrong else ()
    return page(request, "uploads/tables.html", TablesPage(lines, problems), status=422 if wrong else 200)


def _analysed(kept: UploadedTable, typed: dict[str, str]) -> Outcome:
    from panel.analysis.command import Options, run

    options = Options(_wishes(typed), typed.get("reference") or None, guess=not typed)
    return run(kept.content, kept.file_name, options)


def _wishes(typed: dict[str, str]) -> Mapping:
    from panel.analysis.mapping import Mapping

    ticked = tuple(name.removeprefix("column-") for name in typed if name.startswith("column-"))
    layout = typed.get("layout") or None
    roles = {role: typed.get(role) or None for role in ROLES}
    chosen: dict[str, Any] = {"samples" if layout == "wide" else "scores": ticked}
    return Mapping(layout=layout if layout in ("long", "wide") else None, **roles, **chosen)  # type: ignore[arg-type]


def _table_page(
    request: Request, house: House, kept: UploadedTable, typed: dict[str, str], status: int = 200
) -> Response:
    from panel.analysis.reading import read_table

    outcome = _analysed(kept, typed)
    mapping = outcome.table.mapping
    shown = typed or {
        "layout": mapping.layout or "",
        **{role: getattr(mapping, role) or "" for role in ROLES},
        **{f"column-{name}": "yes" for name in (*mapping.scores, *mapping.samples)},
    }
    context = TablePage(
        id=kept.id,
        name=kept.file_name,
        headings=read_table(kept.content, kept.file_name).columns,
        roles=ROLES,
        typed=shown,
        assumptions=outcome.table.assumptions,
        problems=tuple(Problem("", "table", text) for text in outcome.problems),
        view=house.local.view(outcome.view()) if outcome.ok else None,
    )
    return page(request, "uploads/table.html", context, status=status)
