"""Taking a study away: one ZIP of its files. Answers from closing on, names from the reveal on."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response

from panel.analysis.answer_tables import answers_csv, choices_csv, rows_csv
from panel.analysis.recompute import __file__ as recompute_file
from panel.analysis.verification import key_csv
from panel.analysis.workbook import workbook
from panel.store import studies
from panel.store.end_answers import end_answers_of
from panel.store.ledger import append, events_of, head_of
from panel.store.rows import choices_of, exclusions_of, scores_of, sends_of
from panel.store.sealing import sealed_contents
from panel.study import bundle, dictionary
from panel.study.life import Move
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.bench_export import bench_files
from panel.web.pages import InHouse
from panel.web.report_file import report_file
from panel.web.verdict_bundle import verdict_file
from panel.web.verdict_table import table_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlmodel import Session

    from panel.store.rows import Send
    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
TRIES = 5


@router.get("/studies/{study_id}/export")
def export(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    headers = {
        "Content-Disposition": f'attachment; filename="study-{study.id}.zip"',
        "Cache-Control": "no-store",
    }
    packed = take_away(house, study, who.actor)
    return Response(packed, media_type="application/zip", headers=headers)


def take_away(house: House, study: Study, actor: str) -> bytes:
    """The bundle of the study. An event of the log names it, with the fingerprint of every other file in it.

    ForbiddenMoveError before the seal.
    """
    studies.require(study, Move.EXPORT)
    for _ in range(TRIES):
        with house.database.read() as session:
            head = head_of(session, study.id)
            study = session.get_one(type(study), study.id)
            files = data_files(session, study)
        files |= _readable(house, study, files)
        contents = {name: _bytes(content) for name, content in files.items()}
        prints = {name: bundle.fingerprint(content) for name, content in sorted(contents.items())}
        with house.database.write() as session:
            if head_of(session, study.id) != head:
                continue  # something was noted meanwhile: the files would not fit the log
            append(session, study.id, actor, "exported", {"state": study.state, "files": prints})
            contents[bundle.EVENTS] = _bytes(_json_lines(map(asdict, events_of(session, study.id))))
        return _packed(contents)
    raise studies.ForbiddenMoveError(
        "The study is changing just now. Wait a moment, then take it away again."
    )


def _packed(contents: Mapping[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in bundle.FILES:
            if name in contents:
                archive.writestr(name, contents[name])
    return packed.getvalue()


def data_files(session: Session, study: Study) -> dict[str, str | bytes]:
    """What the study is: seal, sends, tables, signed results, key."""
    secret: dict[str, Any] = json.loads(study.key) if study.key else {}
    sealed = sealed_contents(session, study, secret)
    files: dict[str, str | bytes] = {
        bundle.README: bundle.about_text(),
        bundle.SEALED: _json(sealed),
        bundle.COMMITMENT: study.commitment + "\n",
    }
    if results_are_open(study):
        files[bundle.SENDS] = _json_lines(asdict(send) for send in _in_log_order(session, study.id))
        files |= tables_of(session, study)
    if study.report:
        files[bundle.REPORT] = study.report
    if study.key:
        files[bundle.KEY] = key_csv(sealed)
    return files | bench_files(session, study)


def _readable(house: House, study: Study, files: Mapping[str, str | bytes]) -> dict[str, str | bytes]:
    """What is made for readers from the same data: the page, the dictionary, the workbook, the script."""
    if not results_are_open(study):
        return {}
    tables = {name: str(files[name]) for name in bundle.TABLES if files.get(name)}
    columns = {name: next(csv.reader(io.StringIO(text))) for name, text in tables.items()}
    described = rows_csv(dictionary.rows(dictionary.entries(studies.plan_of(study), columns)))
    made: dict[str, str | bytes] = {
        bundle.PAGE: report_file(house, study),
        bundle.DICTIONARY: described,
        bundle.VERDICT: verdict_file(house, study),
        bundle.VERDICT_TABLE: table_file(house, study),
    }
    sheets = {
        name.removesuffix(".csv"): text for name, text in {**tables, bundle.DICTIONARY: described}.items()
    }
    if tables:
        made[bundle.WORKBOOK] = workbook(sheets)
    if study.report:
        with open(recompute_file, encoding="utf-8") as script:
            made[bundle.RECOMPUTE] = script.read()
    return {name: content for name, content in made.items() if content}


def results_are_open(study: Study) -> bool:
    """Whether answers may leave the house."""
    try:
        studies.require_results(study)
    except studies.ForbiddenMoveError:
        return False
    return True


def _in_log_order(session: Session, study_id: str) -> list[Send]:
    received = [e.detail["submission"] for e in events_of(session, study_id) if e.kind == "answers received"]
    order = {submission: number for number, submission in enumerate(received)}
    return sorted(sends_of(session, study_id), key=lambda send: order[send.submission])


def tables_of(session: Session, study: Study) -> dict[str, str]:
    """The tables of answers, as CSV; one that would be empty is left out."""
    left_out = exclusions_of(session, study.id)
    scores = [*scores_of(session, study), *end_answers_of(session, study)]
    tables = {
        bundle.ANSWERS: answers_csv(studies.plan_of(study), scores, left_out),
        bundle.CHOICES: choices_csv(choices_of(session, study), left_out),
    }
    return {name: text for name, text in tables.items() if text}


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, indent=1) + "\n"


def _json_lines(rows: Iterable[dict[str, Any]]) -> str:
    return "".join(json.dumps(row, ensure_ascii=False, sort_keys=True) + "\n" for row in rows)


def _bytes(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content
